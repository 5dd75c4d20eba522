"""What a reading says besides its figure: how sure it is, what it shows, what to ask."""

import math
from dataclasses import replace
from typing import Any

import pytest
from uncertainties import ufloat

from app.domain.errors import FieldError
from app.domain.instruments import (
    INSTRUMENTS,
    Baseline,
    BathLiquid,
    CalibrationPoint,
    Measured,
    baseline_of,
    calibration_line,
    doubts,
    fresh_doubts,
    liquid_of_fresh,
    measure,
)
from app.domain.instruments.hydrometer import BASELINE_TEMPERATURE_SD_C, uncertainty
from app.domain.instruments.model import (
    COLD_C,
    COLDEST_C,
    HOT_C,
    HOTTEST_C,
    LIGHTER_THAN_FRESH,
    Alternative,
    InputField,
    Told,
    temperature_doubts,
    temperature_field,
    temperature_problems,
)
from app.domain.solvents import solvent

IPA = solvent("isopropanol")
WATER_BASED = solvent("water_based")
TPM = solvent("tripropylene_glycol_methyl_ether")
BATH = BathLiquid(IPA, 99.0, 1.12)
FRESH = BathLiquid(IPA, 99.0, 1.12, Baseline(0.7880, 1.3774, 20.0))
APPARENT = "Apparent: density alone cannot tell resin from water taken up."
ROUGH = "Without the room's own calibration this is rough."


def by_density(rho: float, liquid: BathLiquid = BATH, temperature_c: float = 20.0) -> Measured:
    values = {"density_g_ml": rho, "temperature_c": temperature_c}
    return measure("hydrometer", values, liquid)


def by_index(index: float, liquid: BathLiquid = BATH, temperature_c: float = 20.0) -> Measured:
    values = {"index": index, "temperature_c": temperature_c}
    return measure("refractometer", values, liquid)


# How sure it is: linear propagation by the package `uncertainties` (JCGM 100:2008, 5.1.2).


@pytest.mark.parametrize("liquid, fresh_sd", [(BATH, 0.0005), (FRESH, math.hypot(0.0003, 0.0002))])
@pytest.mark.parametrize("index", [1.378, 1.395, 1.44])
def test_an_index_is_as_sure_as_its_parts(
    liquid: BathLiquid, fresh_sd: float, index: float
) -> None:
    """0.0003 by eye and half a degree at 0.0004 a degree; the resin's index from memory."""
    shown = ufloat(index, math.hypot(0.0003, 0.0004 * 0.5))
    fresh, resin = ufloat(liquid.fresh_index(), fresh_sd), ufloat(1.49, 0.015)
    share = (shown - fresh) / (resin - fresh)
    rho = liquid.solvent_density_at(20.0)
    percent = 100 * share * 1.12 / (share * 1.12 + (1 - share) * rho)
    found = by_index(index, liquid)
    assert found.mass_percent == pytest.approx(percent.n)
    assert found.sd_percent == pytest.approx(percent.s, rel=1e-5)


def test_a_line_through_two_samples_is_as_sure_as_they_were_read() -> None:
    """Ordinary least squares: sd of a point of the line is s sqrt(1/n + (x - mean)^2 / S_xx)."""
    points = (CalibrationPoint("index", 1.3774, 0.0), CalibrationPoint("index", 1.3854, 10.0))
    line = calibration_line(points)
    assert (line.points, line.scatter_percent) == (2, 0.0)
    slope = 10 / 0.008
    of_line = slope * 0.0003 * math.sqrt(1 / 2 + 0.002**2 / (2 * 0.004**2))
    reading = slope * math.hypot(0.0003, 0.0004 * 0.5)
    found = by_index(1.3834, replace(BATH, calibration=points))
    assert found.sd_percent == pytest.approx(math.hypot(of_line, reading))


def test_with_a_baseline_the_thermometer_counts_twice() -> None:
    """Two readings by one thermometer; the difference of temperatures enters by its slope."""
    parts = uncertainty(0.815, 20.0, FRESH)

    def share(rho_s: float) -> float:
        return 100 * 1.12 * (0.815 - rho_s) / (0.815 * (1.12 - rho_s))

    slope_t = BATH.solvent_density_at(20.5) - BATH.solvent_density_at(19.5)
    change = slope_t * math.sqrt(2) * BASELINE_TEMPERATURE_SD_C
    moved = abs(share(0.7880 + change / 2) - share(0.7880 - change / 2))
    assert parts.temperature == pytest.approx(moved, rel=1e-3)
    assert parts.water == 0.0


