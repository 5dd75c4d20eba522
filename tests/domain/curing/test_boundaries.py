"""Doses, waits and limits exactly at their boundaries, and the sentences that are said there.

The boundaries themselves are common practice without a source where the modules say so; what is
checked is on which side of them each value falls, and the words that a person reads.
"""

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.domain.curing.dose import (
    CureToday,
    cure_today,
    dose_mj_cm2,
    held_words,
    is_in_band,
    longest_minutes,
    seconds_for,
)
from app.domain.curing.drying import advice, asked_minutes, drying
from app.domain.curing.exposure import eye_limit
from app.domain.curing.lamp import lamp
from app.domain.curing.placement import Placement, Spot
from app.domain.curing.plain import places, plain
from app.domain.roomlog.kinds.curing import Irradiance, StationChanged
from app.domain.roomlog.kinds.incidents import StationHeld
from tests.domain.curing.rooms import NOW, metered, readings, recipe, station

NEVER = "Its output has never been measured. Read the radiometer at its marked positions first."
UNLIKELY = (
    "Its only reading is set aside as unlikely. Read the radiometer again, or have a lead settle "
    "it on the station's page."
)
HELD = (
    "It is held: Smoke from the lid. Use another station. A lead releases it on its page once the "
    "cause is settled."
)
ALONE = "The time relies on the last reading alone. No decline has been measured yet."
SINGLE = (
    "The time relies on a single unconfirmed reading. Take a second one, with another meter or "
    "by another person, before you cure parts."
)
DROPPED = (
    "The last reading is well below this lamp's trend. To be safe, the time uses it. Check the "
    "reflector, the window and the radiometer, then measure again."
)
TOO_HIGH = (
    "The last reading is far above what this lamp can give, so it is set aside. The time uses "
    "the readings before it."
)
RELAMP = "The lamp has reached the level at which this room relamps."
COOLER = "Its chamber is cooler than the recipe asks for."
HOTTER = "The chamber is hotter than the recipe asks for."


def measured(centre: float = 20.0, days_ago: float = 1, **more: Any) -> Irradiance:
    """The lamp of 20 mW/cm2 when new, measured after 100 h."""
    at = NOW - timedelta(days=days_ago)
    return Irradiance(at=at, station="house1", centre_mw_cm2=centre, hours_h=100.0, **more)


def today(*entries: Any, asked: Any = None, **more: Any) -> CureToday:
    state = station(*entries, **more)
    return cure_today(state, lamp(state, NOW), asked or recipe())


def refusals(**asked: Any) -> tuple[str, ...]:
    """Why the lamp at 20 mW/cm2, 405 nm and 60 C refuses such a recipe."""
    return today(measured(), asked=recipe(**asked)).refusals


def test_a_lamp_at_four_fifths_takes_five_quarters_of_the_time() -> None:
    # 6000 mJ/cm2 at 16 mW/cm2 are 375 s, at 20 mW/cm2 300 s; 10 % more for the meter.
    spot = Spot("centre", 16.0, pytest.approx(16 / 1.1), pytest.approx(16 * 1.1))
    assert today(measured(16.0)) == CureToday(
        refusals=(), remarks=(ALONE,), seconds=pytest.approx(412.5), likely_seconds=375,
        new_seconds=pytest.approx(330), factor=1.25, mw_cm2=16, dose_mj_cm2=6000,
        placement=Placement((spot,)),
    )  # fmt: skip


def test_without_an_output_when_new_there_is_no_factor() -> None:
    dim = today(measured(0.5), new_mw_cm2=None)  # set aside as too low: the safe side
    assert (dim.likely_seconds, dim.new_seconds, dim.factor) == (12_000, None, None)


