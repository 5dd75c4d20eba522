"""When a bath will pass its limits."""

import dataclasses
import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.baths.estimator import Draws, RoomFilter
from app.domain.baths.forecast import Forecast, first_limit_ahead, forecast
from app.domain.baths.forecast.calendar import steps_ahead
from app.domain.baths.forecast.loads import Loads
from app.domain.baths.forecast.pace import Pace, pace
from app.domain.baths.forecast.paths import Futures, Plans, Until, Upkeep, Walk, run
from app.domain.baths.habits import Habits, PastVolume
from app.domain.roomlog.kinds import PlannedWash, Removal
from tests.domain.baths.rooms import (
    DAY,
    START,
    filter_of,
    residue,
    set_up,
    steady_washes,
    wash,
)
from tests.oracles import Ask


def look(room: RoomFilter, now: datetime, tank: str = "alder", seed: int = 1) -> Forecast:
    return forecast(room, tank, now, np.random.default_rng(seed))


def used_room(until: int = 20, **values: object) -> RoomFilter:
    sized = {"area_cm2": 600.0} | values
    return filter_of([*set_up("alder"), *steady_washes(until, **sized)])


def days_to(instant: datetime | None, now: datetime) -> float:
    return math.inf if instant is None else (instant - now) / DAY


# A pure drift: constant pace, no evaporation, no drag-out, everything known but the loads.

WASH_G, SQUARE_RATIO, PER_DAY = 10.0, 1.3, 20.0


def pure_drift(monkeypatch: pytest.MonkeyPatch, missing_g: float, n: int = 20_000) -> np.ndarray:
    """Days until `missing_g` grams have come in, by path, in a bath that only takes resin in."""
    monkeypatch.setattr("app.domain.baths.forecast.paths.LEVEL_LN_SD", 0.0)
    flat = Pace(np.ones(7), math.log(PER_DAY), 0.0, np.zeros((2, 2)), 0.0, np.arange(25) / 24)
    steps = steps_ahead(flat, START, START.tzinfo or ZoneInfo("UTC"), 200)
    solvent_g = 1e6
    nothing, ones = np.zeros(n), np.ones(n)
    draws = Draws(
        nothing, solvent_g * ones, nothing, nothing[:, None], ("slate",), nothing, nothing
    )
    loads = Loads(WASH_G * ones, nothing, SQUARE_RATIO)
    upkeep = Upkeep(2000.0, 0.786, 1.1, 0.0, 0.0, 0.0)
    walk = Walk(draws, flat, loads, upkeep, np.random.default_rng(7))
    limit = 100 * missing_g / (missing_g + solvent_g)
    plans = Plans({}, np.zeros(len(steps.days)))
    return run(walk, steps, plans, limit, Until(limit)).passing_days(limit)


def test_a_pure_drift_passes_as_the_inverse_gaussian_says(
    monkeypatch: pytest.MonkeyPatch, ask: Ask
) -> None:
    # scipy.stats.invgauss: first passage of a Brownian motion with drift. Level a, drift v and
    # variance s2 a day: mean a/v, shape a^2/s2.
    missing_g = 6000.0
    days = pure_drift(monkeypatch, missing_g)
    drift = WASH_G * PER_DAY
    mean, shape = missing_g / drift, missing_g**2 / (WASH_G**2 * SQUARE_RATIO * PER_DAY)
    for quantile in (0.05, 0.1, 0.3, 0.5, 0.7, 0.9, 0.95):
        found = float(np.quantile(days, quantile))
        expected = ask("scipy.stats.invgauss.ppf", quantile, mean / shape, 0, shape, unit="d")
        assert found == pytest.approx(expected, abs=0.1)


