"""The cheapest days for swaps: each day takes a number of them, some may not share a day.

Without the second condition this is the assignment problem, solved by shortest augmenting paths
(Kuhn 1955, in the form of Jonker and Volgenant, Computing 38 (1987) 325). Days shared by two that
may not are then ruled out one at a time, the most promising first (branch and bound).
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int64]

UNPLACED = 10**11  # what it costs to leave a swap without a day
NEVER = 10**13
WORK = 60_000  # rows times columns times tries looked at before the best so far is taken


@dataclass(frozen=True)
class Days:
    """The day of each swap by its number, None where no day is left for it.

    Attributes:
        is_cheapest: it was shown that no other choice of days costs less.
    """

    chosen: tuple[int | None, ...]
    cost: int
    is_cheapest: bool


def cheapest_days(
    costs: Costs, capacities: Sequence[int], apart: Sequence[tuple[int, int]] = ()
) -> Days:
    """The days that cost least together.

    Args:
        costs: of each swap (row) on each day (column); `NEVER` or more where it may not be.
        capacities: how many swaps each day takes.
        apart: pairs of rows that may not share a day.
    """
    if len(costs) == 0:
        return Days((), 0, True)
    solve = _Solver(costs, capacities)
    ticket = count()
    first = solve.cheapest(costs)
    queue = [(_total(costs, first), next(ticket), first, costs)]
    best: Days | None = None
    tries = max(8, WORK * 100 // (costs.size + 1) // len(costs))
    while queue:
        bound, _, chosen, narrowed = heapq.heappop(queue)
        if best is not None and bound >= best.cost:
            return Days(best.chosen, best.cost, True)
        clash = _clash(chosen, apart)
        if clash is None:
            return Days(chosen, bound, True)
        repaired = _repaired(costs, chosen, capacities, apart)
        total = _total(costs, repaired)
        if best is None or total < best.cost:
            best = Days(repaired, total, False)
        if tries <= 0:
            break
        for row, day in clash:
            tries -= 1
            without = narrowed.copy()
            without[row, day] = NEVER
            answer = solve.cheapest(without)
            heapq.heappush(queue, (_total(costs, answer), next(ticket), answer, without))
    assert best is not None
    return best


def _total(costs: Costs, chosen: Sequence[int | None]) -> int:
    days = enumerate(chosen)
    return sum(UNPLACED if day is None else int(costs[row, day]) for row, day in days)


def _clash(
    chosen: Sequence[int | None], apart: Sequence[tuple[int, int]]
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    for one, other in apart:
        day = chosen[one]
        if day is not None and day == chosen[other]:
            return (one, day), (other, day)
    return None


def _repaired(
    costs: Costs,
    chosen: Sequence[int | None],
    capacities: Sequence[int],
    apart: Sequence[tuple[int, int]],
) -> tuple[int | None, ...]:
    """The same days, the second of each clashing pair moved to its cheapest free day."""
    days = list(chosen)
    while (clash := _clash(days, apart)) is not None:
        _, (row, _) = clash
        partners = {b if a == row else a for a, b in apart if row in (a, b)}
        taken = {days[partner] for partner in partners}
        free = [
            day
            for day, capacity in enumerate(capacities)
            if day not in taken and days.count(day) < capacity and costs[row, day] < NEVER
        ]
        days[row] = min(free, key=lambda day: (int(costs[row, day]), day), default=None)
    return tuple(days)


class _Solver:
    """The assignment problem on a fixed set of days."""

    def __init__(self, costs: Costs, capacities: Sequence[int]) -> None:
        rows = len(costs)
        places = np.repeat(np.arange(len(capacities)), np.minimum(capacities, rows))
        self.days = np.concatenate([places, np.full(rows, -1)])
        self.left_out = np.full((rows, rows), UNPLACED, dtype=np.int64)

    def cheapest(self, costs: Costs) -> tuple[int | None, ...]:
        """The day of each row, conditions between rows left aside."""
        placed = self.days[self.days >= 0]
        wide = np.concatenate([costs[:, placed], self.left_out], axis=1)
        days = self.days[_assign(wide)]
        return tuple(None if day < 0 else int(day) for day in days)


def _assign(costs: Costs) -> NDArray[np.int64]:
    """The column of each row at least cost; no fewer columns than rows."""
    rows, columns = costs.shape
    of_row, of_column = costs.min(axis=1), np.zeros(columns, np.int64)
    owner = np.full(columns, -1, dtype=np.int64)
    crowded = []
    for row in range(rows):  # most get the day they like best at once
        best = np.flatnonzero((costs[row] == of_row[row]) & (owner < 0))
        if len(best):
            owner[best[0]] = row
        else:
            crowded.append(row)
    for row in crowded:
        _augment(costs, of_row, of_column, owner, row)
    chosen = np.empty(rows, dtype=np.int64)
    taken = np.flatnonzero(owner >= 0)
    chosen[owner[taken]] = taken
    return chosen


def _augment(
    costs: Costs, of_row: Costs, of_column: Costs, owner: NDArray[np.int64], row: int
) -> None:
    """Give a row its column along the shortest path to a free one; others may move on."""
    columns = costs.shape[1]
    far = np.iinfo(np.int64).max // 4
    distance = np.full(columns, far, dtype=np.int64)
    came_from = np.full(columns, -1, dtype=np.int64)
    is_done = np.zeros(columns, dtype=bool)
    at_row, at_column, length = row, -1, 0
    while True:
        reach = length + costs[at_row] - of_row[at_row] - of_column
        shorter = ~is_done & (reach < distance)
        distance[shorter] = reach[shorter]
        came_from[shorter] = at_column
        at_column = int(np.argmin(np.where(is_done, far, distance)))
        length = int(distance[at_column])
        if owner[at_column] < 0:
            break
        is_done[at_column] = True
        at_row = int(owner[at_column])
    done = np.flatnonzero(is_done)
    of_row[row] += length
    of_row[owner[done]] += length - distance[done]
    of_column[done] -= length - distance[done]
    while at_column >= 0:
        before = int(came_from[at_column])
        owner[at_column] = row if before < 0 else owner[before]
        at_column = before