def test_the_range_of_the_time_comes_from_the_range_of_the_output() -> None:
    state = station(*readings(), metered(0, 8000))
    now = lamp(state, NOW)
    found = cure_today(state, now, recipe())
    assert now.low_mw_cm2 is not None
    assert now.high_mw_cm2 is not None
    # Independent relative parts add in quadrature (JCGM 100:2008, 5.1.2): the line's and a hand
    # meter's 10 %.
    of_line = math.log(now.mw_cm2 / now.low_mw_cm2)
    of_time = math.log(found.seconds / found.likely_seconds)
    assert of_time**2 == pytest.approx(of_line**2 + math.log(1.1) ** 2)
    assert found.weakest is not None
    above = math.log(found.weakest.high_mw_cm2 / now.mw_cm2)
    assert above == pytest.approx(math.hypot(math.log(now.high_mw_cm2 / now.mw_cm2), math.log(1.1)))
    assert found.remarks == ()


def test_no_light_and_no_time_are_boundaries_of_the_dose() -> None:
    assert dose_mj_cm2(0, 300) == dose_mj_cm2(20, 0) == 0
    assert seconds_for(6, 0.5) == 12
    for irradiance, seconds in ((-0.1, 10), (10, -0.1)):
        with pytest.raises(ValueError, match=r"^Irradiance and time must not be below zero\.$"):
            dose_mj_cm2(irradiance, seconds)
    with pytest.raises(ValueError, match=r"^A station without light delivers no dose\.$"):
        seconds_for(6000, 0)


def test_without_a_reading_the_station_is_refused_with_what_to_do() -> None:
    assert today() == CureToday((NEVER,), (), dose_mj_cm2=6000)
    assert today(measured(200.0)) == CureToday((UNLIKELY,), (), dose_mj_cm2=6000)
    held = StationHeld(at=NOW, station="house1", reason="Smoke from the lid.", cause="incident")
    assert today(held) == CureToday((HELD, NEVER), (), dose_mj_cm2=6000)


def test_a_station_held_or_out_of_use_is_refused() -> None:
    held = StationHeld(at=NOW, station="house1", reason="Smoke from the lid", cause="incident")
    assert today(measured(), held).refusals == (HELD,)
    assert held_words(station(held)) == HELD
    named = StationHeld(at=NOW, station="house1", reason="Smoke at lamp X", cause="incident")
    assert held_words(station(named)).startswith("It is held: Smoke at lamp X. Use another")
    gone = StationChanged(at=NOW, station="house1", is_retired=True)
    assert today(measured(), gone).refusals == ("It is out of use.",)
    assert today(measured()).refusals == ()


@pytest.mark.parametrize("wavelength_nm", [None, 390.0, 405.0, 420.0])
def test_light_within_fifteen_nanometres_serves(wavelength_nm: float | None) -> None:
    assert refusals(wavelength_nm=wavelength_nm) == ()
    assert is_in_band(station(), wavelength_nm)


@pytest.mark.parametrize("wavelength_nm, said", [(389.0, "389"), (421.0, "421")])
def test_other_light_is_refused(wavelength_nm: float, said: str) -> None:
    assert refusals(wavelength_nm=wavelength_nm) == (
        f"It shines at 405 nm, the resin needs {said} nm.",
    )
    assert not is_in_band(station(), wavelength_nm)


def test_the_least_irradiance_may_just_be_reached() -> None:
    assert refusals(least_mw_cm2=20.0) == ()
    assert refusals(least_mw_cm2=20.1) == (
        "It gives 20 mW/cm² today at its weakest place, centre. The recipe asks for 20.1 or more. "
        "Below that, a longer time does not make up for it.",
    )


def test_a_cure_of_five_seconds_is_the_shortest() -> None:
    # 100 mJ/cm2 at 20 mW/cm2 are 5 s.
    assert refusals(dose_mj_cm2=100.0) == ()
    assert refusals(dose_mj_cm2=99.0) == (
        "The dose of 99 mJ/cm² would take less than 5 seconds here. No cure is that short. Check "
        "the recipe: 1 J/cm² is 1,000 mJ/cm².",
    )


