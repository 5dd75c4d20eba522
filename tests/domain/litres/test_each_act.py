"""Each act and the litres that it moves, worked by hand: from where, to where, how many, in which
words. A litre that is posted from the wrong account is lost there and made up here."""

from dataclasses import dataclass, replace
from typing import Any, ClassVar

import pytest

from app.domain.litres.accounts import key_of, kind_of
from app.domain.litres.posting import ENDED_KEPT, unposted
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import (
    ItemChanged,
    StockCounted,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.domain.supplies.valuation import Valuation
from tests.domain.litres.test_posting import (
    ROOM,
    START,
    at,
    booked,
    closed,
    done,
    drained,
    filled,
    litres,
    opened,
    rinsed,
)

TANK, ITEM, DRUM, RECEIPT = ROOM
OTHER = Tank(at=START, tank="c1", name="C1", capacity_l=40.0, solvent="isopropanol")
PAIR = {"from_tank": "c1", "from_estimated_l": 40.0, "from_capacity_l": 40.0}


def said(*entries: Entry) -> list[str]:
    """What the last of the entries posts, a line each."""
    _, earlier = booked(*entries[:-1])
    _, all_ = booked(*entries)
    return [
        f"{one.litres:g} {one.source} > {one.target}: {one.why}" for one in all_[len(earlier) :]
    ]


def used(quantity: float, purpose: str | None = None, tank: str | None = None) -> StockUsed:
    return StockUsed(**at(1), item="ipa", quantity=quantity, purpose=purpose, tank=tank)


def removed(volume_l: float, **more: Any) -> Removal:
    return Removal(**at(1), tank="t1", volume_l=volume_l, **more)


def poured(volume_l: float, **more: Any) -> Pour:
    return Pour(**at(2), drum="d1", volume_l=volume_l, tank="t1", **more)


OUT_OF_USE = TankChange(**at(5), tank="t1", is_retired=True)
IN_USE = TankChange(**at(6), tank="t1", is_retired=False)

OF_TANKS: dict[str, tuple[list[Entry], list[str]]] = {
    "a tank is set up full": ([TANK], ["40 outside:set_up > tank:t1: Tank set up"]),
    "out of use": ([TANK, OUT_OF_USE], ["40 tank:t1 > outside:retired: Tank taken out of use"]),
    "in use again": (
        [TANK, OUT_OF_USE, IN_USE], ["40 outside:retired > tank:t1: Tank in use again"]
    ),
    "in use that never was out of it": ([TANK, IN_USE], []),
    "renamed while out of use": (
        [TANK, OUT_OF_USE, TankChange(**at(7), tank="t1", name="Old one")], []
    ),
    "out of use with no more than a heel": (
        [*ROOM, opened(), *drained(heel_l=0.8), replace(OUT_OF_USE, **at(20))],
        ["0.8 heel:t1 > tank:t1: Tank taken out of use",
         "0.8 tank:t1 > outside:retired: Tank taken out of use"],
    ),
    "topped up": (
        [TANK, removed(5), TopUp(**at(3), tank="t1", volume_l=4)],
        ["4 fresh:t1 > tank:t1: Topped up"],
    ),
    "topped up to the mark with less than was missing": (
        [TANK, removed(5), TopUp(**at(3), tank="t1", volume_l=4, to_mark=True)],
        ["4 fresh:t1 > tank:t1: Topped up",
         "1 unexplained:level|t1 > tank:t1: Seen at the upper mark"],
    ),
    "topped up to a mark that nobody knows": (
        [TopUp(**at(3), tank="t9", volume_l=4, to_mark=True)],
        ["4 fresh:t9 > tank:t9: Topped up"],
    ),
    "topped up to a mark that was moved": (
        [TANK, TankChange(**at(1), tank="t1", capacity_l=44.0),
         TopUp(**at(3), tank="t1", volume_l=5, to_mark=True)],
        ["5 fresh:t1 > tank:t1: Topped up", "1 tank:t1 > evaporated:t1: Seen at the upper mark"],
    ),
    "taken out": ([TANK, removed(5)], ["5 tank:t1 > drawn:t1: Taken out"]),
    "spilled": ([TANK, removed(5, incident="i")], ["5 tank:t1 > spilled:: Taken out"]),
    "taken out, and less seen than is left": (
        [TANK, removed(5, left_l=33)],
        ["5 tank:t1 > drawn:t1: Taken out", "2 tank:t1 > evaporated:t1: Seen after a removal"],
    ),
    "more taken out than was there": (
        [TANK, removed(45)],
        ["40 tank:t1 > drawn:t1: Taken out", "5 unexplained:level|t1 > drawn:t1: Taken out"],
    ),
    "taken out of a tank that nobody set up": (
        [removed(3)], ["3 unexplained:level|t1 > drawn:t1: Taken out"]
    ),
    "seen after a swap that was given up": (
        [TANK, removed(28, swap="s1", left_l=10)], ["30 tank:t1 > drawn:t1: Seen after a swap"]
    ),
}  # fmt: skip

OF_SWAPS: dict[str, tuple[list[Entry], list[str]]] = {
    "nobody says how much: 2 % of what was there stays, and it is filled to the mark": (
        [*ROOM, removed(10), Swap(**at(5), tank="t1")],
        ["29.4 tank:t1 > drawn:t1: Drained", "39.4 fresh:t1 > tank:t1: Filled"],
    ),
    "a heel that is more than the mark": (
        [*ROOM, Swap(**at(5), tank="t1", heel_l=41)], ["1 drawn:t1 > tank:t1: Drained"],
    ),
    "of a tank that nobody set up": ([Swap(**at(5), tank="t9")], []),
    "from another tank, no more than it holds": (
        [*ROOM, OTHER, Swap(**at(5), tank="t1", from_tank="c1", heel_l=0, filled_l=50)],
        ["40 tank:t1 > drawn:t1: Drained", "40 tank:c1 > tank:t1: Moved here"],
    ),
    "from another tank, a part of it": (
        [*ROOM, OTHER, Swap(**at(5), tank="t1", from_tank="c1", heel_l=0, filled_l=30)],
        ["40 tank:t1 > drawn:t1: Drained", "30 tank:c1 > tank:t1: Moved here"],
    ),
    "entered when its list has come to the drain": (
        [*ROOM, opened(), *drained(heel_l=0.8), closed()[0]],
        ["0.8 heel:t1 > tank:t1: Drained", "34.2 fresh:t1 > tank:t1: Filled"],
    ),
    "entered otherwise than its steps said": (
        [*ROOM, opened(), *drained(heel_l=0.8), *filled(), closed(filled_l=36.0)[0]],
        ["1.8 drawn:t1 > tank:t1: New bath"],
    ),
    "of the clean bath's tank, entered when its liquid is moved": (
        [*ROOM, OTHER, opened(**PAIR), *drained(heel_l=0.8),
         done("move_clean", 25, moved_l=39.2),
         Swap(**at(30), tank="c1", swap="s1", drained_l=39.2, filled_l=39.0, heel_l=0.8)],
        ["0.8 heel:c1 > tank:c1: Drained", "39 fresh:c1 > tank:c1: Filled"],
    ),
}  # fmt: skip

OF_STEPS: dict[str, tuple[list[Entry], list[str]]] = {
    "a swap begins with a level that was estimated": (
        [*ROOM, opened()], ["2 tank:t1 > evaporated:t1: Estimated as the swap began"]
    ),
    "drained": (
        [*ROOM, opened(), drained(heel_l=0.8)[0]],
        ["38 tank:t1 > heel:t1: Drained", "37.2 heel:t1 > drawn:t1: Drained"],
    ),
    "poured by a program that ticks no step": (
        [*ROOM, opened(), drained()[1]],
        ["36.5 drawn:t1 > drum:d1: Poured", "38 tank:t1 > heel:t1: Left after the drain",
         "36.5 heel:t1 > drawn:t1: Left after the drain"],
    ),
    "rinsed": (
        [*ROOM, opened(), *drained(heel_l=0.8), rinsed()[0]], ["2 fresh:t1 > rinse:t1: Rinsed"]
    ),
    "the rinse, poured": (
        [*ROOM, opened(), *drained(heel_l=0.8), *rinsed()[:2]], ["2 rinse:t1 > drum:d1: Poured"]
    ),
    "moved": (
        [*ROOM, OTHER, opened(**PAIR), *drained(heel_l=0.8),
         done("move_clean", 25, moved_l=39.0)],
        ["39 tank:c1 > tank:t1: Moved here", "0.8 heel:t1 > tank:t1: Moved",
         "1 tank:c1 > heel:c1: Moved", "0.2 heel:c1 > drawn:c1: Moved"],
    ),
    "filled": (
        [*ROOM, opened(), *drained(heel_l=0.8), filled()[0]],
        ["34.2 fresh:t1 > tank:t1: Filled", "0.8 heel:t1 > tank:t1: Filled"],
    ),
    "filled, and nobody says how much": (
        [*ROOM, opened(), *drained(heel_l=0.8), done("fill", 30)],
        ["0.8 heel:t1 > tank:t1: Filled"],
    ),
    "ticked again on another tablet": (
        [*ROOM, opened(), *drained(heel_l=0.8), filled()[0], done("fill", 31, filled_l=34.2)], []
    ),
    "ticked in a swap that nobody knows": ([*ROOM, done("fill", 30, filled_l=34.2)], []),
    "said on the way: a part of the bath is in it": (
        [*ROOM, opened(), *drained(heel_l=0.8),
         TankContents(**at(15), tank="t1", swap="s1", found="partly", left_l=12)],
        ["11.2 drawn:t1 > heel:t1: Said to be in the tank"],
    ),
    "said after it was given up: a part, which its removal books": (
        [*ROOM, opened(), *drained(heel_l=0.8),
         SwapAbandoned(**at(15), tank="t1", swap="s1", asks_contents=True),
         TankContents(**at(16), tank="t1", swap="s1", found="partly", left_l=12)],
        [],
    ),
    "said after it was given up: all of it": (
        [*ROOM, opened(), *drained(heel_l=0.8),
         SwapAbandoned(**at(15), tank="t1", swap="s1", asks_contents=True),
         TankContents(**at(16), tank="t1", swap="s1", found="as_before")],
        ["0.8 heel:t1 > tank:t1: As before the swap",
         "37.2 drawn:t1 > tank:t1: As before the swap"],
    ),
    "a heel of another size by the site's settings": (
        [*ROOM, opened(), *drained(out_l=30), SiteRules(**at(20), site="site", heel_percent=5)],
        ["1.2 drawn:t1 > heel:t1: Heel by site settings"],
    ),
}  # fmt: skip

UNLISTED = [
    *ROOM, used(36, "swap", "t1"), Swap(**at(5), tank="t1", drained_l=39.0, filled_l=34.0),
]  # fmt: skip
LEFT_OVER: dict[str, tuple[list[Entry], list[str]]] = {
    "more off the shelf than filled, as much more in the drum than drained: a rinse": (
        [*UNLISTED, poured(41), replace(opened(), estimated_l=35.0)],
        ["2 fresh:t1 > drawn:t1: Rinse, off the shelf and into the drum"],
    ),
    "more off the shelf than filled": (
        [*UNLISTED, poured(39), replace(opened(), estimated_l=35.0)],
        ["2 fresh:t1 > unexplained:fresh|t1: Left over from the fill"],
    ),
    "drained, and in no drum": (
        [*UNLISTED[:-2], UNLISTED[-1], poured(36), replace(opened(), estimated_l=35.0)],
        ["3 drawn:t1 > unexplained:drawn|t1: Left over from the drain",
         "34 outside:unbooked > fresh:t1: Left over from the fill"],
    ),
    "a rinse that went into no drum": (
        [*ROOM, opened(), *drained(heel_l=0.8), rinsed()[0], rinsed()[2], *filled(), *closed()],
        ["0.7 drawn:t1 > evaporated:t1: Left over from the drain",
         "2 rinse:t1 > unexplained:drawn|t1: Rinse"],
    ),
    "a loss of just the tolerance, 5 % of 40 L": (
        [*ROOM, opened(), *drained(out_l=35.2, heel_l=0.8), *filled(), *closed()],
        ["2 drawn:t1 > evaporated:t1: Left over from the drain"],
    ),
    "a loss a little above it": (
        [*ROOM, opened(), *drained(out_l=35.19, heel_l=0.8), *filled(), *closed()],
        ["2.01 drawn:t1 > unexplained:swap|t1: Left over from the drain"],
    ),
    "the same where the site allows more": (
        [*ROOM, SiteRules(at=START, site="site", loss_tolerance_percent=10.0), opened(),
         *drained(out_l=35.19, heel_l=0.8), *filled(), *closed()],
        ["2.01 drawn:t1 > evaporated:t1: Left over from the drain"],
    ),
    "closed by a list that nobody knows: no loss is usual": (
        [*ROOM, removed(5), poured(4.99), closed()[1]],
        ["0.01 drawn:t1 > unexplained:drawn|t1: Left over from the drain"],
    ),
}  # fmt: skip

EMPTY = Drum(at=START, drum="d2", name="D2", capacity_l=200.0, stream="isopropanol_resin",
             area="central")  # fmt: skip
OF_DRUMS: dict[str, tuple[list[Entry], list[str]]] = {
    "a drum that holds something": ([DRUM], ["10 outside:set_up > drum:d1: Drum set up"]),
    "an empty drum": ([EMPTY], []),
    "poured from a tank, outside of a swap": (
        [*ROOM, poured(3)], ["3 drawn:t1 > drum:d1: Poured"]
    ),
    "poured from no tank in the room": (
        [*ROOM, replace(poured(3), tank=None)], ["3 outside:elsewhere > drum:d1: Poured"]
    ),
    "taken up where it was spilled": (
        [*ROOM, poured(3, incident="i1")], ["3 spilled: > drum:d1: Poured"]
    ),
    "the drain's pour, whose resin nobody measured": (
        [*ROOM, opened(), drained()[0], replace(drained()[1], resin_percent=None)],
        ["36.5 drawn:t1 > drum:d1: Poured"],
    ),
    "in a swap that nobody knows": (
        [*ROOM, poured(3, swap="s9")], ["3 drawn:t1 > drum:d1: Poured"]
    ),
    "from drum to drum": (
        [DRUM, EMPTY, DrumTransfer(**at(1), drum="d2", from_drum="d1", volume_l=12, waste_kg=10)],
        ["10 drum:d1 > drum:d2: Moved from drum to drum",
         "2 unexplained:moved|d1 > drum:d2: Moved from drum to drum"],
    ),
    "fetched, an empty one and one that is named twice among them": (
        [DRUM, EMPTY, PickupShipped(**at(2), pickup="p", drums=["d1", "d2", "d1"], document="D")],
        ["10 drum:d1 > outside:fetched: Collected"],
    ),
}  # fmt: skip

TAKEN = "Taken off the shelf"
MORE = StockReceived(at=START, item="ipa", quantity=20.0, lot="B1")
OF_THE_SHELF: dict[str, tuple[list[Entry], list[str]]] = {
    "delivered": ([ITEM, RECEIPT], ["100 outside:delivered > lot:ipa|A7: Delivered"]),
    "delivered before anybody said that it is a solvent": (
        [RECEIPT, ITEM], ["100 outside:set_up > lot:ipa|A7: Item on the shelf"]
    ),
    "renamed": ([*ROOM, ItemChanged(**at(1), item="ipa", name="IPA")], []),
    "opened": ([*ROOM, StockOpened(**at(1), item="ipa", lot="A7")], []),
    "of two lots": (
        [*ROOM, MORE, used(110, "cleaning")],
        ["100 lot:ipa|A7 > wipes:: Taken off the shelf",
         "10 lot:ipa|B1 > wipes:: " + TAKEN],
    ),
    "more than there is": (
        [*ROOM, used(103, "cleaning")],
        ["100 lot:ipa|A7 > wipes:: Taken off the shelf",
         "3 unexplained:owed|ipa > wipes:: More than the shelf had"],
    ),
    "delivered, some of it used before": (
        [*ROOM, used(103, "cleaning"), MORE],
        ["17 outside:delivered > lot:ipa|B1: Delivered",
         "3 outside:delivered > unexplained:owed|ipa: More than the shelf had"],
    ),
    "for a swap": ([*ROOM, used(3, "swap", "t1")], ["3 lot:ipa|A7 > fresh:t1: " + TAKEN]),
    "for a swap of no tank": ([*ROOM, used(3, "swap")], ["3 lot:ipa|A7 > fresh:: " + TAKEN]),
    "to top up": ([*ROOM, used(3, "top_up", "t1")], ["3 lot:ipa|A7 > fresh:t1: " + TAKEN]),
    "at a tank": ([*ROOM, used(3, None, "t1")], ["3 lot:ipa|A7 > fresh:t1: " + TAKEN]),
    "for nobody says what": ([*ROOM, used(3)], ["3 lot:ipa|A7 > wipes:: " + TAKEN]),
    "to clean a tank": (
        [*ROOM, used(3, "cleaning", "t1")], ["3 lot:ipa|A7 > wipes:: " + TAKEN]
    ),
    "at a spill": ([*ROOM, used(3, "spill", "t1")], ["3 lot:ipa|A7 > spilled:: " + TAKEN]),
    "counted": (
        [*ROOM, StockCounted(**at(3), item="ipa", quantity=98.5)],
        ["1.5 lot:ipa|A7 > unexplained:counted|ipa: Counted"],
    ),
    "thrown away": (
        [*ROOM, StockScrapped(**at(4), item="ipa", quantity=5.0, reason="expired")],
        ["5 lot:ipa|A7 > outside:scrapped: Thrown away"],
    ),
}  # fmt: skip

ACTS = OF_TANKS | OF_SWAPS | OF_STEPS | LEFT_OVER | OF_DRUMS | OF_THE_SHELF


@pytest.mark.parametrize("act", ACTS)
def test_an_act_posts_its_litres_from_where_they_were_to_where_they_go(act: str) -> None:
    entries, lines = ACTS[act]
    assert said(*entries) == lines


def test_what_stood_in_a_tank_out_of_use_stands_there_when_it_is_used_again() -> None:
    """To the microlitre, a heel as well as a bath."""
    drained_out = [*ROOM, opened(), *drained(heel_l=0.8), replace(OUT_OF_USE, **at(20))]
    state, _ = booked(*drained_out, replace(IN_USE, **at(21)))
    assert litres(state)["tank:t1"] == 0.8
    assert "outside:retired" not in litres(state)


def test_of_a_pair_the_moved_bath_is_a_bath_and_the_clean_tank_keeps_a_heel() -> None:
    course: list[Entry] = [
        *ROOM, OTHER, opened(**PAIR), *drained(heel_l=0.8), done("move_clean", 25, moved_l=39.0),
    ]  # fmt: skip
    found = litres(booked(*course)[0])
    assert (found["tank:t1"], found["heel:c1"]) == (39.8, 0.8)
    assert not {"heel:t1", "tank:c1"} & found.keys()
    found = litres(booked(*course, done("fill", 30, filled_l=39.0))[0])
    assert found["tank:c1"] == 39.8
    assert "heel:c1" not in found


def swaps(count: int) -> list[Entry]:
    tanks = [replace(TANK, tank=f"t{n}") for n in range(count)]
    return [*tanks, *(opened(swap=f"s{n}", tank=f"t{n}", estimated_l=40.0) for n in range(count))]


def test_however_many_swaps_are_under_way_none_is_forgotten() -> None:
    state, _ = booked(*swaps(7))
    assert {key: swap.key for key, swap in state.swaps.items()} == {
        f"s{n}": f"s{n}" for n in range(7)
    }


def test_of_swaps_that_have_ended_the_last_few_are_kept() -> None:
    """So that the state stays small, and a list may still close what was entered first."""
    over = [Swap(**at(30 + n), tank=f"t{n}", swap=f"s{n}") for n in range(7)]
    state, _ = booked(*swaps(7), *over)
    assert list(state.swaps) == ["s3", "s4", "s5", "s6"]
    assert len(state.swaps) == ENDED_KEPT


def test_an_item_is_kept_as_far_as_its_lots_go() -> None:
    """The book's state is stored again and again: what the shelf's own ledger keeps is not."""
    state, _ = booked(*ROOM, used(3, "cleaning"))
    item = state.items["ipa"]
    assert [(lot.lot, lot.quantity) for lot in item.lots] == [("A7", 97.0)]
    assert (item.worth, item.first_week) == (Valuation(), None)
    assert (item.on_order, item.past_orders, item.weeks, item.recent) == ((), (), (), ())


def test_accounts_of_a_kind_are_told_by_their_keys_in_litres() -> None:
    state, _ = booked(*ROOM, OTHER)
    assert state.of_kind("tank") == {"t1": 40.0, "c1": 40.0}
    assert state.of_kind("lot") == {"ipa|A7": 100.0}


def test_the_name_of_an_account_is_its_kind_and_its_key_whatever_the_lot_is_called() -> None:
    assert (kind_of("lot:ipa|A:7"), key_of("lot:ipa|A:7")) == ("lot", "ipa|A:7")
    assert (kind_of("wipes:"), key_of("wipes:")) == ("wipes", "")


@dataclass(frozen=True, kw_only=True)
class Lent(LedgerEntry):
    """A kind that moves stock in the unit of its item, and that nobody has given a posting."""

    kind: ClassVar[str] = "lent"
    item: str = spec("key", "Item", required=True)
    quantity: float = number("Quantity", "", 0, 10, required=True, counted_as="item")


def test_a_new_kind_that_moves_stock_without_a_posting_is_found() -> None:
    assert unposted([Lent]) == ["lent"]
