"""Keeping a room's forecasts as they are said: the one way in which entries reach a filter whose
record counts."""

from datetime import UTC, datetime, time, timedelta
from zlib import crc32

import numpy as np

from app.domain.baths.estimator import BathBelief, Effect, RoomFilter
from app.domain.baths.evidence import has_told, lacks
from app.domain.baths.forecast.outlook import crossing, simulate
from app.domain.baths.forecast.paths import Futures, Until
from app.domain.baths.recalibration import Levels
from app.domain.baths.record import STAGES, Said, figures
from app.domain.roomlog.history import moment
from app.domain.roomlog.kinds import Entry, Reading, Swap

PATHS = 600  # two forecasts a fill; a few hundred paths tell its quantiles well enough
DAYS_AHEAD = (1, 2, 3, 4, 6, 8, 11, 15, 20, 26, 33, 42)


def follow(room: RoomFilter, entry: Entry) -> Effect | None:
    """Take an entry in, and what it tells of forecasts: say those that fell due before it."""
    if room.record.due:
        _say_due(room, moment(entry))
    effect = room.apply(entry)
    if effect is not None:
        _note(room, entry, effect)
    return effect


def tanks_told(room: RoomFilter) -> list[bool]:
    """Of each tank, whether a reading of it can tell what washes carry in."""
    found = []
    for key, facts in room.tanks.items():
        habits, read_at = room.habits[key], facts.last_reading_at
        found.append(has_told(habits, None if read_at is None else habits.day_of(read_at)))
    return found


def _note(room: RoomFilter, entry: Entry, effect: Effect) -> None:
    record, belief, tank = room.record, effect.belief, effect.tank
    if isinstance(entry, Swap):
        record.end(tank, effect.fill, entry.at)
    if belief.mean_percent >= belief.limit_percent:
        record.passed(tank, entry.at)
        return
    if isinstance(entry, Reading) and effect.measured is not None and not effect.is_set_aside:
        record.see(tank, entry.at, belief.mean_percent, belief.sd_percent)
    reached = [stage for stage in STAGES if belief.mean_percent >= stage * belief.limit_percent]
    if reached and reached[-1] > record.stage_said(tank, effect.fill):
        record.call_for(tank, reached[-1], entry.id or None, _end_of_day(room, entry.at))


def _end_of_day(room: RoomFilter, at: datetime) -> datetime:
    day = at.astimezone(room.zone).date() + timedelta(days=1)
    return datetime.combine(day, time(), room.zone).astimezone(UTC)


def _say_due(room: RoomFilter, now: datetime) -> None:
    """Say what fell due up to an instant; where no day may be named, nothing is said."""
    record = room.record
    for tank in [tank for tank, (_, _, at) in record.due.items() if at <= now]:
        stage, entry, at = record.due.pop(tank)
        record.forget()
        belief = room.belief(tank, at)
        facts = room.tanks[tank]
        if (
            facts.is_retired
            or facts.swap_started_at is not None
            or belief.mean_percent >= belief.limit_percent
            or lacks(room.habits[tank], tanks_told(room))
        ):
            continue
        record.say(said_of(room, belief, stage, entry))


def said_of(room: RoomFilter, belief: BathBelief, stage: float, entry: str | None) -> Said:
    """What the filter says of a bath, from random numbers of its own."""
    seed = crc32(f"{belief.tank}/{belief.fill}/{stage}".encode())
    rng, limit = np.random.default_rng(seed), belief.limit_percent
    futures = simulate(room, belief, rng, 365, until=Until(limit), n_paths=PATHS)
    levels = room.record.levels
    when = crossing(belief, limit, futures, levels)
    days, percents = _course(futures, levels)
    return Said(
        belief.tank, belief.fill, stage, belief.at, entry, round(limit, 3),
        when.p10_at, when.p50_at, when.p90_at, days, percents,
    )  # fmt: skip


def _course(
    futures: Futures, levels: Levels
) -> tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]:
    """Days ahead, from the present on, and the figures of each."""
    ends = np.cumsum(futures.steps.days[: len(futures.after_percent)])
    chosen = [i for i in range(len(ends)) if i + 1 in DAYS_AHEAD or i == len(ends) - 1]
    rows = [figures(futures.before_percent[0], levels)]
    rows += [figures(futures.after_percent[i], levels) for i in chosen]
    return (0.0, *(float(ends[i]) for i in chosen)), tuple(rows)