# What it shows, so that the estimate takes it as it was read.


def test_each_method_hands_on_what_it_showed() -> None:
    assert by_density(0.812, temperature_c=24.0).told == Told("density", (0.812, 24.0))
    assert by_index(1.385).told == Told("index", (1.385,))
    residue = measure("residue", {"sample_g": 20.0, "residue_g": 1.0}, BATH)
    assert residue.told == Told("resin", (5.0,))
    sensor = measure("sensor", {"saturation_percent": 4.0}, BATH)
    assert sensor.told is None
    apparent = (by_density(0.812), by_index(1.385), residue, sensor)
    assert [one.is_apparent for one in apparent] == [True, False, False, False]


# What is said beside the figure.


@pytest.mark.parametrize("percent, says", [(-0.1, True), (0.0, False), (0.5, False)])
def test_below_fresh_is_said_and_only_then(percent: float, says: bool) -> None:
    sensor = measure("sensor", {"saturation_percent": percent}, BATH)
    assert sensor.notes == ((LIGHTER_THAN_FRESH,) if says else ())
    calibrated = replace(
        BATH,
        calibration=(CalibrationPoint("index", 1.37, -5.0), CalibrationPoint("index", 1.39, 5.0)),
    )
    lower = "It reads lower than fresh solvent."
    found = by_index(1.38 + percent / 500, calibrated)
    assert found.notes == ((lower,) if says and found.mass_percent < 0 else ())


def test_a_density_says_that_it_is_apparent_and_whether_it_is_lighter() -> None:
    assert by_density(0.800).notes == (APPARENT,)
    assert by_density(0.780).notes == (LIGHTER_THAN_FRESH, APPARENT)
    assert by_density(0.80, replace(BATH, solvent=replace(IPA, is_hygroscopic=False))).notes == ()


@pytest.mark.parametrize(
    "brix, temperature_c, asks",
    [(30.0, 23.0, False), (30.0, 23.5, True), (30.0, 17.0, False), (30.0, 16.0, True)],
)
def test_a_brix_scale_is_trusted_within_three_degrees(
    brix: float, temperature_c: float, asks: bool
) -> None:
    values = {"brix_percent": brix, "temperature_c": temperature_c}
    notes = measure("refractometer", values, BATH).notes
    warning = "A Brix scale compensates temperature for sugar water: bring the sample to 20 °C."
    assert notes == ((warning, ROUGH) if asks else (ROUGH,))
    assert by_index(1.385, temperature_c=temperature_c).notes == (ROUGH,)


def test_samples_that_contradict_each_other_are_said_to_be_left_out() -> None:
    wrong = (CalibrationPoint("index", 1.37, 5.0), CalibrationPoint("index", 1.38, 1.0),
             CalibrationPoint("index", 1.39, 9.0))  # fmt: skip
    notes = by_index(1.385, replace(BATH, calibration=wrong)).notes
    assert notes == (
        "The room's calibration points contradict each other, so they were not used.", ROUGH,
    )  # fmt: skip


@pytest.mark.parametrize(
    "sample_g, key, notes",
    [
        (5.0, "isopropanol", ()),
        (4.9, "isopropanol", ("A sample of 10 g or more would be more certain.",)),
    ],
)
def test_a_residue_says_what_makes_it_less_sure(
    sample_g: float, key: str, notes: tuple[str, ...]
) -> None:
    liquid = BathLiquid(solvent(key), 99.0, 1.12)
    found = measure("residue", {"sample_g": sample_g, "residue_g": 0.4}, liquid)
    assert found.notes == notes
    dry = BathLiquid(replace(IPA, is_hygroscopic=False), 99.0, 1.12)
    found = measure("residue", {"sample_g": sample_g, "residue_g": 0.4}, dry)
    assert found.notes == ("What the wash itself leaves behind counts as resin.", *notes)


# What is refused, at which field and in which words.


