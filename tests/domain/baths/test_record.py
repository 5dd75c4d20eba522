"""What was said of a bath and what came of it, entry by entry."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from zlib import crc32
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast import first_limit_ahead
from app.domain.baths.forecast.keeping import PATHS, follow, said_of
from app.domain.baths.forecast.outlook import simulate
from app.domain.baths.forecast.paths import Until
from app.domain.baths.recalibration import NOMINAL
from app.domain.baths.record import FILLS_KEPT, Record, Said, tally
from app.domain.roomlog.history import effective
from app.domain.roomlog.kinds import Entry
from tests.domain.baths.rooms import DAY, START, residue, set_up, steady_washes, swap, wash

SAID = Said(
    "alder", 0, 0.5, START, "w", 10.0, START + 8 * DAY, START + 10 * DAY, START + 13 * DAY,
    (0.0, 2.0, 4.0),
    ((5.0, 5.1, 5.2, 5.0, 5.2), (5.6, 6.1, 6.8, 5.5, 7.0), (6.2, 7.1, 8.4, 6.0, 9.0)),
)  # fmt: skip


def followed(entries: Sequence[Entry], room: RoomFilter | None = None) -> RoomFilter:
    room = room or RoomFilter()
    for entry in effective(list(entries)):
        follow(room, entry)
    return room


def cycle(days: int = 18, since: int = 0) -> list[Entry]:
    """Washes of so many days, of half a mass percent a day; a reading on the way, one at the end,
    and the swap."""
    end = since + days
    return [
        *steady_washes(end, since=since, per_day=3),
        residue(since + 5, 2.6),
        residue(end - 0.2, 0.52 * days),
        swap(end),
    ]


def test_a_forecast_is_said_at_the_end_of_the_day_that_reaches_half_of_the_limit() -> None:
    washes = [*set_up("alder"), *cycle()[:-1]]
    room = RoomFilter()
    reached, said = None, None
    for entry in effective(list(washes)):
        effect = follow(room, entry)
        if reached is None and effect and effect.belief.mean_percent >= 5.0:
            reached = entry
        if said is None and room.record.open:
            said = entry
    assert reached is not None
    assert said is not None
    (first, *_) = room.record.open
    assert (first.stage, first.entry, first.fill) == (0.5, reached.id, 0)
    assert first.at == (reached.at + DAY).replace(hour=0, minute=0)
    assert said.at >= first.at > reached.at


def test_the_day_ends_at_the_midnight_of_the_room() -> None:
    zone = ZoneInfo("America/Denver")
    room = followed([*set_up("alder"), *cycle()[:-1]], RoomFilter(zone=zone))
    for said in room.record.open:
        assert said.at.astimezone(zone).hour == 0
        assert said.at.tzinfo == UTC


def test_each_stage_is_said_once() -> None:
    room = followed([*set_up("alder"), *cycle()])
    stages = [said.stage for said in room.record.closed]
    assert stages == [0.5, 0.8]
    assert room.record.open == []
    assert room.record.due == {}


def test_what_was_said_knows_nothing_of_what_came() -> None:
    """Another future, the same word."""
    base = [*set_up("alder"), *cycle()[:-1]]
    first = followed(base).record.open[0]
    until = [entry for entry in base if entry.at < first.at]
    other = followed([*until, *(wash(day + 0.4, area_cm2=40_000.0) for day in range(20, 23))])
    (again, *_) = other.record.open
    assert replace(
        again, passed_at=None, seen_at=None, seen_percent=0, seen_sd_percent=0
    ) == replace(first, passed_at=None, seen_at=None, seen_percent=0, seen_sd_percent=0)


def test_the_days_said_are_those_of_the_forecast() -> None:
    room = followed([*set_up("alder"), *cycle()[:-1]])
    now = START + 18 * DAY
    belief = room.belief("alder", now)
    said = said_of(room, belief, 0.5, None)
    shown = first_limit_ahead(room, belief, np.random.default_rng(7))
    assert said.middle_at is not None
    assert said.late_at is not None
    assert shown.p50_at is not None
    assert shown.p90_at is not None
    # 600 paths against 2,000: the days agree but for the noise of sampling.
    assert abs(said.middle_at - shown.p50_at) < 1 * DAY
    assert abs(said.late_at - shown.p90_at) < 2 * DAY


def test_the_figures_of_a_day_are_quantiles_of_the_paths() -> None:
    room = followed([*set_up("alder"), *cycle()[:-1]])
    belief = room.belief("alder", START + 18 * DAY)
    said = said_of(room, belief, 0.8, None)
    rng = np.random.default_rng(crc32(b"alder/0/0.8"))
    paths = simulate(room, belief, rng, 365, until=Until(10.0), n_paths=PATHS)
    step = next(i for i, end in enumerate(np.cumsum(paths.steps.days)) if end == said.days[3])
    levels, rounding = [0.1, 0.5, 0.9], 0.001
    lower = np.quantile(paths.after_percent[step], levels, method="lower")
    higher = np.quantile(paths.after_percent[step], levels, method="higher")
    for said_percent, low, high in zip(said.percents[3][:3], lower, higher, strict=True):
        assert low - rounding <= said_percent <= high + rounding  # between two of 600 paths


def test_nothing_is_said_while_no_day_may_be_named() -> None:
    """Without a reading nothing tells an assumption from knowledge."""
    washes = steady_washes(16, per_day=3)
    room = followed([*set_up("alder"), *washes])
    assert room.record.open == []


def test_a_fill_that_nobody_read_is_not_judged() -> None:
    fill = cycle()
    read = followed([*set_up("alder"), *fill])
    last = fill[-2]
    unread = followed([*set_up("alder"), *(entry for entry in fill if entry is not last)])
    assert read.record.closed
    assert unread.record.closed == []
    assert unread.record.open == []


def test_a_reading_that_is_set_aside_tells_nothing() -> None:
    base = [*set_up("alder"), *cycle()[:-1]]
    sound = followed(base)
    with_slip = followed([*base, residue(18.1, 20.0)])
    assert [one.seen_at for one in with_slip.record.open] == [
        one.seen_at for one in sound.record.open
    ]


@pytest.mark.parametrize(
    "percent, outcome", [(7.05, "sooner"), (6.2, "as_said"), (5.4, "later"), (6.95, "as_said")]
)
def test_the_last_reading_says_what_came(percent: float, outcome: str) -> None:
    """Said for two days ahead: 5.5 to 7.0 %."""
    said = SAID.seen(START + 2 * DAY, percent, 0.1)
    assert said.outcome == outcome
    assert said.ended(START + 5 * DAY).outcome == outcome


def test_between_two_days_what_was_said_lies_between() -> None:
    assert SAID.at_instant(START + 3 * DAY) == pytest.approx((5.9, 6.6, 7.6, 5.75, 8.0))


@pytest.mark.parametrize("days", [0.9, 4.5])
def test_a_reading_too_near_or_too_far_tells_nothing(days: float) -> None:
    assert SAID.seen(START + days * DAY, 6.0, 0.1).outcome is None


def test_ended_the_outcome_is_kept_and_the_rest_let_go() -> None:
    said = SAID.seen(START + 3 * DAY, 6.0, 0.1)
    ended = said.ended(START + 5 * DAY)
    assert ended.range_percent == pytest.approx(said.range_percent)
    assert len(ended.days) == 1


def test_a_tally_counts_each_fill_once_by_its_first_forecast() -> None:
    first = SAID.seen(START + 2 * DAY, 7.5, 0.1)
    closed = [
        first, replace(first, stage=0.8, seen_percent=6.0),
        replace(first, fill=1, seen_percent=6.0), replace(first, tank="birch", seen_percent=5.0),
    ]  # fmt: skip
    found = tally(closed)
    assert (found.fills, found.as_said, found.sooner, found.later) == (3, 1, 1, 1)


def test_the_levels_follow_from_the_fills_that_ended() -> None:
    record = Record()
    assert record.levels == NOMINAL
    for fill in range(12):
        record.say(replace(SAID, fill=fill).seen(START + 2 * DAY, 6.9, 0.05))
        record.end("alder", fill + 1, START + 5 * DAY)
    assert record.levels.high > 0.93  # fuller than said, fill after fill: sooner
    assert record.levels.days[0] < 0.07


def test_so_many_fills_are_kept() -> None:
    record = Record()
    for fill in range(FILLS_KEPT + 5):
        for stage in (0.5, 0.8):
            record.say(replace(SAID, fill=fill, stage=stage).seen(START + 2 * DAY, 6.0, 0.1))
        record.end("alder", fill + 1, START + 5 * DAY)
    assert len(record.closed) == 2 * FILLS_KEPT
    assert record.closed[0].fill == 5


def test_a_record_comes_back_as_it_was() -> None:
    room = followed([*set_up("alder"), *cycle(), *cycle(since=18)[:-1]])
    record = room.record
    assert record.closed
    assert record.open
    assert Record.from_json(record.to_json()) == record
    again = RoomFilter.from_bytes(room.to_bytes())
    assert again.record == record
    again.record.packed = None
    assert again.to_bytes() == room.to_bytes()


def test_a_record_goes_on_after_a_checkpoint_as_without_one() -> None:
    entries = effective([*set_up("alder"), *cycle(), *cycle(since=18)])
    whole, halved = RoomFilter(), RoomFilter()
    for number, entry in enumerate(entries):
        follow(whole, entry)
        follow(halved, entry)
        if number % 40 == 0:
            halved = halved.copy()
    assert halved.record == whole.record
    assert halved.to_bytes() == whole.to_bytes()


def test_the_room_s_record_moves_its_days() -> None:
    """Baths that came sooner than said, again and again, draw the days nearer."""
    entries = [*set_up("alder"), *cycle()[:-1]]
    room, now = followed(entries), START + 18 * DAY
    belief = room.belief("alder", now)
    before = first_limit_ahead(room, belief, np.random.default_rng(1))
    for fill in range(15):
        said = replace(SAID, tank="birch", fill=fill).seen(START + 2 * DAY, 6.9, 0.05)
        room.record.say(said)
        room.record.end("birch", fill + 1, START + 5 * DAY)
    after = first_limit_ahead(room, belief, np.random.default_rng(1))
    for name in ("p10_at", "p50_at", "p90_at"):
        old, new = getattr(before, name), getattr(after, name)
        assert isinstance(old, datetime)
        assert isinstance(new, datetime)
        assert new < old
        assert new >= now
