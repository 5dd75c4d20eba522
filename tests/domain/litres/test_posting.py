"""The book of litres: hand-worked acts, each posting with two sides, kinds that post or say why."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any, ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import as_data
from app.domain.litres.posting import POSTINGS, STILL, post, unposted
from app.domain.litres.state import LitresState, Posting
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds import (
    KINDS,
    Entry,
    Removal,
    Swap,
    SwapAbandoned,
    Tank,
    TankChange,
    TopUp,
)
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.kinds.checklists import StepDone, SwapClosed, SwapOpened, TankContents
from app.domain.roomlog.kinds.supplies import (
    Item,
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from tests.factories import NOW, START

LATER = NOW - timedelta(hours=2)


def at(minutes: float) -> dict[str, Any]:
    return {"at": LATER + timedelta(minutes=minutes), "by": "Wren"}


def booked(*entries: Entry) -> tuple[LitresState, list[Posting]]:
    """The book after entries given in the order of truth; it adds up to nothing after each."""
    state, all_ = LitresState(), list[Posting]()
    for entry in entries:
        state, postings = post(state, entry)
        assert sum(state.balances_ul.values()) == 0
        assert all(one.amount_ul > 0 and one.source != one.target for one in postings)
        all_ += postings
    return state, all_


def litres(state: LitresState) -> dict[str, float]:
    """What stands on each account, litres."""
    return {name: round(amount / 1e6, 6) for name, amount in sorted(state.balances_ul.items())}


ROOM: tuple[Entry, ...] = (
    Tank(at=START, tank="t1", name="T1", capacity_l=40.0, min_l=30.0, solvent="isopropanol"),
    Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
         solvent="isopropanol"),
    Drum(at=START, drum="d1", name="D1", capacity_l=200.0, stream="isopropanol_resin",
         area="central", volume_l=10.0),
    StockReceived(at=START, item="ipa", quantity=100.0, lot="A7"),
)  # fmt: skip


def opened(**more: Any) -> SwapOpened:
    values: dict[str, Any] = {
        "swap": "s1", "tank": "t1", "checklist": "swap", "version": 1,
        "steps": as_data(DEFAULT.steps), "estimated_l": 38.0, "capacity_l": 40.0, "min_l": 30.0,
        "solvent": "isopropanol",
    }  # fmt: skip
    return SwapOpened(**at(0), **(values | more))


def done(step: str, minutes: float, *wrote: str, **answers: Any) -> StepDone:
    return StepDone(
        **at(minutes), id=f"{step}-{minutes:g}", swap="s1", step=step, answers=answers or None,
        wrote=list(wrote) or None,
    )  # fmt: skip


def drained(minutes: float = 10, out_l: float = 36.5, **answers: Any) -> list[Entry]:
    return [
        done("drain", minutes, f"p-{minutes:g}", drained_l=out_l, **answers),
        Pour(**at(minutes), id=f"p-{minutes:g}", drum="d1", volume_l=out_l, tank="t1", swap="s1",
             resin_percent=8.0),
    ]  # fmt: skip


def rinsed(minutes: float = 20) -> list[Entry]:
    return [
        done("rinse", minutes, "r", rinse_l=2.0, lot="ipa|A7"),
        Pour(**at(minutes), id="r", drum="d1", volume_l=2.0, tank="t1", swap="s1"),
        StockUsed(**at(minutes), item="ipa", quantity=2.0, lot="A7", purpose="swap", tank="t1",
                  swap="s1"),
    ]  # fmt: skip


def filled(minutes: float = 30, litres_: float = 34.2) -> list[Entry]:
    return [
        done("fill", minutes, filled_l=litres_, lot="ipa|A7"),
        StockUsed(**at(minutes), item="ipa", quantity=litres_, lot="A7", purpose="swap", tank="t1",
                  swap="s1"),
    ]  # fmt: skip


def closed(minutes: float = 40, **more: Any) -> list[Entry]:
    values: dict[str, Any] = {"drained_l": 36.5, "filled_l": 34.2, "heel_l": 0.8} | more
    return [
        Swap(**at(30), tank="t1", swap="s1", heel_basis="seen", **values),
        SwapClosed(
            **at(minutes), swap="s1", tank="t1", estimated_l=38.0, rinsed_l=2.0, loss_l=0.7,
            **values,
        ),
    ]  # fmt: skip


def test_a_swap_by_its_list_moves_each_litre_once() -> None:
    """38 L estimated of 40 set up: 2 have evaporated. 36.5 drained and 0.8 left: 0.7 are lost, and
    within the tolerance of 2 L (5 % of 40) evaporated too. 2 L rinse go through to the drum."""
    state, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), *rinsed(), *filled(), *closed())
    assert litres(state) == {
        "drum:d1": 48.5, "evaporated:t1": 2.7, "lot:ipa|A7": 63.8, "outside:delivered": -100.0,
        "outside:set_up": -50.0, "tank:t1": 35.0,
    }  # fmt: skip
    assert state.swaps == {}


def test_while_it_is_under_way_the_tank_holds_its_heel_and_the_rest_is_in_the_drum() -> None:
    state, _ = booked(*ROOM, opened(), *drained(heel_l=0.8))
    found = litres(state)
    assert (found["heel:t1"], found["drum:d1"], found["drawn:t1"]) == (0.8, 46.5, 0.7)
    assert "tank:t1" not in found
    state, _ = booked(*ROOM, opened(), *drained())  # nobody looked: 2 % of 40 L
    assert state.level_l("t1") == pytest.approx(0.8)
    state, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), *rinsed(), *filled())
    assert litres(state)["tank:t1"] == 35.0
    assert "heel:t1" not in litres(state)


def test_a_second_tick_posts_nothing() -> None:
    again = replace(done("fill", 31, filled_l=34.2), repeats="fill-30")
    once, _ = booked(*ROOM, opened(), *drained(), *filled())
    twice, _ = booked(*ROOM, opened(), *drained(), *filled(), again)
    assert litres(once) == litres(twice)


def test_a_given_up_swap_leaves_what_somebody_saw() -> None:
    over = SwapAbandoned(**at(15), tank="t1", swap="s1", asks_contents=True)
    asked, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), over)
    assert asked.level_l("t1") == 0.8
    seen = Removal(**at(16), tank="t1", swap="s1", volume_l=28.0, left_l=10.0)
    partly, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), over, seen)
    assert partly.level_l("t1") == 10.0
    assert litres(partly)["drawn:t1"] == -8.5  # 38 less 36.5 in the drum less 10: too much by 8.5
    word = TankContents(**at(16), tank="t1", swap="s1", found="as_before")
    before, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), over, word)
    assert before.level_l("t1") == 38.0
    assert litres(before)["drawn:t1"] == -36.5  # they stand in the drum, and were in no bath
    assert before.swaps == {}
    again, _ = booked(
        *ROOM, opened(), *drained(heel_l=0.8), over, word, replace(opened(), swap="s2", **at(60))
    )
    assert litres(again)["unexplained:drawn|t1"] == -36.5


def test_a_loss_past_the_tolerance_is_not_explained() -> None:
    state, _ = booked(*ROOM, opened(), *drained(out_l=30.0, heel_l=0.8), *filled(), *closed())
    assert litres(state)["unexplained:swap|t1"] == pytest.approx(7.2)
    assert litres(state)["evaporated:t1"] == 2.0


def test_a_rinse_in_no_book_comes_from_outside() -> None:
    state, _ = booked(*ROOM, opened(), *drained(heel_l=0.8), *rinsed()[:2], *filled(), *closed())
    assert litres(state)["outside:unbooked"] == -2.0
    assert litres(state)["lot:ipa|A7"] == 65.8


def test_of_a_pair_the_clean_tank_s_rinse_goes_from_the_shelf_into_the_drum() -> None:
    """Its own litres, its own account: on both sides, so that nothing of it stays; the bath of the
    drained tank and its heel are as they were."""
    clean = Tank(at=START, tank="c1", name="C1", capacity_l=40.0, solvent="isopropanol")
    pair = {"from_tank": "c1", "from_estimated_l": 39.0, "from_capacity_l": 40.0}
    course: list[Entry] = [
        *ROOM, clean, opened(**pair), *drained(heel_l=0.8), done("move_clean", 25, moved_l=38.0),
    ]  # fmt: skip
    before = litres(booked(*course)[0])
    rinse: list[Entry] = [
        done("rinse_clean", 27, "q", rinse_l=1.5, lot="ipa|A7"),
        Pour(**at(27), id="q", drum="d1", volume_l=1.5, tank="c1", swap="s1"),
        StockUsed(**at(27), item="ipa", quantity=1.5, lot="A7", purpose="swap", tank="c1",
                  swap="s1"),
    ]  # fmt: skip
    after = litres(booked(*course, *rinse)[0])
    moved = {name: round(after.get(name, 0.0) - litres_, 6) for name, litres_ in before.items()}
    assert {name: by for name, by in moved.items() if by} == {"lot:ipa|A7": -1.5, "drum:d1": 1.5}
    assert not {"rinse:c1", "fresh:c1", "rinse:t1"} & {n for n, one in after.items() if one}


def test_of_a_pair_both_tanks_are_followed() -> None:
    clean = Tank(at=START, tank="c1", name="C1", capacity_l=40.0, solvent="isopropanol")
    pair = {"from_tank": "c1", "from_estimated_l": 39.0, "from_capacity_l": 40.0}
    use = replace(filled()[1], tank="c1", quantity=39.0)
    course: list[Entry] = [
        *ROOM, clean, opened(**pair), *drained(heel_l=0.8), done("move_clean", 25, moved_l=38.0),
    ]  # fmt: skip
    moved, _ = booked(*course)
    assert (moved.level_l("t1"), moved.level_l("c1")) == (38.8, 0.8)
    assert litres(moved)["drawn:c1"] == pytest.approx(0.2)
    full, _ = booked(*course, done("fill", 30, filled_l=39.0), use)
    assert (full.level_l("t1"), full.level_l("c1")) == (38.8, 39.8)
    baths: Sequence[Entry] = [
        Swap(**at(30), tank="t1", swap="s1", from_tank="c1", drained_l=36.5, filled_l=38.0,
             heel_l=0.8),
        Swap(**at(30), tank="c1", swap="s1", drained_l=38.0, filled_l=39.0, heel_l=0.8),
        SwapClosed(**at(40), swap="s1", tank="t1", estimated_l=38.0, drained_l=36.5, rinsed_l=0.0,
                   heel_l=0.8, moved_l=38.0, filled_l=39.0, loss_l=0.9),
    ]  # fmt: skip
    end, _ = booked(*course, done("fill", 30, filled_l=39.0), use, *baths)
    assert (end.level_l("t1"), end.level_l("c1")) == (38.8, 39.8)
    found = litres(end)
    assert found["evaporated:t1"] + found["evaporated:c1"] == pytest.approx(2 + 1 + 0.7 + 0.2)
    assert not [name for name in found if name.startswith(("drawn", "fresh", "rinse"))]


def test_a_swap_without_a_list_drains_and_fills() -> None:
    pour = Pour(**at(5), drum="d1", volume_l=36.0, tank="t1")
    use = StockUsed(**at(5), item="ipa", quantity=34.0, purpose="swap", tank="t1")
    state, _ = booked(*ROOM, Swap(**at(5), tank="t1", drained_l=39.0, filled_l=34.0), pour, use)
    assert litres(state) == {
        "drawn:t1": 3.0, "drum:d1": 46.0, "lot:ipa|A7": 66.0, "outside:delivered": -100.0,
        "outside:set_up": -50.0, "tank:t1": 35.0,
    }  # fmt: skip
    whole, _ = booked(*ROOM, Swap(**at(5), tank="t1"))
    assert whole.level_l("t1") == 40.0


def test_top_ups_removals_and_levels_that_are_seen() -> None:
    state, _ = booked(
        *ROOM, Removal(**at(1), tank="t1", volume_l=5.0), Removal(**at(2), tank="t1", volume_l=1.0,
                                                                 incident="i1"),
        TopUp(**at(3), tank="t1", volume_l=4.0, to_mark=True),
        Pour(**at(4), drum="d1", volume_l=0.6, tank="t1", incident="i1"),
    )  # fmt: skip
    assert litres(state) == {
        "drawn:t1": 5.0, "drum:d1": 10.6, "fresh:t1": -4.0, "lot:ipa|A7": 100.0,
        "outside:delivered": -100.0, "outside:set_up": -50.0, "spilled:": 0.4, "tank:t1": 40.0,
        "unexplained:level|t1": -2.0,
    }  # fmt: skip
    less, _ = booked(*ROOM, Removal(**at(1), tank="t1", volume_l=5.0, left_l=33.0))
    assert (less.level_l("t1"), less.litres("evaporated:t1")) == (33.0, 2.0)
    beyond, _ = booked(*ROOM, Removal(**at(1), tank="t1", volume_l=45.0))
    assert (beyond.level_l("t1"), beyond.litres("unexplained:level|t1")) == (0.0, -5.0)


def test_a_tank_out_of_use_and_in_use_again() -> None:
    out = TankChange(**at(1), tank="t1", is_retired=True)
    state, _ = booked(*ROOM, out)
    assert (state.level_l("t1"), state.litres("outside:retired")) == (0.0, 40.0)
    state, _ = booked(*ROOM, out, TankChange(**at(2), tank="t1", is_retired=False))
    assert (state.level_l("t1"), state.litres("outside:retired")) == (40.0, 0.0)


def test_drums_hand_on_and_leave() -> None:
    second = Drum(at=START, drum="d2", name="D2", capacity_l=200.0, stream="isopropanol_resin",
                  area="central")  # fmt: skip
    move = DrumTransfer(**at(1), drum="d2", from_drum="d1", volume_l=12.0, waste_kg=10.0)
    state, _ = booked(*ROOM, second, move)
    assert litres(state)["drum:d2"] == 12.0
    assert litres(state)["unexplained:moved|d1"] == -2.0
    assert "drum:d1" not in litres(state)
    gone = PickupShipped(**at(2), pickup="p1", drums=["d2"], document="D")
    state, _ = booked(*ROOM, second, move, gone)
    assert litres(state)["outside:fetched"] == 12.0


def test_the_shelf_owes_what_it_did_not_have_until_it_comes() -> None:
    use = StockUsed(**at(1), item="ipa", quantity=103.0, purpose="cleaning")
    state, _ = booked(*ROOM, use)
    assert (state.litres("wipes:"), state.litres("unexplained:owed|ipa")) == (103.0, -3.0)
    more = StockReceived(**at(2), item="ipa", quantity=20.0, lot="B1")
    state, _ = booked(*ROOM, use, more)
    assert (state.litres("lot:ipa|B1"), state.litres("unexplained:owed|ipa")) == (17.0, 0.0)
    count = StockCounted(**at(3), item="ipa", quantity=15.5)
    gone = StockScrapped(**at(4), item="ipa", quantity=5.0, reason="expired")
    state, _ = booked(*ROOM, use, more, count, gone)
    assert state.litres("unexplained:counted|ipa") == 1.5
    assert (state.litres("outside:scrapped"), state.litres("lot:ipa|B1")) == (5.0, 10.5)


def test_what_is_no_solvent_is_in_no_account() -> None:
    state, postings = booked(
        Item(at=START, item="g", name="Gloves", category="protection", unit="pair"),
        StockReceived(at=START, item="g", quantity=50.0, lot="G"),
    )
    assert litres(state) == {}
    assert postings == []


def test_every_kind_that_names_litres_posts_them_or_says_why_not() -> None:
    assert unposted(KINDS.values()) == []
    assert set(STILL) <= set(KINDS)
    assert set(POSTINGS) <= set(KINDS.values())


@dataclass(frozen=True, kw_only=True)
class Decanted(LedgerEntry):
    """A kind that moves liquid, and that nobody has given a posting."""

    kind: ClassVar[str] = "decanted"
    tank: str = spec("key", "Tank", required=True)
    volume_l: float = number("Volume", "L", 0, 10, required=True)


def test_a_new_kind_that_moves_liquid_without_a_posting_is_found() -> None:
    assert unposted([*KINDS.values(), Decanted]) == ["decanted"]


ACTS = st.sampled_from(
    [
        *ROOM, opened(), *drained(), *drained(11, 20.0, heel_l=3.0), *rinsed(), *filled(),
        *closed(), TopUp(**at(3), tank="t1", volume_l=1.5),
        SwapAbandoned(**at(15), tank="t1", swap="s1", asks_contents=True),
        TankContents(**at(16), tank="t1", swap="s1", found="as_before"),
        TankContents(**at(17), tank="t1", swap="s1", found="partly", left_l=12.0),
        Removal(**at(18), tank="t1", swap="s1", volume_l=3.0, left_l=2.5),
        StockUsed(**at(1), item="ipa", quantity=60.0, lot="A7"),
        StockCounted(**at(3), item="ipa", quantity=55.5, lot="B1"),
        PickupShipped(**at(2), pickup="p1", drums=["d1"], document="D"),
    ]
)  # fmt: skip


@given(entries=st.lists(ACTS, max_size=25))
def test_in_any_order_whatever_nonsense_no_litre_is_lost(entries: list[Entry]) -> None:
    """The log is what was said, sense or not: the accounts add up, and none of a tank is below
    nothing."""
    state, _ = booked(*entries)
    assert state.level_l("t1") >= 0