@pytest.mark.parametrize(
    "method, values, liquid, field, message",
    [
        (
            "hydrometer", {"density_g_ml": 1.15}, BATH, "density_g_ml",
            "This is denser than the resin itself.",
        ),
        (
            "hydrometer", {"density_g_ml": 1.01}, BathLiquid(WATER_BASED, 100.0, 1.12),
            "density_g_ml",
            f"A hydrometer cannot tell resin from cleaner, because {WATER_BASED.name} is nearly "
            "as dense as resin. Use a refractometer, and read this fill with it while it is fresh.",
        ),
        (
            "refractometer", {"index": 1.55}, BATH, "index",
            "This is above the refractive index of the resin itself.",
        ),
        (
            "refractometer", {"brix_percent": 84.0}, BATH, "brix_percent",
            "This is above the refractive index of the resin itself.",
        ),
        (
            "refractometer", {"index": 1.47}, BathLiquid(IPA, 99.0, 1.12, Baseline(None, 1.47, 20)),
            "index", "The resin bends light like this solvent. Calibrate, or use another method.",
        ),
        (
            "residue", {"sample_g": 10.0, "residue_g": 0.5},
            BathLiquid(replace(IPA, boiling_point_c=math.nan, name="Own blend"), 99.0, 1.12),
            "residue_g",
            "The boiling point of Own blend is not known, so it is not clear if a sample dries. "
            "Enter it from the data sheet, or use another method.",
        ),
        (
            "residue", {"sample_g": 10.0, "residue_g": 0.5}, BathLiquid(TPM, 100.0, 1.12),
            "residue_g",
            f"{TPM.name} boils at {TPM.boiling_point_c:.0f} °C. A sample does not dry, so what "
            "stays is not just resin. Use another method.",
        ),
        (
            "residue", {"sample_g": 10.0, "residue_g": 0.5}, BathLiquid(WATER_BASED, 100.0, 1.12),
            "residue_g",
            f"What the cleaner of a {WATER_BASED.name.lower()} leaves in the dish would count as "
            "resin. Use a refractometer, and read this fill with it while it is fresh.",
        ),
        (
            "residue", {"sample_g": 10.0, "residue_g": 10.1}, BATH, "residue_g",
            "The residue weighs more than the sample. Take off the dish, and check both.",
        ),
    ],
)  # fmt: skip
def test_what_a_method_cannot_tell_is_refused_with_what_to_do(
    method: str, values: dict[str, float], liquid: BathLiquid, field: str, message: str
) -> None:
    warm = {} if method == "residue" else {"temperature_c": 20.0}
    with pytest.raises(FieldError) as error:
        measure(method, values | warm, liquid)
    assert (error.value.field, error.value.message) == (field, message)


def test_a_sample_that_is_all_resin_is_no_mistake() -> None:
    found = measure("residue", {"sample_g": 10.0, "residue_g": 10.0}, BATH)
    assert found.mass_percent == 100.0


@pytest.mark.parametrize(
    "made, message",
    [
        ([(1.38, 1.0)], "A calibration needs two samples or more."),
        (
            [(1.38, 1.0), (1.39, 1.0)],
            "The saturations must rise or fall steadily with the scale. Check the samples.",
        ),
    ],
)
def test_samples_that_make_no_line_are_refused(
    made: list[tuple[float, float]], message: str
) -> None:
    with pytest.raises(FieldError) as error:
        calibration_line([CalibrationPoint("index", *one) for one in made])
    assert (error.value.field, error.value.message) == ("points", message)


def test_half_a_percent_between_samples_is_a_line() -> None:
    made = [CalibrationPoint("index", 1.38 + n / 1000, n / 2) for n in range(3)]
    assert calibration_line(made).slope == pytest.approx(500.0)


def test_of_two_scales_the_second_is_the_one_too_many() -> None:
    refractometer = INSTRUMENTS["refractometer"]
    both = {"brix_percent": 20.0, "index": 1.38, "temperature_c": 20.0}
    (problem,) = refractometer.problems(both)
    assert (problem.field, problem.message) == ("index", "Give brix or refractive index, not both.")
    (problem,) = refractometer.problems({"temperature_c": 20.0})
    assert (problem.field, problem.message) == ("brix_percent", "Give brix or refractive index.")


# Temperatures.


def test_a_temperature_is_asked_for_in_half_degrees_over_a_wide_range() -> None:
    asked = InputField("number", "Temperature", "C", -20, 150, help="Of the drop.", step=0.5)
    assert temperature_field("Of the drop.") == asked


