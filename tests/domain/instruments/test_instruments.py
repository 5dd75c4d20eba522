"""What holds for every instrument."""

import pytest

from app.domain.errors import FieldError
from app.domain.instruments import (
    FILTER_SD_PERCENT,
    INSTRUMENTS,
    Baseline,
    BathLiquid,
    InputField,
    Measured,
    baseline_of,
    doubts,
    fresh_doubts,
    measure,
)
from app.domain.roomlog.fields import check_value
from app.domain.solvents import solvent

BATH = BathLiquid(solvent("isopropanol"), 99.0, 1.12)
USUAL = {
    "hydrometer": {"density_g_ml": 0.8103, "temperature_c": 21.0},
    "residue": {"sample_g": 10.0, "residue_g": 0.8},
    "sensor": {"saturation_percent": 8.0},
    "refractometer": {"index": 1.3840, "temperature_c": 21.0},
}


def test_none_of_the_four_disappears() -> None:
    assert list(INSTRUMENTS)[:4] == ["hydrometer", "residue", "sensor", "refractometer"]


@pytest.mark.parametrize("method", USUAL)
def test_a_usual_reading_is_measured(method: str) -> None:
    measured = measure(method, USUAL[method], BATH)
    assert measured.channel == method
    assert 5 < measured.mass_percent < 12
    assert 0 < measured.sd_percent < 3


@pytest.mark.parametrize("method", INSTRUMENTS)
def test_every_field_says_what_it_is(method: str) -> None:
    instrument = INSTRUMENTS[method]
    assert instrument.name
    assert instrument.help
    assert {*instrument.required, *instrument.one_of} <= set(instrument.fields)
    for name, field in instrument.fields.items():
        assert isinstance(field, InputField)
        assert field.label
        assert field.low < field.high
        assert field.step > 0
        assert check_value(name, field, field.low) == field.low


@pytest.mark.parametrize("method", INSTRUMENTS)
def test_nothing_given_is_a_problem_at_a_field(method: str) -> None:
    problems = INSTRUMENTS[method].problems({})
    assert problems
    assert {problem.field for problem in problems} <= set(INSTRUMENTS[method].fields)


@pytest.mark.parametrize(
    "method, name, value",
    [
        ("sensor", "saturation_percent", 140.0),
        ("hydrometer", "density_g_ml", 8.0),
        ("hydrometer", "temperature_c", 400.0),
        ("refractometer", "index", 13.8),
        ("residue", "sample_g", -1.0),
    ],
)
def test_values_outside_their_physical_range_are_refused(
    method: str, name: str, value: float
) -> None:
    with pytest.raises(FieldError, match="must be between"):
        check_value(name, INSTRUMENTS[method].fields[name], value)


def test_the_noise_that_the_estimate_takes() -> None:
    """Chosen from the spread that simulated rooms show; no published source."""
    assert FILTER_SD_PERCENT["hydrometer"] == 0.80
    assert FILTER_SD_PERCENT["sensor"] == 0.32
    assert FILTER_SD_PERCENT["residue"] == 0.17
    assert set(FILTER_SD_PERCENT) == set(INSTRUMENTS)


def test_an_unknown_method_lists_those_there_are() -> None:
    with pytest.raises(FieldError, match=r"“dipstick”.*hydrometer, residue") as caught:
        measure("dipstick", {}, BATH)
    assert caught.value.field == "method"


def test_fresh_readings_become_the_baseline_one_beside_the_other() -> None:
    first = baseline_of("hydrometer", {"density_g_ml": 0.7905, "temperature_c": 24.0})
    assert first == Baseline(0.7905, None, 24.0)
    both = baseline_of("refractometer", {"index": 1.3754, "temperature_c": 25.0}, first)
    assert both is not None
    assert (both.density_g_ml, both.temperature_c) == (0.7905, 24.0)
    assert both.index == pytest.approx(1.3754 + 0.0004 * 5)
    later = baseline_of("hydrometer", {"density_g_ml": 0.7920, "temperature_c": 21.0}, both)
    assert later is not None
    assert later.index == both.index
    assert baseline_of("sensor", {"saturation_percent": 0.2}, both) is both
    assert baseline_of("residue", {"sample_g": 10.0, "residue_g": 0.0}) is None


def test_a_refractometer_alone_gives_a_baseline_without_density() -> None:
    alone = baseline_of("refractometer", {"brix_percent": 28.0, "temperature_c": 20.0})
    assert alone is not None
    assert alone.density_g_ml is None
    assert BathLiquid(solvent("ipa"), 99.0, 1.12, alone).solvent_density_at(20) == pytest.approx(
        solvent("ipa").density_g_ml(20, 99.0)
    )


def test_a_reading_below_zero_is_said() -> None:
    measured = measure("sensor", {"saturation_percent": -0.4}, BATH)
    assert measured.mass_percent == -0.4
    assert measured.notes


def test_far_from_the_estimate_is_asked_about() -> None:
    far = Measured(14.0, 0.3, False, "sensor")
    assert doubts(far, 6.0, 0.5) == ("It means 14.0 % resin; the log says about 6.0 %.",)
    assert doubts(far, 12.5, 0.5) == ()


@pytest.mark.parametrize(
    "method, values, question",
    [
        ("residue", {"sample_g": 10.0, "residue_g": 8.2}, "Was 0.82 g of residue meant?"),
        ("sensor", {"saturation_percent": 82.0}, "Was 8.2 % meant?"),
        ("sensor", {"saturation_percent": 0.8}, "Was 8 % meant?"),
    ],
)
def test_a_slipped_decimal_point_is_asked_about(
    method: str, values: dict[str, float], question: str
) -> None:
    measured = measure(method, values, BATH)
    assert doubts(measured, 8.0, 0.4)[1:] == (question,)


def test_a_reading_of_fresh_solvent_is_held_against_the_table() -> None:
    """99 % isopropanol is 0.7883 g/mL at 20 C by the handbook fit, 0.7791 at 30 C."""
    assert fresh_doubts("hydrometer", {"density_g_ml": 0.7905, "temperature_c": 20.0}, BATH) == ()
    assert fresh_doubts("hydrometer", {"density_g_ml": 0.7791, "temperature_c": 30.0}, BATH) == ()
    loaded = fresh_doubts("hydrometer", {"density_g_ml": 0.8120, "temperature_c": 20.0}, BATH)
    assert len(loaded) == 1
    assert "about 0.7883 g/mL when fresh" in loaded[0]
    hot = fresh_doubts("hydrometer", {"density_g_ml": 0.7583, "temperature_c": 50.0}, BATH)
    assert hot == ("50 °C is hot for a bath. Was it 50 °F, which is 10.0 °C?",)


def test_a_fresh_index_is_held_against_the_table_and_a_sensor_is_not() -> None:
    """CRC Handbook 102nd ed.: 1.3776 for the pure liquid, 0.00017 less with 1 % of water."""
    assert fresh_doubts("refractometer", {"index": 1.3780, "temperature_c": 20.0}, BATH) == ()
    loaded = fresh_doubts("refractometer", {"index": 1.3850, "temperature_c": 20.0}, BATH)
    assert "an index of 1.3774" in loaded[0]
    assert fresh_doubts("sensor", {"saturation_percent": 9.0}, BATH) == ()
