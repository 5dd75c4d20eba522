"""Two tanks of a pair are never swapped on one day, even where the search for the cheapest days
stops early: the second one moves to its cheapest day that has room."""

import numpy as np
import pytest

from app.domain.planning.assignment import NEVER, _repaired

A, C = [0, 0, 0, 0], [0, 0, 0, 0]


@pytest.mark.parametrize(
    "of_b, capacities, apart, days",
    [
        # The partner of before and the one behind: days 1 and 2 are theirs, and day 0 is dear.
        ([50, 0, 5, 20], [1, 3, 2, 1], [(0, 1), (1, 2)], (1, 3, 2)),
        # Day 2 is full.
        ([50, 0, 5, 20], [1, 2, 1, 1], [(0, 1)], (1, 3, 2)),
        # Day 2 has room for one more.
        ([50, 0, 5, 20], [1, 2, 2, 1], [(0, 1)], (1, 2, 2)),
        # Equal: the earlier day.
        ([20, 0, 20, 20], [1, 2, 1, 1], [(0, 1)], (1, 0, 2)),
        # No day is left: one takes nobody, one is full, one is ruled out.
        ([50, 0, 5, NEVER], [0, 2, 1, 1], [(0, 1)], (1, None, 2)),
        # Nothing clashes.
        ([50, 0, 5, 20], [1, 2, 1, 1], [(0, 2)], (1, 1, 2)),
    ],
)
def test_the_second_of_a_pair_moves_to_its_cheapest_day_with_room(
    of_b: list[int],
    capacities: list[int],
    apart: list[tuple[int, int]],
    days: tuple[int | None, ...],
) -> None:
    costs = np.array([A, of_b, C], dtype=np.int64)
    assert _repaired(costs, (1, 1, 2), capacities, apart) == days
