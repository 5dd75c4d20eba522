"""The forecast of one tank: the quantiles of when its limits are passed, and the fan between."""

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from statistics import median

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import BathBelief, Draws, RoomFilter
from app.domain.baths.estimator.rinses import LEAST_FEED_G_ML
from app.domain.baths.forecast.calendar import Steps, steps_ahead
from app.domain.baths.forecast.loads import carry_in, usual_loads
from app.domain.baths.forecast.pace import Pace, pace
from app.domain.baths.forecast.paths import Futures, Until, Upkeep, Walk, run
from app.domain.baths.forecast.planned import open_plans, plans_ahead
from app.domain.baths.habits import Habits
from app.domain.baths.recalibration import NOMINAL, Levels

Array = NDArray[np.float64]

HORIZON_DAYS = 365
N_PATHS = 2000
MOST_UNSURE_OF_STOP = 0.0505
FAN_DAILY = 14
FAN_POINTS = 28
TOP_UPS_ASKED = 6
LOWEST_SHARE = 0.5
FAN_LEAST, FAN_ABOVE_STOP = 8, 1.25
REMOVALS_DAYS = 90.0


@dataclass(frozen=True)
class Crossing:
    """When a limit is passed.

    Attributes:
        p10_at, p50_at, p90_at: the instants by which it is passed with these chances; None where
            they lie beyond the horizon.
        is_passed: the estimate stands above the limit already; all three are then the present.
        chance_within_horizon: that it is passed within the horizon, 0 to 1.
    """

    p10_at: datetime | None
    p50_at: datetime | None
    p90_at: datetime | None
    is_passed: bool
    chance_within_horizon: float


@dataclass(frozen=True)
class FanPoint:
    """Saturation at an instant to come, mass percent."""

    at: datetime
    p05: float
    p50: float
    p95: float


@dataclass(frozen=True)
class Forecast:
    """What is to come for one tank; `stop` is its second limit."""

    tank: str
    made_at: datetime
    limit: Crossing
    stop: Crossing
    fan: tuple[FanPoint, ...]


def forecast(
    room: RoomFilter,
    tank: str,
    now: datetime,
    rng: np.random.Generator,
    horizon_days: int = HORIZON_DAYS,
) -> Forecast:
    """Look ahead from `now`, which must not lie before the room's last entry.

    The same generator state gives the same forecast. A tank in which nothing was ever washed is
    expected to be used as the room's other tanks are; where none was, only evaporation counts.

    Raises:
        KeyError: the room has no such tank.
    """
    return look_ahead(room, room.belief(tank, now), rng, horizon_days)


def look_ahead(
    room: RoomFilter,
    belief: BathBelief,
    rng: np.random.Generator,
    horizon_days: int = HORIZON_DAYS,
) -> Forecast:
    """`forecast` from a belief that is at hand, at its instant."""
    futures = simulate(room, belief, rng, horizon_days)
    levels = room.record.levels
    return Forecast(
        belief.tank,
        belief.at,
        crossing(belief, belief.limit_percent, futures, levels, horizon_days),
        crossing(belief, belief.stop_percent, futures, _walked_to_stop(levels), horizon_days),
        _fan(belief, futures, levels),
    )


def _walked_to_stop(levels: Levels) -> Levels:
    """The paths are walked until so many have passed the second limit, and no further."""
    return replace(levels, low=max(levels.low, MOST_UNSURE_OF_STOP))


def first_limit_ahead(room: RoomFilter, belief: BathBelief, rng: np.random.Generator) -> Crossing:
    """The first limit's early, middle and late instant, as `look_ahead` gives them from the same
    generator state. The paths are walked no further than these need, so that the chance is at
    least the one given."""
    if belief.mean_percent >= belief.limit_percent:
        return _passed(belief.at)
    levels = room.record.levels
    enough = max(_place(level, N_PATHS) for level in levels.days) + 1
    until = Until(belief.limit_percent, enough)
    futures = simulate(room, belief, rng, HORIZON_DAYS, until)
    return crossing(belief, belief.limit_percent, futures, levels)