@pytest.mark.parametrize("temperature_c", [COLDEST_C, HOTTEST_C, 20.0])
def test_the_ends_of_what_a_bath_can_be_are_taken(temperature_c: float) -> None:
    assert temperature_problems({"temperature_c": temperature_c}) == []


@pytest.mark.parametrize("temperature_c", [COLD_C, HOT_C, 20.0])
def test_the_ends_of_what_is_usual_are_not_asked_about(temperature_c: float) -> None:
    assert temperature_doubts(temperature_c) == ()


@pytest.mark.parametrize(
    "temperature_c, says",
    [
        (HOT_C + 1, "hot for a bath. Was it 46 °F, which is 7.8 °C?"),
        (COLD_C - 1, "cold for a bath. That is 39 °F. Was it 39 °C?"),
    ],
)
def test_one_degree_past_them_is(temperature_c: float, says: str) -> None:
    (doubt,) = temperature_doubts(temperature_c)
    assert doubt == f"{temperature_c:.0f} °C is {says}"


# Beside the estimate.


def far(percent: float, *others: float, sd: float = 0.1, **more: Any) -> Measured:
    alternatives = tuple(Alternative(f"{one}?", one) for one in others)
    return Measured(percent, sd, False, "sensor", alternatives=alternatives, **more)


def test_what_was_meant_instead_is_asked_the_nearest_first_and_two_at_most() -> None:
    found = doubts(far(30.0, 5.9, 5.0, 4.8, 5.3), 5.0, 0.5)
    assert found[1:] == ("5.0?", "4.8?")
    assert doubts(far(30.0, 12.0), 5.0, 0.5)[1:] == ()


def test_how_far_is_far_takes_both_the_estimate_and_the_reading_as_unsure() -> None:
    assert doubts(far(9.0), 5.0, 0.1) != ()
    assert doubts(far(9.0), 5.0, 2.0) == ()
    assert doubts(far(9.0, sd=2.0), 5.0, 0.1) == ()


def test_what_a_reading_doubts_by_itself_comes_first() -> None:
    hot = far(30.0, doubts=("50 °C is hot for a bath.",))
    assert doubts(hot, 5.0, 0.5)[0] == "50 °C is hot for a bath."
    assert doubts(replace(hot, mass_percent=5.0), 5.0, 0.5) == hot.doubts


# Digits in the wrong order.


def questions(rho: float) -> list[str]:
    return [one.question for one in by_density(rho).alternatives]


def test_neighbouring_decimals_are_swapped_and_nothing_else() -> None:
    assert questions(0.8120) == ["Was 0.821 g/mL meant?"]
    assert questions(0.7985) == ["Was 0.7895 g/mL meant?", "Was 0.7958 g/mL meant?",
                                 "Was 0.9785 g/mL meant?"]  # fmt: skip
    assert questions(0.88) == []
    assert by_density(0.8120).alternatives[0].mass_percent == by_density(0.821).mass_percent


# Fresh solvent.


def test_a_fresh_reading_that_is_not_fresh_names_the_solvent_and_what_is_usual() -> None:
    loaded = fresh_doubts("hydrometer", {"density_g_ml": 0.8120, "temperature_c": 20.0}, BATH)
    usual = IPA.density_g_ml(20.0, 99.0)
    asked = f"{IPA.name} of 99 % should read about {usual:.4f} g/mL when fresh. Is this fresh?"
    assert loaded == (asked,)
    bent = fresh_doubts("refractometer", {"index": 1.3850, "temperature_c": 20.0}, BATH)
    index = f"an index of {IPA.index(99.0):.4f}"
    assert bent == (f"{IPA.name} of 99 % should read about {index} when fresh. Is this fresh?",)


def test_where_no_table_knows_the_liquid_its_fresh_reading_joins_what_was_read_before() -> None:
    before = Baseline(1.004, None, 21.0)
    cleaner = BathLiquid(WATER_BASED, 100.0, 1.12, before)
    after = liquid_of_fresh("refractometer", {"index": 1.345, "temperature_c": 20.0}, cleaner)
    assert after.baseline == Baseline(1.004, 1.345, 21.0)
    alone = baseline_of("refractometer", {"index": 1.345, "temperature_c": 23.0})
    assert alone == Baseline(None, 1.345 + 0.0004 * 3, 23.0)
