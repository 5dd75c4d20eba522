"""The cheapest days, held against trying all of them."""

from itertools import permutations, product

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.assignment import NEVER, UNPLACED, Costs, Days, cheapest_days
from tests.oracles import Ask


def tried_out(costs: Costs, capacities: list[int], apart: list[tuple[int, int]]) -> int:
    """The least cost of all choices of days."""
    rows, days = costs.shape
    best = rows * UNPLACED
    for chosen in product([None, *range(days)], repeat=rows):
        if any(chosen.count(day) > capacity for day, capacity in enumerate(capacities)):
            continue
        if any(chosen[a] is not None and chosen[a] == chosen[b] for a, b in apart):
            continue
        total = sum(
            UNPLACED if day is None else int(costs[row, day]) for row, day in enumerate(chosen)
        )
        best = min(best, total)
    return best


@st.composite
def problems(draw: st.DrawFn) -> tuple[Costs, list[int], list[tuple[int, int]]]:
    rows, days = draw(st.integers(1, 4)), draw(st.integers(1, 4))
    cell = st.one_of(st.integers(0, 6), st.just(NEVER))
    lines = draw(
        st.lists(st.lists(cell, min_size=days, max_size=days), min_size=rows, max_size=rows)
    )
    capacities = draw(st.lists(st.integers(0, 3), min_size=days, max_size=days))
    pairs = [(0, 1), (2, 3), (1, 2)]
    apart = [pair for pair in pairs if max(pair) < rows and draw(st.booleans())]
    return np.array(lines, dtype=np.int64), capacities, apart


@given(problems())
def test_no_other_choice_of_days_costs_less(
    problem: tuple[Costs, list[int], list[tuple[int, int]]],
) -> None:
    costs, capacities, apart = problem
    found = cheapest_days(costs, capacities, apart)
    assert found.is_cheapest
    assert found.cost == tried_out(costs, capacities, apart)
    assert all(day is None or found.chosen.count(day) <= capacities[day] for day in found.chosen)


def test_crowded_days_are_shared_out_at_the_least_cost() -> None:
    # One swap a day and as many swaps as days: nearly every one has to make another move on.
    rng = np.random.default_rng(11)
    orders = np.array(list(permutations(range(7))))
    for most in (4, 12, 1000) * 15:
        costs = rng.integers(0, most, size=(7, 7)).astype(np.int64) + rng.integers(0, most, 7)
        least = costs[np.arange(7), orders].sum(axis=1).min()
        found = cheapest_days(costs, [1] * 7)
        assert (found.cost, found.is_cheapest) == (least, True)
        assert sorted(found.chosen) == list(range(7))


def test_it_finds_what_the_reference_library_finds(ask: Ask) -> None:
    rng = np.random.default_rng(7)
    costs = rng.integers(0, 10_000, size=(60, 130)).astype(np.int64)
    expected = ask("cheapest_assignment", np.repeat(costs, 2, axis=1), unit="cents")
    assert cheapest_days(costs, [2] * 130).cost == expected


def test_many_pairs_are_kept_apart_even_where_the_best_is_not_proven() -> None:
    costs = np.tile(np.arange(130, dtype=np.int64) * 100, (60, 1))
    apart = [(row, row + 1) for row in range(0, 60, 2)]
    found = cheapest_days(costs, [2] * 130, apart)
    assert found.is_cheapest is False
    assert all(found.chosen[a] != found.chosen[b] for a, b in apart)
    assert None not in found.chosen


def test_nothing_to_do_costs_nothing() -> None:
    nothing = np.zeros((0, 3), dtype=np.int64)
    assert cheapest_days(nothing, [1, 1, 1]) == Days((), 0, True)
