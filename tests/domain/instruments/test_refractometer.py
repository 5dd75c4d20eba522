"""The refractometer: its scales, the room's calibration, mixing by volume."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldError
from app.domain.instruments import (
    INSTRUMENTS,
    Baseline,
    BathLiquid,
    CalibrationPoint,
    Measured,
    calibration_line,
    fresh_doubts,
    liquid_of_fresh,
    measure,
)
from app.domain.solvents import solvent
from tests.oracles import Ask

IPA = solvent("isopropanol")
PLAIN = BathLiquid(IPA, 100.0, 1.12)


def points(*pairs: tuple[float, float], scale: str = "index") -> tuple[CalibrationPoint, ...]:
    return tuple(CalibrationPoint(scale, value, percent) for value, percent in pairs)  # type: ignore[arg-type]


def read(index: float, liquid: BathLiquid, temperature_c: float = 20.0) -> Measured:
    return measure("refractometer", {"index": index, "temperature_c": temperature_c}, liquid)


def test_a_line_through_the_rooms_points_agrees_with_least_squares(ask: Ask) -> None:
    """scipy.stats.linregress on made-up points that scatter by about 1 %."""
    made = ((1.3776, 0.0), (1.3815, 6.0), (1.3858, 9.0), (1.3895, 15.5))
    line = calibration_line(points(*made))
    indices, percents = zip(*made, strict=True)
    slope, level, _, level_error = ask("line_through", indices, percents, unit="mass percent")
    assert line.slope == pytest.approx(slope)
    assert line.percent(1.3840) == pytest.approx(level + slope * 1.3840)
    sd_at_zero = line.sd_percent(0.0, 0.0)
    assert sd_at_zero == pytest.approx(level_error, rel=1e-6)


def test_the_calibration_is_used_from_two_points_on() -> None:
    liquid = BathLiquid(IPA, 99.0, 1.12, calibration=points((1.3774, 0.0), (1.3854, 10.0)))
    measured = read(1.3814, liquid)
    assert measured.mass_percent == pytest.approx(5.0)
    assert measured.sd_percent < 1.0
    assert not measured.is_apparent
    assert not any("calibration" in note for note in measured.notes)
    one = BathLiquid(IPA, 99.0, 1.12, calibration=points((1.3774, 0.0)))
    assert any("calibration" in note for note in read(1.3814, one).notes)


def test_points_in_brix_and_readings_in_brix_go_together() -> None:
    liquid = BathLiquid(
        IPA, 99.0, 1.12, calibration=points((28.0, 0.0), (32.0, 8.0), scale="brix_percent")
    )
    at_20 = measure("refractometer", {"brix_percent": 32.0, "temperature_c": 20.0}, liquid)
    assert at_20.mass_percent == pytest.approx(8.0)
    warm = measure("refractometer", {"brix_percent": 32.0, "temperature_c": 27.0}, liquid)
    assert warm.mass_percent == pytest.approx(8.0)
    assert any("sugar water" in note for note in warm.notes)


@pytest.mark.parametrize(
    "pairs",
    [
        ((1.3774, 0.0), (1.3854, 10.0), (1.3894, 9.0)),
        ((1.3774, 0.0), (1.3774, 10.0)),
        ((1.3774, 5.0), (1.3854, 5.0)),
    ],
)
def test_points_that_do_not_go_one_way_are_refused_and_not_used(
    pairs: tuple[tuple[float, float], ...],
) -> None:
    with pytest.raises(FieldError, match="rise or fall steadily") as caught:
        calibration_line(points(*pairs))
    assert caught.value.field == "points"
    measured = read(1.3814, BathLiquid(IPA, 99.0, 1.12, calibration=points(*pairs)))
    assert any("contradict" in note for note in measured.notes)


def test_one_point_is_no_calibration() -> None:
    with pytest.raises(FieldError, match="two samples"):
        calibration_line(points((1.3774, 0.0)))


def test_uncalibrated_readings_mix_the_indices_by_volume() -> None:
    """1 % of resin (index 1.49, from memory) raises 1.3776 by about 0.00079."""
    measured = read(1.3776 + 0.00079, PLAIN)
    assert measured.mass_percent == pytest.approx(1.0, abs=0.02)
    by_volume = (1.3890 - 1.3776) / (1.49 - 1.3776)
    grams = by_volume * 1.12, (1 - by_volume) * IPA.density_g_ml(20, 100)
    assert read(1.3890, PLAIN).mass_percent == pytest.approx(100 * grams[0] / sum(grams))


def test_a_fresh_reading_of_this_fill_sets_the_zero() -> None:
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(None, 1.3770, 20.0))
    assert read(1.3770, liquid).mass_percent == pytest.approx(0.0)
    assert read(1.3770, liquid).sd_percent < read(1.3770, PLAIN).sd_percent


def test_an_index_is_corrected_to_20_degrees() -> None:
    """About -0.0004 per degree for organic liquids, from memory."""
    assert read(1.3890 - 0.0004 * 6, PLAIN, 26.0).mass_percent == pytest.approx(
        read(1.3890, PLAIN).mass_percent
    )


def test_lower_than_fresh_is_said() -> None:
    measured = read(1.3750, PLAIN)
    assert measured.mass_percent < 0
    assert "It reads lower than fresh solvent." in measured.notes


def test_past_the_resins_own_index_is_refused_at_the_field_used() -> None:
    with pytest.raises(FieldError, match="above the refractive index") as caught:
        measure("refractometer", {"brix_percent": 82.0, "temperature_c": 20.0}, PLAIN)
    assert caught.value.field == "brix_percent"


def test_a_resin_that_bends_light_like_its_solvent_needs_a_calibration() -> None:
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(None, 1.47, 20.0))
    with pytest.raises(FieldError, match="Calibrate"):
        read(1.48, liquid)


def test_one_scale_is_given_not_both_and_not_none() -> None:
    refractometer = INSTRUMENTS["refractometer"]
    none = refractometer.problems({"temperature_c": 20.0})
    assert none[0].message == "Give brix or refractive index."
    both = refractometer.problems({"temperature_c": 20.0, "index": 1.38, "brix_percent": 29.0})
    assert both[0].message == "Give brix or refractive index, not both."
    assert refractometer.problems({"temperature_c": 20.0, "index": 1.38}) == []


@given(share=st.floats(0, 60), purity=st.floats(80, 100))
def test_a_higher_index_means_more_resin(share: float, purity: float) -> None:
    liquid = BathLiquid(IPA, purity, 1.12)
    index = 1.3776 + share * 0.0007
    assert read(index + 0.0005, liquid).mass_percent > read(index, liquid).mass_percent


WATER = BathLiquid(solvent("water_based"), 100.0, 1.12)


def brix(value: float, liquid: BathLiquid) -> Measured:
    return measure("refractometer", {"brix_percent": value, "temperature_c": 20.0}, liquid)


def test_a_cleaner_is_not_taken_for_resin() -> None:
    """8 Brix is an index of 1.3448 (sucrose at 20 C, ICUMSA SPS-3; from memory): taken for resin
    in plain water by mixing volumes, 8.3 % by mass."""
    phi = (1.3448 - 1.3330) / (1.49 - 1.3330)
    assert 100 * phi * 1.12 / (phi * 1.12 + (1 - phi) * 0.99821) == pytest.approx(8.3, abs=0.1)
    with pytest.raises(FieldError, match="while it is fresh") as caught:
        brix(8.0, WATER)
    assert caught.value.field == "brix_percent"
    density_alone = BathLiquid(WATER.solvent, 100.0, 1.12, Baseline(1.03, None, 20.0))
    with pytest.raises(FieldError, match="calibrate"):
        read(1.3448, density_alone)


def test_with_the_fills_own_fresh_reading_a_cleaner_is_nothing() -> None:
    values = {"brix_percent": 8.0, "temperature_c": 20.0}
    fresh = liquid_of_fresh("refractometer", values, WATER)
    assert brix(8.0, fresh).mass_percent == pytest.approx(0.0, abs=1e-9)
    assert brix(10.0, fresh).mass_percent > 1.5
    assert fresh_doubts("refractometer", values, WATER) == ()
    plain = BathLiquid(IPA, 99.0, 1.12)
    assert (
        liquid_of_fresh("refractometer", {"index": 1.3776, "temperature_c": 20.0}, plain) is plain
    )


def test_or_with_the_rooms_calibration() -> None:
    calibrated = BathLiquid(
        WATER.solvent,
        100.0,
        1.12,
        calibration=points((8.0, 0.0), (14.0, 6.0), scale="brix_percent"),
    )
    assert brix(8.0, calibrated).mass_percent == pytest.approx(0.0, abs=1e-6)