def test_without_scatter_a_bath_passes_when_its_load_is_full(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("tests.domain.baths.test_forecast.SQUARE_RATIO", 1e-9)
    days = pure_drift(monkeypatch, 2000.0, n=10)
    assert days == pytest.approx(10.0, abs=0.01)


# The forecast of a room


def test_quantiles_stand_in_order_and_the_second_limit_comes_later() -> None:
    found = look(used_room(), START + 20 * DAY)
    limit, now = found.limit, found.made_at
    ahead = [days_to(at, now) for at in (limit.p10_at, limit.p50_at, limit.p90_at)]
    assert 0 < ahead[0] < ahead[1] < ahead[2]
    assert ahead[1] < days_to(found.stop.p50_at, now)
    assert found.limit.chance_within_horizon > 0.98


def test_the_same_generator_gives_the_same_forecast() -> None:
    room, now = used_room(), START + 20 * DAY
    assert look(room, now) == look(room, now)
    assert look(room, now) != look(room, now, seed=2)


@pytest.mark.parametrize("day", [2, 5, 9, 14, 20, 24, 40, 90])
@pytest.mark.parametrize("limit_percent", [2.0, 6.0, 10.0, 40.0])
def test_the_first_limit_alone_is_the_one_of_the_whole_forecast(
    day: int, limit_percent: float
) -> None:
    """To the second, though its paths are walked no further than that; past it and far off too."""
    washed = steady_washes(min(day, 20))
    room = filter_of([*set_up("alder", limit_percent=limit_percent), *washed])
    now = START + day * DAY
    whole = look(room, now).limit
    alone = first_limit_ahead(room, room.belief("alder", now), np.random.default_rng(1))
    assert (alone.p10_at, alone.p50_at, alone.p90_at) == (whole.p10_at, whole.p50_at, whole.p90_at)
    assert alone.is_passed == whole.is_passed
    assert alone.chance_within_horizon <= whole.chance_within_horizon


def test_a_forecast_leaves_the_room_as_it_was() -> None:
    room = used_room()
    before = room.to_bytes()
    look(room, START + 25 * DAY)
    assert room.to_bytes() == before


def test_a_bath_past_its_limit_has_passed_it_now() -> None:
    room = filter_of([*set_up("alder", limit_percent=1.0), *steady_washes(10), residue(10, 4.0)])
    now = START + 11 * DAY
    found = look(room, now).limit
    assert found.is_passed
    assert (found.p10_at, found.p50_at, found.p90_at) == (now, now, now)


def test_a_tank_never_washed_in_is_expected_to_be_used_as_the_others_are() -> None:
    entries = [*set_up("alder", "birch"), *steady_washes(20)]
    now = START + 20 * DAY
    found = look(filter_of(entries), now, "birch")
    alone = look(filter_of(set_up("birch")), now, "birch")
    assert found.limit.p50_at is not None
    assert alone.limit.p50_at is None
    assert alone.limit.chance_within_horizon < 0.5


def test_work_rests_on_the_rooms_free_days() -> None:
    workdays = [w for w in steady_washes(42, area_cm2=900.0) if w.at.weekday() < 5]
    habits = filter_of([*set_up("alder"), *workdays]).habits["alder"]
    found = pace(habits, START + 42 * DAY, None)
    assert found.weekday[5:].max() < 0.1
    assert found.weekday[:5] == pytest.approx(1.4, abs=0.1)  # 7/5


def test_the_pace_finds_a_constant_rate() -> None:
    habits = filter_of([*set_up("alder"), *steady_washes(60, per_day=3)]).habits["alder"]
    found = pace(habits, START + 60 * DAY, None)
    assert math.exp(found.base_ln + found.level_ln) == pytest.approx(3, rel=0.05)


def test_a_silent_week_does_not_slow_the_pace_down_once_work_goes_on() -> None:
    with_pause = [*steady_washes(30, per_day=3), *steady_washes(50, per_day=3, since=40)]
    habits = filter_of([*set_up("alder"), *with_pause]).habits["alder"]
    found = pace(habits, START + 50 * DAY, None)
    assert found.pause_days == 0
    assert math.exp(found.base_ln + found.level_ln) == pytest.approx(3, rel=0.1)


def test_while_work_pauses_the_crossing_is_later_and_less_sure() -> None:
    entries = [*set_up("alder"), *steady_washes(20, per_day=3, area_cm2=700.0)]
    room = filter_of(entries)
    at_work, paused = look(room, START + 20 * DAY), look(room, START + 30 * DAY)
    assert days_to(paused.limit.p50_at, START) > days_to(at_work.limit.p50_at, START) + 5
    spread = days_to(paused.limit.p90_at, START) - days_to(paused.limit.p10_at, START)
    assert spread > days_to(at_work.limit.p90_at, START) - days_to(at_work.limit.p10_at, START)


def test_planned_washes_bring_the_crossing_forward() -> None:
    entries = [*set_up("alder"), *steady_washes(14, per_day=1)]
    now = START + 14 * DAY
    plans = [
        PlannedWash(
            at=now + (0.4 + day) * DAY, id=f"p{day}", plan=f"p{day}", tank="alder", resin="slate",
            area_cm2=15_000.0, known_from=now - DAY,
        )
        for day in range(2)
    ]  # fmt: skip
    with_plans = look(filter_of([*entries, *plans]), now).limit
    without = look(filter_of(entries), now).limit
    assert days_to(with_plans.p50_at, now) < days_to(without.p50_at, now) - 3


def test_a_room_that_tops_up_passes_later_than_one_that_lets_dry() -> None:
    dry, topped = used_room(), used_room()
    topped.habits["alder"].top_ups = [
        PastVolume(START.toordinal() + day, 0.7, to_mark=True) for day in (7, 14)
    ]
    now = START + 20 * DAY
    assert look(topped, now).limit.p50_at > look(dry, now).limit.p50_at  # type: ignore[operator]


def test_a_bath_that_nobody_tops_up_is_filled_again_at_its_lower_mark() -> None:
    now = START + 2 * DAY
    found = look(filter_of([*set_up("alder"), wash(1, area_cm2=100.0)]), now)
    assert found.fan[-1].p95 < 50  # evaporation alone would leave nothing but resin


def test_removals_are_carried_on() -> None:
    removals = [
        Removal(at=START + day * DAY, id=f"out{day}", tank="alder", volume_l=1.0)
        for day in range(2, 20, 3)
    ]
    room = filter_of([*set_up("alder"), *steady_washes(20), *removals])
    assert look(room, START + 20 * DAY).limit.p50_at is not None


def test_the_fan_starts_with_the_estimate_and_rises() -> None:
    room, now = used_room(), START + 20 * DAY
    found, belief = look(room, now), room.belief("alder", now)
    first, *later = found.fan
    assert (first.at, first.p50) == (now, belief.mean_percent)
    assert all(p.p05 <= p.p50 <= p.p95 for p in found.fan)
    assert [p.at for p in found.fan] == sorted({p.at for p in found.fan})
    assert later[-1].p50 > later[0].p50
    assert all(p.at.hour == 0 for p in later)  # midnights of the room, here UTC


def test_crossings_fall_into_working_hours() -> None:
    found = look(used_room(), START + 20 * DAY).limit
    assert found.p50_at is not None
    assert 7 <= found.p50_at.hour <= 19


def test_midnights_are_the_rooms_own_over_a_clock_change() -> None:
    zone = ZoneInfo("Europe/Dublin")  # clocks went forward on 29 March 2026
    flat = pace(Habits(zone), START, 2.0)
    steps = steps_ahead(flat, START + 20 * DAY, zone, 60)
    ends = [steps.ends_at(i).astimezone(zone) for i in range(20)]
    assert {(end.hour, end.minute) for end in ends} == {(0, 0)}
    assert len({end.date() for end in ends}) == 20


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.floats(1.05, 3.0))
def test_larger_loads_never_pass_later(seed: int, factor: float) -> None:
    room, now = used_room(), START + 20 * DAY
    heavier = used_room()
    for one in heavier.habits.values():
        one.loads = [
            dataclasses.replace(load, area_cm2=factor * (load.area_cm2 or 0)) for load in one.loads
        ]
    usual, more = look(room, now, seed=seed).limit, look(heavier, now, seed=seed).limit
    for name in ("p10_at", "p50_at", "p90_at"):
        assert days_to(getattr(more, name), now) <= days_to(getattr(usual, name), now)


