"""What is told of a bath behind a swap that began without it: each litre lands where it went."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import Removal, SwapAbandoned, TopUp
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import Pour
from app.services.door import bring_in as record
from app.services.litres.reading import book_of, state_of
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, withdraw
from tests.services.law import check
from tests.services.swaps.led import BEGAN, Run, room_id, swap_store, tank_row

BEFORE = BEGAN - timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room whose bath stands 6 L below its mark."""
    store = swap_store(tmp_path)
    record(store, ROOM, [Removal(at=BEGAN - timedelta(days=1), tank="t1", volume_l=6.0)], NOW)
    yield store
    store.close()


def litres(store: Store) -> dict[str, float]:
    with Session(store.reader) as session:
        state = state_of(session, room_id(store))
        assert book_of(session, find_room(session, ROOM), NOW).imbalance_l == 0
    return {name: amount / 1e6 for name, amount in state.balances_ul.items()}


def in_tank(store: Store) -> float:
    with Session(store.reader) as session:
        return state_of(session, room_id(store)).level_l("t1")


def late(litres_: float = 5.0, uid: str = "late") -> list[TopUp | StockUsed]:
    return [
        TopUp(at=BEFORE, id=uid, tank="t1", volume_l=litres_),
        StockUsed(at=BEFORE, id=f"{uid}.1", item="ipa", quantity=litres_, lot="A7",
                  purpose="top_up", tank="t1"),
    ]  # fmt: skip


def changes(before: dict[str, float], after: dict[str, float]) -> dict[str, float]:
    """By how much each account changed."""
    names = sorted({*before, *after})
    found = {name: round(after.get(name, 0.0) - before.get(name, 0.0), 3) for name in names}
    return {name: change for name, change in found.items() if change}


def swapped(store: Store) -> Run:
    """A swap of which 5 L more were drained than its bath was thought to hold."""
    run = Run(store)
    run.until_done()
    run.complete(note="More came out than we thought")
    return run


def test_a_top_up_told_after_a_swap_fills_the_gap_that_it_left(store: Store) -> None:
    """39 L came out of less than 34: 5 L of what nobody could explain are from a lot."""
    swapped(store)
    before = litres(store)
    assert before["unexplained:swap|t1"] < -5.0
    record(store, ROOM, late(), NOW)
    moved = changes(before, litres(store))
    assert moved == {"lot:ipa|A7": -5.0, "unexplained:swap|t1": 5.0}
    check(store)


def test_what_it_is_corrected_to_and_taken_back_is_followed(store: Store) -> None:
    swapped(store)
    before = litres(store)
    record(store, ROOM, late(), NOW)
    fewer = late(3.0, "right")
    record(store, ROOM, [replace(one, corrects=f"late{one.id[5:]}") for one in fewer], NOW)
    assert changes(before, litres(store)) == {"lot:ipa|A7": -3.0, "unexplained:swap|t1": 3.0}
    check(store)
    for uid in ("right", "right.1"):
        withdraw(store, ROOM, uid, "Wren", "", NOW, None)
    assert changes(before, litres(store)) == {}
    check(store)


def test_a_top_up_taken_back_after_a_swap_leaves_a_gap(store: Store) -> None:
    record(store, ROOM, late(), NOW)
    swapped(store)
    before = litres(store)
    for uid in ("late", "late.1"):
        withdraw(store, ROOM, uid, "Wren", "", NOW, None)
    moved = changes(before, litres(store))
    assert moved["lot:ipa|A7"] == 5.0
    gap = {name: one for name, one in moved.items() if name not in ("lot:ipa|A7",)}
    assert set(gap) <= {"unexplained:swap|t1", "evaporated:t1"}
    assert sum(gap.values()) == pytest.approx(-5.0)
    assert "evaporated:t1" not in moved or moved["evaporated:t1"] < 0
    check(store)


def test_a_top_up_told_late_stands_in_the_tank_of_a_swap_that_has_not_drained(store: Store) -> None:
    run = Run(store)
    before = litres(store)
    record(store, ROOM, late(), NOW)
    after = litres(store)
    assert changes(before, after) == {"lot:ipa|A7": -5.0, "tank:t1": 5.0}
    assert tank_row(store).volume_l == pytest.approx(after["tank:t1"], abs=0.05)
    assert run.state.estimated_l == pytest.approx(after["tank:t1"], abs=0.05)
    check(store)


def test_as_before_means_with_what_was_told_late(store: Store) -> None:
    """Drained by mistake and put back: what stood before is 5 L more than was thought."""
    run = Run(store)
    run.until_drained()
    record(store, ROOM, late(), NOW)
    at = run.hand().at
    word = TankContents(at=at, by="Wren", tank="t1", swap=run.key, found="as_before")
    record(store, ROOM, [word], NOW)
    assert tank_row(store).volume_l == pytest.approx(in_tank(store), abs=0.01)
    gone = SwapAbandoned(at=run.hand().at, by="Wren", tank="t1", swap=run.key)
    record(store, ROOM, [gone], NOW)
    assert tank_row(store).volume_l == pytest.approx(in_tank(store), abs=0.05)
    check(store)


def test_what_was_seen_between_leaves_the_estimate_of_the_swap(store: Store) -> None:
    """Somebody saw 30 L after it: what evaporated before is more, and the swap's the same."""
    seen = BEGAN - timedelta(minutes=30)
    record(store, ROOM, [Removal(at=seen, tank="t1", volume_l=0.1, left_l=30.0)], NOW)
    Run(store)
    before = litres(store)
    record(store, ROOM, late(), NOW)
    moved = changes(before, litres(store))
    assert "tank:t1" not in moved
    assert sum(moved.values()) == 0.0
    check(store)


def test_a_level_seen_behind_a_late_top_up_needs_less_that_nobody_explains(store: Store) -> None:
    """34 L by entries, seen at the mark after 1 L: 5 unexplained, of which 3 are told late."""
    mark = TopUp(at=BEGAN, tank="t1", volume_l=1.0, to_mark=True)
    record(store, ROOM, [mark], NOW)
    before = litres(store)
    assert before["unexplained:level|t1"] == pytest.approx(-5.0)
    record(store, ROOM, late(3.0), NOW)
    assert changes(before, litres(store)) == {"lot:ipa|A7": -3.0, "unexplained:level|t1": 3.0}
    check(store)


def test_a_new_level_told_late_is_what_the_swap_began_with(store: Store) -> None:
    Run(store)
    record(store, ROOM, [TopUp(at=BEFORE, tank="t1", volume_l=6.0, to_mark=True)], NOW)
    assert litres(store)["tank:t1"] == pytest.approx(40.0)
    check(store)


@pytest.mark.parametrize("topped_l, loss", [(6.0, "unexplained:swap|t1"), (9.0, "evaporated:t1")])
def test_a_pour_told_late_leaves_its_closed_swap_closed(
    store: Store, topped_l: float, loss: str
) -> None:
    """A part of the loss turns up in a drum: it is so much less, and nothing stays open."""
    run = Run(store)
    record(store, ROOM, late(topped_l), NOW)
    run.until_done()
    run.complete(note="A litre short")
    before = litres(store)
    pour = Pour(at=NOW, id="found", drum="d2", volume_l=0.2, tank="t1", swap=run.key)
    record(store, ROOM, [pour], NOW)
    with Session(store.reader) as session:
        assert run.key not in state_of(session, room_id(store)).swaps
    assert changes(before, litres(store)) == {"drum:d2": 0.2, loss: -0.2}
    withdraw(store, ROOM, "found", "Wren", "", NOW, None)
    assert changes(before, litres(store)) == {}
    check(store)
