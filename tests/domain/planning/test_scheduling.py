"""Days proposed for swaps: what they keep to, and that none cost less."""

from collections import Counter
from datetime import UTC, date, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.planning.assignment import NEVER, UNPLACED
from app.domain.planning.chance import chances
from app.domain.planning.days import day_of, starts_at
from app.domain.planning.scheduling import (
    PLACE,
    Candidate,
    Rules,
    Schedule,
    costs_of,
    schedule,
)
from app.domain.workdays import WorkCalendar

BERLIN = ZoneInfo("Europe/Berlin")
MON = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
WEEKDAYS = frozenset({1, 2, 3, 4, 5})


def on(days: int) -> date:
    return MON + timedelta(days=days)


def candidate(tank: str, early: float, due: float | None = None, **more: object) -> Candidate:
    """A swap with an early and a middle day so many days from now."""
    due = early + 3 if due is None else due
    at = [NOW + timedelta(days=days) for days in (early, due, due + (due - early))]
    course = chances(NOW, zip(at, (0.1, 0.5, 0.9), strict=True), horizon=(NOW + timedelta(365), 1))
    values: dict[str, object] = {
        "tank": tank, "rank": int(early), "early_on": day_of(at[0], BERLIN),
        "due_on": day_of(at[1], BERLIN), "chances": course,
    }  # fmt: skip
    return Candidate(**(values | more))  # type: ignore[arg-type]


def rules(**changes: object) -> Rules:
    values = {
        "today": MON,
        "workdays": WorkCalendar(WEEKDAYS),
        "per_day": 2,
        "zone": BERLIN,
        "weeks": 8,
    }
    return Rules(**(values | changes))  # type: ignore[arg-type]


def day(found: Schedule, tank: str) -> date | None:
    proposal = found.of(tank)
    assert proposal is not None
    return proposal.day


def test_a_swap_is_proposed_for_the_last_working_day_before_the_early_day() -> None:
    found = schedule([candidate("a", 8), candidate("b", 14)], rules())
    assert day(found, "a") == on(7)  # Monday before Tuesday 10 March
    assert day(found, "b") == on(11)  # Friday before Monday 16 March
    assert found.is_cheapest


def test_a_bath_past_its_limit_is_swapped_today() -> None:
    assert day(schedule([candidate("a", -1, 0)], rules()), "a") == MON


def test_of_baths_past_their_limit_the_first_of_the_queue_goes_first() -> None:
    turn = [candidate(tank, -1, 0, rank=rank) for tank, rank in (("a", 2), ("b", 0), ("c", 1))]
    found = schedule(turn, rules(per_day=1))
    assert [p.tank for p in found.proposals] == ["b", "c", "a"]
    assert [p.day for p in found.proposals] == [on(0), on(1), on(2)]


def test_two_tanks_of_a_pair_do_not_share_a_day() -> None:
    turn = [candidate("dirty", 8, pair="clean"), candidate("clean", 8, pair="dirty")]
    found = schedule(turn, rules())
    assert {day(found, "dirty"), day(found, "clean")} == {on(7), on(4)}


def test_a_pinned_day_stands_and_the_others_make_room() -> None:
    turn = [
        candidate("a", 20, pinned_on=on(7)),
        candidate("b", 8, pair="a"),
        candidate("c", 8),
    ]
    found = schedule(turn, rules(per_day=2))
    assert day(found, "a") == on(7)
    assert day(found, "b") == on(4)
    assert day(found, "c") == on(7)


def test_pins_that_break_a_rule_stand_with_a_warning() -> None:
    sunday = on(6)
    turn = [candidate(tank, 3, pinned_on=sunday, pair=pair) for tank, pair in ("ab", "ba")]
    found = schedule(turn, rules(per_day=1))
    for proposal in found.proposals:
        assert proposal.day == sunday
        assert proposal.warnings == ("late", "over_capacity", "not_working", "with_pair")


def test_a_swap_that_is_put_off_is_not_proposed_before() -> None:
    found = schedule([candidate("a", 3, not_before_on=on(9))], rules())
    proposal = found.of("a")
    assert proposal is not None
    assert proposal.day == on(9)
    assert proposal.warnings == ("late",)
    assert proposal.chance > 0.5


def test_a_pin_that_has_passed_stands_for_today() -> None:
    assert day(schedule([candidate("a", 9, pinned_on=on(-3))], rules()), "a") == MON


def test_swaps_beyond_the_weeks_looked_at_have_no_day_yet() -> None:
    found = schedule([candidate("a", 70), candidate("b", 300)], rules())
    assert found.of("a") is None
    assert schedule([candidate("a", 70)], rules(weeks=26)).of("a") is not None


def test_the_swaps_after_the_next_follow_a_bath_s_life_later() -> None:
    one = candidate("a", 8, life_days=20.0, early_life_days=15.0)
    found = schedule([one], rules())
    # 9 March, then the last working day before 15 days later, and so on.
    assert [p.day for p in found.proposals] == [on(7), on(21), on(35), on(49)]
    assert [p.round for p in found.proposals] == [0, 1, 2, 3]


