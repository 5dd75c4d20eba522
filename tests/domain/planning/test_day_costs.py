"""What a day costs a swap, what it waits for, and the chance that comes with it: worked by hand."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from app.domain.planning.allotment import Parcel
from app.domain.planning.assignment import NEVER, UNPLACED, Days, cheapest_days
from app.domain.planning.chance import Chances, chances
from app.domain.planning.days import starts_at
from app.domain.planning.lines import Line
from app.domain.planning.needs import SwapNeed
from app.domain.planning.possible import MOST_TURNS, settled
from app.domain.planning.readiness import Readiness
from app.domain.planning.scheduling import (
    Candidate,
    Proposal,
    Rules,
    Schedule,
    Wait,
    Waits,
    costs_of,
    next_days,
    schedule,
)
from app.domain.planning.stock import Solvent, Stock, SwapAhead
from app.domain.workdays import WorkCalendar

MON = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
RULES = Rules(MON, WorkCalendar(), 2, UTC)
NEVER_PAST = Chances(((NOW, 0.0),))
ALWAYS_PAST = Chances(((NOW, 1.0),))


def on(days: int) -> date:
    return MON + timedelta(days=days)


def candidate(tank: str = "a", early: int | None = 3, **more: Any) -> Candidate:
    values: dict[str, Any] = {
        "rank": 0, "early_on": None if early is None else on(early), "due_on": on(9),
        "chances": NEVER_PAST,
    }  # fmt: skip
    return Candidate(tank, **(values | more))


def costs(days: int = 5, **more: Any) -> list[int]:
    """What the working days of the first week cost, the early day being Thursday."""
    return costs_of(candidate(**more), RULES, RULES.days[:days])


def test_each_day_before_the_early_one_gives_bath_away_and_each_after_it_is_late() -> None:
    # 1000 a day given away, 100 a day's waiting at the head of the queue, 100 000 from the early
    # day on.
    assert costs() == [2000, 1100, 200, 100_300, 100_400]
    assert costs(rank=40) == [2000, 1060, 120, 100_180, 100_240]
    assert costs(rank=100) == costs(rank=150) == [2000, 1000, 0, 100_000, 100_000]
    assert costs(early=None) == [0, 100, 200, 300, 400]
    assert costs(early=0)[:2] == [100_000, 100_100]


def test_a_day_past_the_limit_costs_half_a_late_day() -> None:
    # Past from the first day on: by Wednesday two days are borne, which nobody can change.
    assert costs(chances=ALWAYS_PAST) == [2000, 1100, 200, 150_300, 200_400]
    # With no day before the early one all that comes is counted.
    assert costs(early=0, chances=ALWAYS_PAST) == [100_000, 150_100, 200_200, 250_300, 300_400]


def test_a_swap_that_is_put_off_may_be_on_its_first_day() -> None:
    assert costs(not_before_on=on(2)) == [NEVER, NEVER, 200, 100_300, 100_400]


def test_the_weeks_looked_at_end_with_a_day() -> None:
    assert RULES.last == on(55)
    assert replace(RULES, weeks=1).days == [on(n) for n in range(5)]
    assert replace(RULES, weeks=99).last == on(26 * 7 - 1)
    at_the_end = schedule([candidate(early=55)], RULES).of("a")
    assert at_the_end is not None
    assert at_the_end.day == on(53)  # Friday before Sunday 26 April
    assert schedule([candidate(early=56)], RULES).of("a") is None
    assert schedule([candidate(early=None)], RULES).proposals == ()
    late = schedule([candidate(early=99, pinned_on=on(50))], RULES).of("a")
    assert late is not None
    assert late.day == on(50)
    put_off = schedule([candidate(early=3, not_before_on=on(60))], RULES)
    assert put_off.proposals == ()


def test_a_proposal_tells_what_it_rests_on() -> None:
    sure = Chances(((starts_at(on(2), UTC), 0.25), (starts_at(on(4), UTC), 0.75)))
    (found,) = schedule([candidate(rank=3, chances=sure)], RULES).proposals
    assert found == Proposal("a", 3, on(2), 0, on(3), on(9), False, 0.25)
    pinned = schedule([candidate(pinned_on=on(3), chances=sure)], RULES).proposals[0]
    assert pinned == Proposal("a", 0, on(3), 0, on(3), on(9), True, 0.5, ("late",))
    early = schedule([candidate(pinned_on=on(2))], RULES).proposals[0]
    assert early.warnings == ()


def test_a_swap_waits_for_its_day_and_says_what_for() -> None:
    waits: Waits = {("a", 0): Wait(on(4), "solvent")}
    (found,) = schedule([candidate()], RULES, waits).proposals
    assert (found.day, found.waits_for, found.waits_until) == (on(4), "solvent", on(4))
    pinned = schedule([candidate(pinned_on=on(1))], RULES, waits).proposals[0]
    assert (pinned.day, pinned.waits_for, pinned.waits_until) == (on(1), "", None)
    other = schedule([candidate("b")], RULES, waits).proposals[0]
    assert (other.day, other.waits_for) == (on(2), "")
    never = schedule([candidate()], RULES, {("a", 0): Wait(on(90), "drum")})
    assert [(p.day, p.waits_for) for p in never.proposals] == [(None, "drum")]


def test_the_swap_after_the_next_comes_a_life_later() -> None:
    one = candidate(early=3, life_days=20.4, early_life_days=9.6)
    first, second, *_ = schedule([one], RULES).proposals
    # Wednesday 4 March and 10 days are Saturday the 14th, 20 days Tuesday the 24th.
    assert (first.day, second.round) == (on(2), 1)
    assert (second.early_on, second.due_on) == (on(12), on(22))
    assert second.day == on(11)  # Friday the 13th
    # By its early day one in ten, by its middle day a half; nothing on the day it was filled.
    assert second.chance == pytest.approx(0.09)
    assert second.share == 1  # by the end of the eight weeks it has long been due
    unknown = schedule([candidate(early=3)], RULES).proposals
    assert len(unknown) == 1
    even = schedule([candidate(early=3, life_days=20.0)], RULES).proposals[1]
    assert (even.early_on, even.due_on) == (on(22), on(22))
    short = schedule([candidate(early=3, life_days=0.3, early_life_days=0.1)], RULES).proposals
    assert (short[1].early_on, short[1].due_on) == (on(4), on(4))
    # No swap of a tank before the one that comes before it, however short its bath's life.
    assert [(p.round, p.day) for p in short[:4]] == [
        (0, on(2)), (1, on(3)), (2, on(4)), (3, on(7)),
    ]  # fmt: skip
    wrong = schedule([candidate(early=3, life_days=10.0, early_life_days=30.0)], RULES).proposals[1]
    assert (wrong.early_on, wrong.due_on) == (on(12), on(12))


def test_a_later_swap_counts_by_its_chance_to_fall_into_the_weeks() -> None:
    # Filled on day 2, early on day 42, due on day 62: the weeks end with the beginning of day 56,
    # 14 of 20 days from a tenth to a half.
    one = candidate(early=3, life_days=60.0, early_life_days=40.0)
    second = schedule([one], RULES).proposals[1]
    assert second.share == pytest.approx(0.1 + 0.4 * 14 / 20)


def test_the_next_days_are_those_of_the_whole_schedule() -> None:
    turn = [candidate("a", 3, life_days=9.0), candidate("b", 3, rank=1, life_days=9.0)]
    alone = next_days(turn, RULES)
    assert alone.proposals == tuple(p for p in schedule(turn, RULES).proposals if not p.round)
    assert len(alone.proposals) == 2
    waits: Waits = {("a", 0): Wait(on(4), "drum")}
    waiting = next_days(turn, RULES, waits).of("a")
    assert waiting is not None
    assert waiting.day == on(4)
    assert alone.of("nobody") is None


def test_proposals_stand_by_day_then_by_rank_and_those_without_a_day_last() -> None:
    turn = [
        candidate("a", rank=2), candidate("e", rank=9), candidate("b", rank=1),
        candidate("d", rank=0),
    ]  # fmt: skip
    two_days = replace(RULES, per_day=1, weeks=1, workdays=WorkCalendar(frozenset({1, 2})))
    found = schedule(turn, two_days)
    # The last of the queue are left without one; the first is the one that waits least.
    assert [(p.tank, p.day) for p in found.proposals] == [
        ("d", on(0)), ("b", on(1)), ("a", None), ("e", None),
    ]  # fmt: skip
    assert found.is_cheapest


def test_days_are_the_cheapest_that_no_pair_shares() -> None:
    table = np.array([[1, 5], [1, 9]], dtype=np.int64)
    assert cheapest_days(table, [2, 2]) == Days((0, 0), 2, True)
    assert cheapest_days(table, [2, 2], [(0, 1)]) == Days((1, 0), 6, True)
    assert cheapest_days(table, [1, 0]).cost == UNPLACED + 1
    assert cheapest_days(np.full((1, 1), NEVER), [1]) == Days((None,), UNPLACED, True)


def test_the_course_of_a_chance_begins_with_what_has_passed() -> None:
    def at(days: float) -> datetime:
        return NOW + timedelta(days=days)

    course = chances(NOW, ((at(-1), 0.1), (NOW, 0.3), (at(4), 0.2), (None, 0.9)))
    assert course.points == ((NOW, 0.3), (at(4), 0.3))
    assert chances(NOW, ()).points == ((NOW, 0.0),)
    ahead = chances(NOW, ((at(4), 0.5), (at(2), 0.1)), horizon=(at(9), 0.8))
    assert ahead.points == ((NOW, 0.0), (at(2), 0.1), (at(4), 0.5), (at(9), 0.8))
    assert (ahead.at(at(-5)), ahead.at(at(99))) == (0, 0.8)
    # The limit is 100 % where nothing else is said; a line that begins above it passes at once.
    fan = [(at(1), 50.0, 100.0), (at(3), 100.0, 120.0)]
    assert chances(NOW, (), fan).points == ((NOW, 0.0), (at(1), 0.05), (at(3), 0.95))
    below = [(at(1), 50.0, 99.0), (at(3), 99.0, 99.9)]
    assert chances(NOW, (), below).points == ((NOW, 0.0),)
    half = [(at(1), 0.0, 8.0), (at(3), 0.0, 12.0)]
    assert chances(NOW, (), half, 10.0).points == ((NOW, 0.0), (at(2), 0.05))
    again = [(at(1), 0.0, 8.0), (at(2), 0.0, 9.0), (at(4), 0.0, 11.0)]
    assert chances(NOW, (), again, 10.0).points == ((NOW, 0.0), (at(3), 0.05))


NEED = SwapNeed(37, 3, 1, 40, 35)
STOCK = Stock(solvents={"ipa": Solvent()}, drums={"s": (Parcel("D", 1),)})


def ahead(**more: Any) -> SwapAhead:
    return SwapAhead("a", NEED, "ipa", "s", True, **({"day": on(2)} | more))


def wait_of(swap: SwapAhead, *lines: Line) -> Mapping[tuple[str, int], Wait]:
    """What a swap is found to wait for after all turns."""
    plan = Schedule((), True)
    _, found, waits = settled(lambda _: plan, lambda _: [Readiness(swap, MON, lines)], STOCK, {})
    assert found == [Readiness(swap, MON, lines)]
    return waits


def test_a_swap_waits_for_what_comes_after_its_day() -> None:
    late = Line("solvent", "late", "ipa", ready_on=on(5), earliest_on=on(1))
    short = Line("drum", "short", "s", ready_on=on(1), earliest_on=on(9))
    assert wait_of(ahead(round=1), late) == {("a", 1): Wait(on(5), "solvent")}
    assert wait_of(ahead(), short) == {("a", 0): Wait(on(9), "drum")}
    assert wait_of(ahead(), late, short) == {("a", 0): Wait(on(9), "drum")}
    assert wait_of(ahead(), short, late) == {("a", 0): Wait(on(9), "drum")}
    other = Line("month", "late", "ipa", ready_on=on(9))
    assert wait_of(ahead(), other, late) == {("a", 0): Wait(on(5), "solvent")}
    assert wait_of(ahead(day=on(5)), late) == {}
    assert wait_of(ahead(day=on(4)), late) != {}


def test_what_the_room_keeps_no_books_of_moves_no_day() -> None:
    late = Line("solvent", "late", "ipa", ready_on=on(5))
    for line in (
        replace(late, key="ethanol"), replace(late, subject="month"), replace(late, state="coming"),
        replace(late, ready_on=None), Line("drum", "short", "s"), replace(late, subject="drum"),
    ):  # fmt: skip
        assert wait_of(ahead(), line) == {}
    assert wait_of(ahead(is_fixed=True), late) == {}
    assert wait_of(ahead(day=None), late) == {}


def test_days_are_planned_until_nothing_waits() -> None:
    late = Line("solvent", "late", "ipa", ready_on=on(5))
    asked: list[dict[tuple[str, int], Wait]] = []

    def plan(waits: Waits) -> Schedule:
        asked.append(dict(waits))
        day = on(2) if ("a", 0) not in waits else waits["a", 0].day
        return Schedule((Proposal("a", 0, day, 0, None, None, False, 0.0),), True)

    def ready(days: Schedule) -> list[Readiness]:
        swap = ahead(day=days.proposals[0].day)
        return [Readiness(swap, MON, (late,))]

    known: Waits = {("b", 0): Wait(on(1), "drum")}
    days, found, waits = settled(plan, ready, STOCK, known)
    expected = {**known, ("a", 0): Wait(on(5), "solvent")}
    assert asked == [known, expected]
    assert (waits, days.proposals[0].day, found[0].swap.day) == (expected, on(5), on(5))
    turns: list[int] = []

    def always(_: Waits) -> Schedule:
        turns.append(1)
        return Schedule((), True)

    settled(always, lambda _: [Readiness(ahead(), MON, (late,))], STOCK, {})
    assert len(turns) == MOST_TURNS == 6


@pytest.mark.parametrize("paired", ["a", "b"])
def test_a_pair_is_kept_apart_whichever_of_the_two_names_it(paired: str) -> None:
    other = {"a": "b", "b": "a"}
    turn = [
        candidate(tank, rank=rank, pair=other[tank] if tank == paired else None)
        for rank, tank in enumerate("ab")
    ]
    found = schedule(turn, RULES)
    assert {p.tank: p.day for p in found.proposals} == {"a": on(1), "b": on(2)}
    alone = schedule([candidate(pair="gone")], RULES)
    assert [p.day for p in alone.proposals] == [on(2)]


def test_a_pin_takes_one_of_the_places_of_its_day() -> None:
    turn = [candidate("p", pinned_on=on(2)), candidate("a", rank=1), candidate("b", rank=2)]
    days = {p.tank: p.day for p in schedule(turn, RULES).proposals}
    assert days == {"p": on(2), "a": on(1), "b": on(2)}
    full = [candidate(tank, pinned_on=on(2)) for tank in "pqr"]
    crowded = schedule([*full, candidate("a", rank=1)], RULES)
    assert {p.tank: p.day for p in crowded.proposals}["a"] == on(1)
    assert crowded.proposals[1].warnings == ("over_capacity",)
    two = schedule(full[:2], RULES)
    assert [p.warnings for p in two.proposals] == [(), ()]


def test_a_pin_beside_its_pair_or_on_a_free_day_is_warned_of() -> None:
    turn = [
        candidate("a", pinned_on=on(5), early=9, pair="b"),
        candidate("b", pinned_on=on(5), early=9),
    ]
    found = {p.tank: p.warnings for p in schedule(turn, RULES).proposals}
    assert found == {"a": ("not_working", "with_pair"), "b": ("not_working",)}
