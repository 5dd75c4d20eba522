"""A station's book: hours, readings, relamps, and what its lamp asks for."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.domain.curing.book import STATION_BOOK
from app.domain.curing.drying import UNKNOWN_MINUTES, advice, asked_minutes, drying
from app.domain.curing.lamp import lamp, state_of
from app.domain.curing.stations import RECIPE_BOOK
from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Relamped, StationChanged
from app.domain.roomlog.lines import parse_entry
from app.domain.solvents import SOLVENTS
from app.domain.things import fold
from tests.domain.curing.rooms import COURSE, NOW, START, metered, readings, recipe, station


def cure(days_ago: float, minutes: float, **more: Any) -> Cure:
    at = NOW - timedelta(days=days_ago)
    return Cure(at=at, station="house1", resin="slate", minutes=minutes, **more)


def test_hours_come_from_the_meter_and_the_cures_since() -> None:
    state = station(metered(10, 500), cure(9, 30), cure(8, 90))
    assert state.hours_h == pytest.approx(502)
    assert (state.cures, state.meter is not None) == (2, True)
    assert station(metered(10, 500), cure(9, 30), metered(8, 501)).hours_h == 501


def test_a_relamp_starts_hours_readings_and_output_anew() -> None:
    old = station(*readings(), metered(0.5, 6100))
    entry = Relamped(at=NOW, station="house1", by="Wren", part="lot 7")
    state = STATION_BOOK.apply(old, entry)
    assert (state.hours_h, state.readings, state.new_mw_cm2) == (0, (), None)
    assert state.relamps[0].hours_h == 6100
    assert state.relamps[0].part == "lot 7"
    assert state.lamp_since_at == NOW
    assert lamp(state, NOW).mw_cm2 is None
    assert state_of(state, lamp(state, NOW), NOW) == "measure"


def test_a_reading_has_mean_uniformity_and_the_hours_of_its_time() -> None:
    reading = Irradiance(
        at=NOW, station="house1", centre_mw_cm2=22, back_left_mw_cm2=18, back_right_mw_cm2=20,
        front_left_mw_cm2=16, front_right_mw_cm2=24,
    )  # fmt: skip
    state = station(metered(3, 40), reading)
    last = state.readings[-1]
    assert last is not None
    assert (last.mean_mw_cm2, last.hours_h) == (20, 40)
    assert last.uniformity == pytest.approx(16 / 24)
    alone = station(Irradiance(at=NOW, station="house1", centre_mw_cm2=22)).readings[-1]
    assert alone is not None
    assert alone.uniformity is None


def test_usage_is_counted_over_the_last_eight_weeks() -> None:
    state = station(metered(200, 10), metered(50, 1000), metered(20, 1240), metered(0, 1400))
    assert state.hours_per_day(NOW) == pytest.approx(8)
    assert station(metered(2, 10), metered(0, 30)).hours_per_day(NOW) is None
    assert station().hours_per_day(NOW) is None


def test_the_relamp_day_follows_from_the_usage() -> None:
    state = station(*readings(), metered(40, 5500), metered(20, 5900), relamp_percent=90.0)
    found = lamp(state, NOW)
    assert found.hours_per_day is not None
    relamping = found.relamping
    assert relamping is not None
    assert relamping.due_at is not None
    days = (relamping.due_at - NOW) / timedelta(days=1)
    hours_left = 7797 - state.hours_h
    assert days == pytest.approx(hours_left / found.hours_per_day, rel=0.01)
    assert relamping.early_at is not None
    assert relamping.late_at is not None
    assert relamping.early_at < relamping.due_at < relamping.late_at
    assert relamping.projected_h == relamping.reported_h == pytest.approx(7797, abs=3)


def test_beyond_the_cap_no_hours_are_reported() -> None:
    state = station(*readings(), metered(40, 5500), light_sources=4)
    relamping = lamp(state, NOW).relamping
    assert relamping is not None
    assert relamping.projected_h == pytest.approx(26_757, abs=10)
    assert relamping.reported_h is relamping.due_at is None


def test_a_lamp_below_its_level_is_over() -> None:
    state = station(*readings(), relamp_percent=95.0)
    assert state_of(state, lamp(state, NOW), NOW) == "over"
    assert state_of(station(*readings()), lamp(station(*readings()), NOW), NOW) == "ok"
    late = NOW + timedelta(days=200)
    assert state_of(station(*readings()), lamp(station(*readings()), late), late) == "measure"


def test_a_lamp_near_its_level_is_soon() -> None:
    course = [metered(40, 5500), metered(0, 6100)]
    state = station(*readings(), *course, relamp_percent=91.5)
    assert state_of(state, lamp(state, NOW), NOW) == "soon"


def test_a_sudden_drop_counts_at_once() -> None:
    dropped = [*COURSE[:-1], (6000, 0.60)]
    found = lamp(station(*readings(dropped)), NOW)
    assert found.has_dropped
    assert found.origin == "last_reading"
    assert found.mw_cm2 == pytest.approx(12)


def test_without_a_stated_output_the_first_reading_is_new() -> None:
    state = station(*readings(), new_mw_cm2=None)
    assert state.new_output == pytest.approx(19.7)
    assert station(new_mw_cm2=None).new_output is None
    many = readings([(1000 + 10 * n, 1 - 0.001 * n) for n in range(300)])
    long = station(*many, new_mw_cm2=None)
    assert len(long.readings) == 200
    assert long.new_output == pytest.approx(20)


def test_settings_change_and_what_is_left_out_stays() -> None:
    at = NOW - timedelta(days=1)
    change = StationChanged(
        at=at, station="house1", relamp_percent=80, is_retired=True, has_turntable=False
    )
    state = station(change)
    assert (state.relamp_percent, state.name, state.is_retired) == (80, "Lamp House 1", True)
    assert not STATION_BOOK.is_open(state)


def test_a_fold_takes_in_entries_of_a_station_that_is_not_there() -> None:
    state = fold(STATION_BOOK, "gone", [cure(3, 20), *readings()])
    assert not state.is_known
    assert state.cures == 1
    assert fold(RECIPE_BOOK, "slate", []).is_known is False


def test_the_latest_recipe_counts_whole() -> None:
    first = CureRecipe(at=START, resin="slate", dose_mj_cm2=100, dry_minutes=10)
    second = CureRecipe(
        at=NOW, resin="slate", dose_mj_cm2=200, working_curve=((10.0, 0.1), (20.0, 0.2))
    )
    state = fold(RECIPE_BOOK, "slate", [first, second])
    assert (state.dose_mj_cm2, state.dry_minutes) == (200, None)
    assert state.working_curve == ((10, 0.1), (20, 0.2))
    assert recipe().is_known


def test_state_stays_small_over_many_entries() -> None:
    entries = [cure(400 - n / 4, 10) for n in range(1600)]
    state = station(*entries)
    assert len(state.course) <= 90
    assert state.hours_h == pytest.approx(1600 / 6)


@pytest.mark.parametrize(
    "fields, field",
    [
        ({"kind": "cure_recipe", "resin": "slate"}, "dose_mj_cm2"),
        ({"kind": "cure_recipe", "resin": "slate", "reference_minutes": 5}, "reference_mw_cm2"),
        ({"kind": "cure_recipe", "resin": "slate", "reference_mw_cm2": 5}, "reference_minutes"),
        (
            {"kind": "cure_recipe", "resin": "slate", "dose_mj_cm2": 5, "reference_minutes": 5},
            "reference_minutes",
        ),
        ({"kind": "irradiance", "station": "s", "centre_mw_cm2": 0}, "centre_mw_cm2"),
        ({"kind": "irradiance", "station": "s"}, "centre_mw_cm2"),
        ({"kind": "lamp_hours", "station": "s", "hours_h": -1}, "hours_h"),
        ({"kind": "cure", "station": "s", "resin": "slate", "minutes": 0}, "minutes"),
        (
            {
                "kind": "cure", "station": "s", "resin": "slate", "minutes": 5,
                "washed_at": "2026-03-03T12:00:00+00:00",
            },
            "washed_at",
        ),
    ],
)  # fmt: skip
def test_an_entry_that_cannot_be_is_refused(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(FieldErrors) as caught:
        parse_entry({"at": NOW.isoformat(), **fields})
    assert field in caught.value.by_field()


def test_every_solvent_has_a_wait_and_an_advice() -> None:
    # Common practice, no source: the slower a solvent evaporates, the longer.
    for key in SOLVENTS:
        assert asked_minutes(key) != 0
        assert advice(key)
    assert asked_minutes("isopropanol") < asked_minutes("dipropylene_glycol_methyl_ether")
    assert asked_minutes(None) == UNKNOWN_MINUTES
    assert asked_minutes("isopropanol", 45) == 45
    assert "hood" in advice("isopropanol")


def test_a_part_waits_until_it_has_dried() -> None:
    soon = drying(30, NOW - timedelta(minutes=10), NOW)
    assert (soon.missing_minutes, soon.is_too_soon) == (20, True)
    assert soon.ready_at == NOW + timedelta(minutes=20)
    assert not drying(30, NOW - timedelta(minutes=30), NOW).is_too_soon
    unknown = drying(30, None, NOW)
    assert (unknown.is_too_soon, unknown.dried_minutes) == (False, None)


def test_a_cure_too_soon_is_flagged() -> None:
    early = cure(1, 5, dried_minutes=10.0, dry_asked_minutes=30.0)
    assert early.is_too_soon
    assert not replace(early, dried_minutes=30.0).is_too_soon
    assert not cure(1, 5).is_too_soon
    last = station(early).last_cure
    assert last is not None
    assert last.is_too_soon