def test_more_swaps_than_days_leaves_the_last_of_the_queue_without_one() -> None:
    turn = [candidate(f"t{n}", -1, 0, rank=n) for n in range(7)]
    found = schedule(turn, rules(per_day=1, weeks=1))
    assert [p.day for p in found.proposals] == [*(on(n) for n in range(5)), None, None]
    assert [p.tank for p in found.proposals] == [f"t{n}" for n in range(7)]


ONE_TANK = st.tuples(
    st.integers(-5, 40), st.integers(0, 12), st.sampled_from(["free", "pin", "later"]),
    st.integers(0, 30), st.booleans(),
)  # fmt: skip
TURN = st.lists(ONE_TANK, max_size=12)


def turn_of(drawn: list[tuple[int, int, str, int, bool]], has_lives: bool) -> list[Candidate]:
    found = []
    for n, (early, width, mode, decided, is_paired) in enumerate(drawn):
        more: dict[str, object] = {"rank": n}
        if mode == "pin":
            more["pinned_on"] = on(decided)
        elif mode == "later":
            more["not_before_on"] = on(decided)
        if is_paired and (n ^ 1) < len(drawn) and drawn[n ^ 1][4]:
            more["pair"] = f"t{n ^ 1}"
        if has_lives:
            more |= {"life_days": float(10 + width), "early_life_days": 10.0}
        found.append(candidate(f"t{n}", early, early + width, **more))
    return found


@given(drawn=TURN, per_day=st.integers(1, 3), weekdays=st.frozensets(st.integers(1, 7), min_size=2))
def test_every_schedule_keeps_to_the_rules(
    drawn: list[tuple[int, int, str, int, bool]], per_day: int, weekdays: frozenset[int]
) -> None:
    turn = turn_of(drawn, has_lives=True)
    asked = rules(per_day=per_day, workdays=WorkCalendar(weekdays))
    found = schedule(turn, asked)
    assert found == schedule(list(reversed(turn)), asked), "the same whatever the order given"
    by_tank = {c.tank: c for c in turn}
    on_day = Counter(p.day for p in found.proposals if p.day is not None)
    days_of = {
        tank: {p.day for p in found.proposals if p.tank == tank and p.day is not None}
        for tank in by_tank
    }
    for p in found.proposals:
        c = by_tank[p.tank]
        if p.round == 0 and c.pinned_on is not None:
            assert p.day == max(MON, c.pinned_on)
            continue
        if p.day is None:
            continue
        assert p.day.isoweekday() in weekdays
        assert MON <= p.day <= asked.last
        assert p.round > 0 or c.not_before_on is None or p.day >= c.not_before_on
        pinned_there = sum(one.pinned_on == p.day for one in turn)
        assert on_day[p.day] <= max(per_day, pinned_there)
        assert p.day not in days_of.get(c.pair or "", set())


@settings(max_examples=60)
@given(drawn=st.lists(ONE_TANK, max_size=4), per_day=st.integers(1, 2))
def test_no_other_days_cost_less(
    drawn: list[tuple[int, int, str, int, bool]], per_day: int
) -> None:
    asked = rules(per_day=per_day, weeks=1)
    turn = [c for c in turn_of(drawn, has_lives=False) if c.pinned_on is None]
    turn = [c for c in turn if (c.not_before_on or c.early_on or MON) <= asked.last]
    found = schedule(turn, asked)
    days, costs = asked.days, {c.tank: costs_of(c, asked, asked.days) for c in turn}

    def total(chosen: tuple[int | None, ...]) -> int:
        if any(chosen.count(n) > per_day for n in range(len(days))):
            return NEVER
        by_tank = dict(zip((c.tank for c in turn), chosen, strict=True))
        for c in turn:
            if by_tank[c.tank] is not None and by_tank[c.tank] == by_tank.get(c.pair or ""):
                return NEVER
        return sum(
            UNPLACED if n is None else costs[tank][n] + PLACE * place
            for place, (tank, n) in enumerate(by_tank.items())
        )

    best = min(total(chosen) for chosen in product([None, *range(len(days))], repeat=len(turn)))
    of_tank = {p.tank: p.day for p in found.proposals}
    mine = tuple(None if (one := of_tank[c.tank]) is None else days.index(one) for c in turn)
    assert found.is_cheapest
    assert total(mine) == best


@pytest.mark.parametrize("today", [date(2026, 3, 23), date(2026, 10, 19), date(2028, 2, 21)])
def test_clock_changes_and_leap_days_shift_no_swap(today: date) -> None:
    now = starts_at(today, BERLIN) + timedelta(hours=8)
    at = [now + timedelta(days=days) for days in (8, 11, 14)]
    one = Candidate(
        "a", 0, day_of(at[0], BERLIN), day_of(at[1], BERLIN),
        chances(now, zip(at, (0.1, 0.5, 0.9), strict=True)),
    )  # fmt: skip
    assert day(schedule([one], rules(today=today)), "a") == today + timedelta(days=7)