def passing_days(room: RoomFilter, tank: str, now: datetime, rng: np.random.Generator) -> Array:
    """Days from `now` until the first limit is passed, one value a path, unsorted; infinite where
    it is not. The whole distribution, for judging forecasts."""
    belief = room.belief(tank, now)
    futures = simulate(room, belief, rng, HORIZON_DAYS, Until(belief.limit_percent))
    return futures.passing_days(belief.limit_percent)


def simulate(
    room: RoomFilter,
    belief: BathBelief,
    rng: np.random.Generator,
    horizon_days: int,
    until: Until | None = None,
    is_fed: bool = True,
    n_paths: int = N_PATHS,
    draws: Draws | None = None,
) -> Futures:
    """The paths of a tank from the belief's instant on, `until` where they need go no further; by
    default until most have passed the second limit. Into a pair's clean bath more comes as its
    dirty one fills, unless `is_fed` says that it stays as today. `draws` of the bath may be at
    hand."""
    tank, now = belief.tank, belief.at
    habits, others = habits_of(room, tank)
    tempo = pace_of(habits, others, now)
    steps = steps_ahead(tempo, now, habits.zone, horizon_days)
    draws = draws or room.draw(tank, now, n_paths, rng)
    pool = [habits] if habits.loads else others
    open_ones = open_plans(room, tank, now)
    names = {load.resin for one in pool for load in one.loads} | {p.resin for p in open_ones}
    carried = carry_in(draws, sorted(names))
    loads = usual_loads(pool, carried, rng)
    plans = plans_ahead(habits, open_ones, carried, steps)
    walk = Walk(draws, tempo, loads, _upkeep(room, tank, habits, belief), rng)
    until = until or Until(belief.stop_percent)
    growth = fed_ahead(room, tank, now, steps, rng, horizon_days) if is_fed else None
    return run(walk, steps, plans, belief.limit_percent, until, growth)


def fed_ahead(
    room: RoomFilter,
    tank: str,
    now: datetime,
    steps: Steps,
    rng: np.random.Generator,
    horizon_days: int,
) -> Array | None:
    """By step, how many times as much resin the film of a pair's dirty bath holds as today.

    The dirty bath's own middle path says it, up to its limit: then both are changed. None where
    nothing is fed.
    """
    dirty = room.fed_from(tank)
    if dirty is None:
        return None
    belief = room.belief(dirty, now)
    ahead = simulate(
        room, belief, rng, horizon_days, until=Until(belief.limit_percent), is_fed=False
    )
    percent = np.minimum(np.median(ahead.after_percent, axis=1), belief.limit_percent)
    course = np.concatenate([[min(belief.mean_percent, belief.limit_percent)], percent])
    held = np.maximum(_held_g_ml(course, belief), LEAST_FEED_G_ML)
    days = np.concatenate([[0.0], np.cumsum(ahead.steps.days[: len(percent)])])
    middles = np.cumsum(steps.days) - steps.days / 2
    return np.asarray(np.interp(middles, days, held) / held[0])


def _held_g_ml(percent: Array, belief: BathBelief) -> Array:
    """Resin in a millilitre of bath at a saturation in mass percent."""
    share = np.asarray(percent, np.float64) / 100
    volume = share / belief.resin_density_g_ml + (1 - share) / belief.solvent_density_g_ml
    return np.asarray(share / volume)


def habits_of(room: RoomFilter, tank: str) -> tuple[Habits, list[Habits]]:
    """The habits of a tank, and those of the room's other tanks that are in use."""
    own = room.habits[tank]
    return own, [one for key, one in room.habits.items() if key != tank and one.loads]


def pace_of(habits: Habits, others: list[Habits], now: datetime) -> Pace:
    """The pace of a tank; while its log is short, the other tanks speak too."""
    rates = [rate for one in others if (rate := one.washes_per_day(now)) > 0]
    return pace(habits, now, median(rates) if rates else None)


