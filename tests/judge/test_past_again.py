"""The what-if model repeats the past of made-up rooms about as often as its ranges claim."""

import pytest

from tests.judge.families import FAMILIES, Family
from tests.judge.past_again import past_again
from tests.judge.simulator import simulate


@pytest.mark.nightly
def test_swaps_and_litres_of_made_up_rooms_lie_in_the_ranges_as_often_as_these_claim() -> None:
    # The ranges hold 80 %: of 11 rooms two or three may lie outside, five would be too many.
    lines = [past_again(simulate(family, seed=1)) for family in FAMILIES]
    assert sum(swaps.is_within for swaps, _ in lines) >= len(lines) - 3
    assert sum(bool(litres.is_within) for _, litres in lines) >= len(lines) - 5
    off = [float(litres.told.middle / litres.booked) for _, litres in lines]
    assert sum(off) / len(off) == pytest.approx(1, abs=0.08)


@pytest.mark.parametrize("family", FAMILIES[:2], ids=lambda family: family.name)
def test_litres_of_two_rooms_are_those_of_their_books(family: Family) -> None:
    # The guard of every run; all rooms are held against their ranges nightly.
    _, litres = past_again(simulate(family, seed=1))
    assert litres.told.middle / litres.booked == pytest.approx(1, abs=0.3)
