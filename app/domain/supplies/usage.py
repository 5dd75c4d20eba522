"""The use of an item by the week, kept for 104 weeks."""

from dataclasses import replace

from app.domain.supplies.state import ItemState, Week, week_of
from app.domain.supplies.valuation import rounded

WEEKS_KEPT = 104


def with_use(weeks: tuple[Week, ...], week: int, swaps: float, other: float) -> tuple[Week, ...]:
    """The weeks with more use in the last of them, or in a new one."""
    if weeks and weeks[-1].week == week:
        last = weeks[-1]
        now = Week(week, rounded(last.swaps + swaps), rounded(last.other + other))
        return (*weeks[:-1], now)
    kept = weeks
    if kept and kept[0].week <= week - WEEKS_KEPT:
        kept = tuple(one for one in kept if one.week > week - WEEKS_KEPT)
    return (*kept, Week(week, rounded(swaps), rounded(other)))


def spread(state: ItemState, week: int, missing: float) -> tuple[Week, ...]:
    """What a count finds missing was used since the last count: evenly in these weeks.

    What it finds too much was logged as used and was not: taken off the same weeks, none of which
    falls below zero.
    """
    if not missing:
        return state.weeks
    since = state.first_week if state.counted_at is None else week_of(state.counted_at.date())
    first = max(since if since is not None else week, week - WEEKS_KEPT + 1)
    part = missing / (week - first + 1)
    by_week = {one.week: one for one in state.weeks if one.week > week - WEEKS_KEPT}
    for number in range(first, week + 1):
        old = by_week.get(number, Week(number))
        by_week[number] = replace(old, other=max(0.0, rounded(old.other + part)))
    return tuple(by_week[number] for number in sorted(by_week))