def _upkeep(room: RoomFilter, tank: str, habits: Habits, belief: BathBelief) -> Upkeep:
    capacity_l = room.tanks[tank].capacity_l
    return Upkeep(
        capacity_l,
        belief.solvent_density_g_ml,
        belief.resin_density_g_ml,
        top_up_below_l(habits, capacity_l, room.tanks[tank].min_l),
        removed_l_per_day(habits, belief.at),
        room.settings.drag_out_ml_cm2,
    )


def top_up_below_l(habits: Habits, capacity_l: float, min_l: float | None) -> float:
    """The volume at which the room tops up, told by how much it then adds; at the latest at the
    lower mark, for parts must be covered."""
    lowest_l = LOWEST_SHARE * capacity_l if min_l is None else min_l
    added_l = [item.volume_l for item in habits.top_ups if item.to_mark][-TOP_UPS_ASKED:]
    added_l = added_l or [item.volume_l for item in habits.top_ups][-TOP_UPS_ASKED:]
    return max(lowest_l, capacity_l - float(np.median(added_l))) if added_l else lowest_l


def removed_l_per_day(habits: Habits, now: datetime) -> float:
    """Bath liquid taken out on a mean day of the last months."""
    if habits.first_day is None or not habits.removals:
        return 0.0
    today = habits.day_of(now)
    span_days = min(max(today - habits.first_day, 7), REMOVALS_DAYS)
    recent = [item.volume_l for item in habits.removals if item.day > today - span_days]
    return sum(recent) / span_days


def crossing(
    belief: BathBelief,
    limit_percent: float,
    futures: Futures,
    levels: Levels = NOMINAL,
    horizon_days: int = HORIZON_DAYS,
) -> Crossing:
    """When a limit is passed, at the levels that the room's record gives."""
    now = belief.at
    if belief.mean_percent >= limit_percent:
        return _passed(now)
    days = futures.passing_days(limit_percent)
    days[days > horizon_days] = np.inf
    ordered = np.sort(days)
    p10_at, p50_at, p90_at = (_instant(now, ordered, q) for q in levels.days)
    return Crossing(p10_at, p50_at, p90_at, False, float(np.isfinite(ordered).mean()))


def _passed(now: datetime) -> Crossing:
    return Crossing(now, now, now, is_passed=True, chance_within_horizon=1.0)


def _place(quantile: float, count: int) -> int:
    """Which of so many ordered values a quantile is."""
    return min(count - 1, int(quantile * count))


def _instant(now: datetime, ordered: Array, quantile: float) -> datetime | None:
    days = float(ordered[_place(quantile, len(ordered))])
    return now + timedelta(seconds=round(days * 86_400)) if math.isfinite(days) else None


def _fan(belief: BathBelief, futures: Futures, levels: Levels) -> tuple[FanPoint, ...]:
    """From now on day by day, then sparser, until most lies well above the second limit."""
    walked = len(futures.after_percent)
    later = np.linspace(FAN_DAILY, walked - 1, FAN_POINTS - FAN_DAILY).round().astype(int)
    chosen = sorted({*range(min(FAN_DAILY, walked)), *(int(i) for i in later if i < walked)})
    every_other = futures.after_percent[:, ::2]
    index = [int(q * every_other.shape[1]) for q in levels.fan]
    rows = np.partition(every_other[chosen], index, axis=1)
    start = FanPoint(belief.at, belief.p05_percent, belief.mean_percent, belief.p95_percent)
    points = [
        FanPoint(futures.steps.ends_at(step), *(float(row[i]) for i in index))
        for step, row in zip(chosen, rows, strict=True)
    ]
    high = FAN_ABOVE_STOP * belief.stop_percent
    above = [i for i, point in enumerate(points) if point.p50 > high and i >= FAN_LEAST]
    return (start, *points[: above[0] if above else None])
