"""A pour that is told once its swap is closed comes out of that swap's loss, worked by hand.

The swap: 38 L stood in the bath, 36.5 L were poured and 0.8 L left, so 0.7 L were lost; with 2 L
that evaporated before it, 2.7 L on that account. A pour told late was a part of the 0.7 L.
"""

from dataclasses import replace
from typing import Any

import pytest

from app.domain.litres.posting import LOSSES_KEPT
from app.domain.roomlog.kinds import Entry, SwapAbandoned
from app.domain.roomlog.kinds.checklists import SwapClosed
from app.domain.roomlog.kinds.waste import Drum, Pour
from tests.domain.litres.test_posting import (
    ROOM,
    at,
    booked,
    closed,
    drained,
    filled,
    litres,
    opened,
    rinsed,
)
from tests.factories import START

SWAPPED: tuple[Entry, ...] = (
    *ROOM, opened(), *drained(heel_l=0.8), *rinsed(), *filled(), *closed(),
)  # fmt: skip
SPENT_MUCH: tuple[Entry, ...] = (
    *ROOM, opened(), *drained(out_l=30.0, heel_l=0.8), *filled(), *closed(),
)  # fmt: skip
ANOTHER = Drum(
    at=START, drum="d2", name="D2", capacity_l=60.0, stream="isopropanol_resin", area="central"
)


def late(volume_l: float, minutes: float = 90, **more: Any) -> Pour:
    values: dict[str, Any] = {"drum": "d1", "tank": "t1", "swap": "s1"} | more
    return Pour(**at(minutes), id=f"late-{minutes:g}", volume_l=volume_l, **values)


def changes(before: tuple[Entry, ...], *pours: Entry) -> dict[str, float]:
    """By account what the pours changed, litres."""
    old, new = litres(booked(*before)[0]), litres(booked(*before, *pours)[0])
    found = {name: round(new.get(name, 0) - old.get(name, 0), 6) for name in old | new}
    return {name: change for name, change in found.items() if change}


def test_within_the_loss_less_has_evaporated_and_the_drum_holds_more() -> None:
    assert changes(SWAPPED, late(0.5)) == {"evaporated:t1": -0.5, "drum:d1": 0.5}


def test_what_is_more_than_was_lost_is_not_explained() -> None:
    """0.7 L were lost, 1 L is poured: 0.3 L nobody knows of, which the account owes."""
    assert changes(SWAPPED, late(1.0)) == {
        "evaporated:t1": -0.7, "drum:d1": 1.0, "unexplained:swap|t1": -0.3,
    }  # fmt: skip


def test_the_loss_is_given_away_once() -> None:
    assert changes(SWAPPED, late(0.5), late(0.5, 91)) == {
        "evaporated:t1": -0.7, "drum:d1": 1.0, "unexplained:swap|t1": -0.3,
    }  # fmt: skip


def test_a_loss_that_was_not_explained_is_by_so_much_explained() -> None:
    """30 L of 38 poured, 0.8 L left: 7.2 L not explained, past 5 % of 40 L."""
    assert changes(SPENT_MUCH, late(6.0)) == {"unexplained:swap|t1": -6.0, "drum:d1": 6.0}


def test_it_goes_into_the_drum_that_it_names_and_the_swap_stays_closed() -> None:
    before = (*SWAPPED, ANOTHER)
    assert changes(before, late(0.5, drum="d2")) == {"evaporated:t1": -0.5, "drum:d2": 0.5}
    state, postings = booked(*before, late(0.5, drum="d2"))
    assert state.swaps == {}
    assert state.level_l("t1") == 35.0
    assert [(one.source, one.target, one.why) for one in postings[-1:]] == [
        ("evaporated:t1", "drum:d2", "Poured")
    ]


@pytest.mark.parametrize(
    "more, source",
    [
        ({"incident": "i1"}, "spilled:"),
        ({"tank": "t9"}, "drawn:t9"),
        ({"swap": None}, "drawn:t1"),
        ({"tank": None, "swap": None}, "outside:elsewhere"),
    ],
    ids=["taken up after a spill", "of another tank", "of no swap", "of no tank"],
)
def test_what_is_no_part_of_its_loss_leaves_it_alone(more: dict[str, Any], source: str) -> None:
    assert changes(SWAPPED, late(0.5, **more)) == {source: -0.5, "drum:d1": 0.5}


def test_while_the_swap_goes_on_a_pour_is_drained_as_ever() -> None:
    going = (*ROOM, opened(), *drained(heel_l=0.8))
    assert changes(going, late(0.5, 15))["drum:d1"] == 0.5
    assert "evaporated:t1" not in changes(going, late(0.5, 15))


def test_of_a_pair_each_tank_has_a_loss_of_its_own() -> None:
    losses = booked(*SWAPPED)[0].losses
    assert losses == {"s1": {"t1": ("evaporated:t1", 700_000)}}


def test_of_the_last_swaps_the_losses_are_kept() -> None:
    course = list(SWAPPED)
    for number in range(LOSSES_KEPT + 3):
        swap = f"n{number}"
        course += [
            replace(opened(), swap=swap, **at(100 + number)),
            replace(
                next(one for one in closed() if isinstance(one, SwapClosed)), swap=swap,
                **at(100.5 + number),
            ),
        ]  # fmt: skip
    losses = booked(*course)[0].losses
    assert len(losses) == LOSSES_KEPT
    assert list(losses)[-1] == f"n{LOSSES_KEPT + 2}"
    assert "s1" not in losses


def test_a_swap_that_is_opened_again_has_no_loss_yet() -> None:
    again = replace(opened(), **at(60))
    state, _ = booked(*SWAPPED, again)
    assert state.losses == {}
    assert "s1" in state.swaps


def test_giving_a_closed_swap_up_late_opens_nothing_that_pours_go_to() -> None:
    over = SwapAbandoned(**at(80), tank="t1", swap="s1")
    state, _ = booked(*SWAPPED, over)
    assert state.level_l("t1") == 35.0