@settings(max_examples=15, deadline=None)
@given(
    st.integers(1, 40), st.integers(1, 5), st.floats(50, 5000), st.floats(0, 30), st.integers(0, 99)
)
def test_quantiles_always_stand_in_order(
    days: int, per_day: int, area_cm2: float, idle_days: float, seed: int
) -> None:
    room = used_room(days, per_day=per_day, area_cm2=area_cm2)
    now = START + (days + idle_days) * DAY
    for crossing in (look(room, now, seed=seed).limit, look(room, now, seed=seed).stop):
        instants = [days_to(at, now) for at in (crossing.p10_at, crossing.p50_at, crossing.p90_at)]
        assert 0 <= instants[0] <= instants[1] <= instants[2]
        assert 0 <= crossing.chance_within_horizon <= 1


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 60), st.floats(0, 60))
def test_time_alone_never_unspends_a_bath(earlier: float, later: float) -> None:
    earlier, later = sorted((earlier, later))
    room = used_room()
    start = START + 21 * DAY
    first, second = (room.belief("alder", start + days * DAY) for days in (earlier, later))
    assert second.mean_percent >= first.mean_percent - 1e-9


def test_an_unknown_resin_in_a_plan_is_carried_in_as_the_others_are() -> None:
    now = START + 20 * DAY
    plan = PlannedWash(
        at=now + 0.4 * DAY, id="p", plan="p", tank="alder", resin="new", area_cm2=9000.0,
        known_from=now - DAY,
    )  # fmt: skip
    room = filter_of([*set_up("alder"), *steady_washes(20), plan])
    assert look(room, now).limit.p50_at is not None


def test_rooms_that_log_only_counts_or_masses_are_served() -> None:
    for size in ({"parts": 10}, {"mass_g": 400.0}):
        entries = [wash(d + 0.4, area_cm2=None, **size) for d in range(15)]
        found = look(filter_of([*set_up("alder"), *entries]), START + 15 * DAY)
        assert found.limit.p50_at is not None


def test_passing_within_the_first_step_counts_from_now() -> None:
    flat = Pace(np.ones(7), 0.0, 0.0, np.zeros((2, 2)), 0.0, np.arange(25) / 24)
    now = START + timedelta(hours=12)
    steps = steps_ahead(flat, now, START.tzinfo or ZoneInfo("UTC"), 30)
    before, after = np.array([[9.0]], dtype=np.float32), np.array([[11.0]], dtype=np.float32)
    days = Futures(before, after, steps).passing_days(10.0)
    assert days == pytest.approx([0.25])  # half of the afternoon's washes
