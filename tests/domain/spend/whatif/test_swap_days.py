"""The days of replayed swaps are the plan's: same costs, same crew, no pair on a day."""

from datetime import UTC, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.planning.chance import Chances
from app.domain.planning.days import starts_at
from app.domain.planning.scheduling import EARLIER, Candidate, Rules, costs_of, schedule
from app.domain.spend.whatif.replay import NO_DAY, NOT_SEEN, Crew, swap_days
from app.domain.workdays import WorkCalendar
from tests.domain.spend.whatif.rooms import MONDAY

LOOK = 14
WEEKDAYS = frozenset({1, 2, 3, 4, 5})


def candidate(name: str, early: int) -> Candidate:
    """A swap as the plan sees it, its limit met two days after its early day."""
    early_on, due_on = MONDAY + timedelta(early), MONDAY + timedelta(early + 2)
    points = ((MONDAY, 0.0), (early_on, 0.1), (due_on, 0.5), (due_on + timedelta(2), 0.9))
    course = Chances(tuple((starts_at(day, UTC), chance) for day, chance in points))
    return Candidate(name, early, early_on, due_on, course)


def chosen(early: list[int], crew: Crew) -> list[int]:
    column = np.array(early).reshape(-1, 1)
    return [int(day) for day in swap_days(column, column + 2, MONDAY, LOOK, crew)[:, 0]]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(1, LOOK - 1), min_size=1, max_size=8), st.integers(1, 4))
def test_days_cost_as_little_as_those_of_the_plan(early: list[int], per_day: int) -> None:
    rules = Rules(MONDAY, WorkCalendar(WEEKDAYS), per_day, UTC, LOOK // 7)
    swaps = [candidate(str(n), day) for n, day in enumerate(early)]
    plan = {p.tank: p.day for p in schedule(swaps, rules).proposals if p.round == 0}
    best = [NO_DAY if (day := plan[s.tank]) is None else (day - MONDAY).days for s in swaps]
    mine = chosen(early, Crew(WEEKDAYS, per_day))

    def late(days: list[int]) -> int:
        return sum(day == NO_DAY or day >= due for day, due in zip(days, early, strict=True))

    assert late(mine) <= late(best)
    if late(best):
        return
    costs = [costs_of(swap, rules, rules.days) for swap in swaps]
    place = {(day - MONDAY).days: number for number, day in enumerate(rules.days)}
    of_mine, of_best = (
        sum(cost[place[day]] for cost, day in zip(costs, days, strict=True))
        for days in (mine, best)
    )
    # Both give as many days away; who of several waits in the queue costs less than one day.
    assert of_mine < of_best + EARLIER


def test_a_swap_stands_on_the_last_working_day_before_its_early_day() -> None:
    # Monday 2 March 2026: a limit met on Wednesday, on Sunday, on Monday of the week after.
    assert chosen([2, 6, 7], Crew(WEEKDAYS, 4)) == [1, 4, 4]


def test_a_crowded_friday_gives_way_to_the_days_before_it() -> None:
    assert sorted(chosen([5, 5, 6, 7], Crew(WEEKDAYS, 2))) == [3, 3, 4, 4]


def test_a_pair_is_not_swapped_on_a_day() -> None:
    one, other = chosen([5, 5], Crew(WEEKDAYS, 2, ((0, 1),)))
    assert {one, other} == {3, 4}


def test_what_is_not_due_gets_no_day() -> None:
    assert chosen([NOT_SEEN], Crew(WEEKDAYS, 2)) == [NO_DAY]