def test_the_longest_exposure_may_just_be_reached() -> None:
    # 36 000 mJ/cm2 at 20 mW/cm2 are 1800 s, the 30 min of this station; the meter's 10 % off it.
    assert refusals(dose_mj_cm2=36_000.0 / 1.1001) == ()
    assert refusals(dose_mj_cm2=40_000.0) == (
        "Today the dose would take 36.7 min, but the longest exposure is 30 min. Relamp it or use "
        "another station.",
    )
    assert refusals(dose_mj_cm2=36_000.0 / 1.0999) != ()
    assert refusals(longest_minutes=5.51) == ()
    assert refusals(longest_minutes=5.49) != ()
    assert longest_minutes(station(), recipe(longest_minutes=40.0)) == 30


@pytest.mark.parametrize(
    "asked_c, refused, remarks",
    [
        (65.0, (), (ALONE,)),  # 5 C cooler than asked is let pass
        (65.1, (COOLER,), (ALONE,)),
        (55.0, (), (ALONE,)),  # and 5 C hotter
        (54.9, (), (ALONE, HOTTER)),
        (60.0, (), (ALONE,)),
        (None, (), (ALONE,)),
    ],
)
def test_the_chamber_may_differ_by_five_degrees(
    asked_c: float | None, refused: tuple[str, ...], remarks: tuple[str, ...]
) -> None:
    found = today(measured(), asked=recipe(temperature_c=asked_c))
    assert (found.refusals, found.remarks) == (refused, remarks)


def test_a_chamber_of_unknown_temperature_is_said_where_one_is_asked_for() -> None:
    unknown: dict[str, Any] = {"chamber_temperature_c": None}
    assert today(measured(), **unknown).remarks == (
        ALONE, "The recipe asks for a temperature, but this chamber's is not known.",
    )  # fmt: skip
    assert today(measured(), **unknown).refusals == ()
    indifferent = recipe(temperature_c=None)
    assert today(measured(), asked=indifferent, **unknown).remarks == (ALONE,)


def test_a_single_reading_that_nothing_confirms_is_said() -> None:
    unknown: dict[str, Any] = {"new_mw_cm2": None}
    assert today(measured(), **unknown).remarks == (SINGLE, ALONE)
    assert today(measured(20.0, 2), measured(20.0, 1), **unknown).remarks == (ALONE,)
    state = station(measured(), **unknown)
    for known in ({"former_new_mw_cm2": 20.0}, {"is_cut": True}):
        other = replace(state, **known)  # type: ignore[arg-type]
        assert cure_today(other, lamp(other, NOW), recipe()).remarks == (ALONE,)


def test_a_reading_is_old_after_a_hundred_days() -> None:
    assert today(measured(days_ago=100)).remarks == (ALONE,)
    assert today(measured(days_ago=101)).remarks == (
        "The last radiometer reading is 101 days old. Measure again.", ALONE,
    )  # fmt: skip


def test_a_reading_set_aside_is_said() -> None:
    assert today(*readings(), measured(60.0, 0.1)).remarks == (TOO_HIGH,)
    assert today(*readings(), measured(9.0, 0.1)).remarks == (DROPPED,)


@pytest.mark.parametrize("mw_cm2, said", [(14.0, (ALONE, RELAMP)), (14.1, (ALONE,))])
def test_the_relamp_level_is_reached_at_seventy_percent(
    mw_cm2: float, said: tuple[str, ...]
) -> None:
    # 70 % of 20 mW/cm2 when new.
    assert today(measured(mw_cm2)).remarks == said


def test_dark_and_weak_positions_are_named() -> None:
    dark = measured(26.0, back_left_mw_cm2=0.0, front_mw_cm2=0.0, front_left_mw_cm2=30.0)
    assert today(dark).remarks[-1] == "No light at back left, front. Put no part there."
    # The weakest over the strongest: 14 of 20 is 0.7, that of an even chamber.
    assert today(measured(20.0, front_left_mw_cm2=14.0)).remarks == (ALONE,)
    # 13 of a mean of 16.5 is 79 %.
    assert today(measured(20.0, front_left_mw_cm2=13.0)).remarks == (
        ALONE,
        "The light is uneven. The weakest place gets 79 % of the mean. The time is long enough for "
        "it, so other places get more. Turn the parts halfway.",
    )


