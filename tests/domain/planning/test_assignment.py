"""The cheapest days, held against trying all of them."""

from itertools import product

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.assignment import NEVER, UNPLACED, Costs, cheapest_days
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


def test_it_finds_what_the_reference_library_finds(ask: Ask) -> None:
    rng = np.random.default_rng(7)
    costs = rng.integers(0, 10_000, size=(60, 130)).astype(np.int64)
    expected = ask("cheapest_assignment", np.repeat(costs, 2, axis=1), unit="cents")
    assert cheapest_days(costs, [2] * 130).cost == expected


def test_many_pairs_are_kept_apart_even_where_the_best_is_not_proven() -> None:
    costs = np.tile(np.arange(130, dtype=np.int64) * 100, (60, 1))
    apart = [(row, row + 1) for row in range(0, 60, 2)]
    found = cheapest_days(costs, [2] * 130, apart)
    assert all(found.chosen[a] != found.chosen[b] for a, b in apart)
    assert None not in found.chosen


def test_nothing_to_do_costs_nothing() -> None:
    assert cheapest_days(np.zeros((0, 3), dtype=np.int64), [1, 1, 1]).cost == 0