def test_an_unusual_dose_and_the_turn_are_said() -> None:
    found = today(measured(), asked=recipe(dose_mj_cm2=200.0, turn_half_way=True))
    assert found.remarks == (
        ALONE,
        "200 mJ/cm² is less than usual for a post-cure (300 to 60,000 mJ/cm², common practice). "
        "Compare the recipe with the resin's data sheet.",
        "Turn the part halfway.",
    )


def test_waits_are_those_of_the_solvent() -> None:
    # Common practice, no source: acetone 15 min, alcohols 30, what hardly evaporates 60.
    asked = {key: asked_minutes(key) for key in ("acetone", "isopropanol", "water_based")}
    assert asked == {"acetone": 15, "isopropanol": 30, "water_based": 60}
    assert asked_minutes("never heard of") == 60
    assert asked_minutes("isopropanol", 0.0) == 0


@pytest.mark.parametrize(
    "solvent, words",
    [
        (
            "propylene_carbonate",
            "This solvent hardly evaporates. Rinse it off as its recipe says, then dry.",
        ),
        (
            "isopropanol",
            "Let it evaporate under the hood, not in the chamber. Its vapour can catch fire at a "
            "hot lamp.",
        ),
        ("water_based", "Blow or wipe water out of pockets. Wet spots turn white."),
        (None, "Check for wet pockets and blind holes before it goes under the light."),
        ("never heard of", "Check for wet pockets and blind holes before it goes under the light."),
    ],
)
def test_advice_on_drying_is_that_of_the_solvent(solvent: str | None, words: str) -> None:
    assert advice(solvent) == words


def test_a_wait_counts_from_the_wash() -> None:
    soon = drying(30, NOW - timedelta(minutes=29), NOW)
    assert (soon.asked_minutes, soon.dried_minutes, soon.missing_minutes) == (30, 29, 1)
    assert soon.is_too_soon
    done = drying(30, NOW - timedelta(minutes=31), NOW)
    assert (done.missing_minutes, done.is_too_soon) == (0, False)
    assert done.ready_at == NOW - timedelta(minutes=1)
    later = drying(30, NOW + timedelta(minutes=5), NOW)
    assert (later.dried_minutes, later.missing_minutes) == (0, 30)
    unknown = drying(30, None, NOW)
    assert (unknown.asked_minutes, unknown.missing_minutes, unknown.ready_at) == (30, 0, None)


ACTINIC = (
    "Eye and skin: 30 J/m² effective within 8 hours; the time is for the most harmful wavelength "
    "(270 nm); others take longer."
)
UVA = "Unprotected eye, UV-A: 10 kJ/m² within 8 hours."
ICNIRP = "ICNIRP, Health Physics 87 (2004) 171"


@pytest.mark.parametrize(
    "wavelength_nm, seconds, text, source",
    [
        # ICNIRP, Health Physics 87 (2004) 171: UV-A is 315 to 400 nm, 1000 mJ/cm2 at the eye;
        # below it 3 mJ/cm2 effective.
        (314.9, 0.15, ACTINIC, ICNIRP),
        (315.0, 50.0, UVA, ICNIRP),
        (400.0, 50.0, UVA, ICNIRP),
    ],
)
def test_the_limit_of_the_eye_is_that_of_the_band(
    wavelength_nm: float, seconds: float | None, text: str, source: str
) -> None:
    found = eye_limit(wavelength_nm, 20)
    assert (found.seconds, found.text, found.source) == (seconds, text, source)


def test_a_limit_beyond_a_shift_of_eight_hours_is_none() -> None:
    assert eye_limit(365, 1000 / 28_000).seconds == pytest.approx(28_000)
    assert eye_limit(365, 1000 / 28_800).seconds is None
    assert eye_limit(365, 0.5).seconds == 2000
    for nothing in (0.0, -1.0):
        with pytest.raises(ValueError, match=r"^An irradiance above zero\.$"):
            eye_limit(365, nothing)


def test_numbers_and_places_are_written_for_people() -> None:
    assert [plain(value) for value in (99.94, 100.4, -1234.4, 0.5)] == [
        "99.9",
        "100",
        "-1,234",
        "0.5",
    ]
    assert places(["back_left", "front"]) == "back left, front"
