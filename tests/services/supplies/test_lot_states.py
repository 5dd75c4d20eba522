"""Lots that are not used: expired, in quarantine, withdrawn; offered nowhere until released."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session, select

from app.domain.errors import Doubtful, FieldErrors
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import (
    ITEM,
    Item,
    LotHeld,
    LotReleased,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.supplies.state import ItemState, KeepingRules, Lot
from app.services.acts.topping_up import bottles
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.late_marks import marks
from app.services.rooms import find_room
from app.store import queries
from app.store.engine import Store
from app.store.tables import EntryRow
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = new_store(tmp_path)
    furnish(made)
    record(made, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.0),
        StockReceived(at=START, item="ipa", quantity=20, lot="OLD",
                      expires_on=(NOW - timedelta(days=1)).date()),
        StockReceived(at=START, item="ipa", quantity=20, lot="BAD", expires_on=date(2026, 6, 1)),
        StockReceived(at=START, item="ipa", quantity=20, lot="NEW", expires_on=date(2027, 6, 1)),
    ], NOW)  # fmt: skip
    return made


def state(store: Store) -> ItemState:
    with Session(store.reader) as session:
        found = thing(session, find_room(session, ROOM).id or 0, ITEM, "ipa")
    assert isinstance(found, ItemState)
    return found


def offered(store: Store) -> list[str]:
    """The lots that the form of a top-up offers, with their days."""
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        tank = queries.board(session, room_id, NOW).tank("t1")
        assert tank is not None
        return [one.text for one in bottles(session, room_id, tank, NOW.date())]


def hold(store: Store, standing: str) -> None:
    entry = LotHeld(at=NOW, item="ipa", lot="BAD", standing=standing, reason="It smells", by="Wren")
    enter(store, ROOM, [entry], NOW)


def use(lot: str | None, quantity: float = 1.0, note: str = "") -> StockUsed:
    return StockUsed(at=NOW, item="ipa", lot=lot, quantity=quantity, purpose="other", note=note)


@pytest.mark.parametrize("standing", ["quarantined", "withdrawn"])
def test_a_held_lot_is_offered_nowhere_and_used_for_nothing(store: Store, standing: str) -> None:
    assert [text.partition("lot ")[2][:3] for text in offered(store)] == ["BAD", "NEW"]
    hold(store, standing)
    assert [text.partition("lot ")[2][:3] for text in offered(store)] == ["NEW"]
    assert "use by Tue 1 Jun 2027" in offered(store)[0]
    with pytest.raises(FieldErrors, match="It smells"):
        enter(store, ROOM, [use("BAD", note="Nothing else there")], NOW)
    with pytest.raises(FieldErrors, match="expired or held"):
        enter(store, ROOM, [use(None, 50)], NOW)
    enter(store, ROOM, [use(None, 15)], NOW)  # of what is good alone
    assert {lot.lot: lot.quantity for lot in state(store).lots} == {"OLD": 20, "BAD": 20, "NEW": 5}


def test_only_a_lead_releases_a_lot(store: Store) -> None:
    hold(store, "quarantined")
    word = {"at": NOW, "item": "ipa", "lot": "BAD", "reason": "Tested, it is fine"}
    with pytest.raises(FieldErrors, match="Only a lead"):
        enter(store, ROOM, [LotReleased(lead="Wren", **word)], NOW)
    with pytest.raises(FieldErrors, match="is not held"):
        enter(store, ROOM, [LotReleased(lead="Curlew", **(word | {"lot": "NEW"}))], NOW)
    enter(store, ROOM, [LotReleased(lead="Curlew", **word)], NOW)
    lot = state(store).lot("BAD")
    assert lot is not None
    assert (lot.held, lot.standing(KeepingRules(), NOW.date())) == ("", "good")
    assert enter(store, ROOM, [use("BAD")], NOW).ids


def test_a_delivery_that_arrives_expired_is_asked_about_and_stands_as_expired(
    store: Store,
) -> None:
    late = StockReceived(
        at=NOW, item="ipa", quantity=20, lot="LATE", expires_on=NOW.date() - timedelta(days=3)
    )
    with pytest.raises(Doubtful) as asked:
        enter(store, ROOM, [late], NOW)
    assert [one.name for one in asked.value.doubts] == ["lot_expired"]  # type: ignore[union-attr]
    enter(store, ROOM, [late], NOW, confirmed=["lot_expired"])
    lot = state(store).lot("LATE")
    assert lot is not None
    assert lot.standing(KeepingRules(), NOW.date()) == "expired"
    assert not any("LATE" in text for text in offered(store))


@pytest.mark.parametrize(
    "zone, hours, last, is_over",
    [
        ("Pacific/Auckland", 0, "2026-03-02", True),  # 3 March, 01:00
        ("Pacific/Auckland", -2, "2026-03-02", False),  # 2 March, 23:00
        ("America/Los_Angeles", -7, "2026-03-01", False),  # 1 March, 21:00
        ("America/Los_Angeles", -3, "2026-03-01", True),  # 2 March, 01:00
    ],
)
@pytest.mark.parametrize("lot", ["DAY", None])
def test_a_lot_is_good_until_midnight_in_its_room(
    tmp_path: Path, zone: str, hours: int, last: str, is_over: bool, lot: str | None
) -> None:
    """Clock times by the IANA time zone database."""
    made, at = new_store(tmp_path), NOW + timedelta(hours=hours)
    furnish(made, time_zone=zone)
    record(made, ROOM, [
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=20, lot="DAY",
                      expires_on=date.fromisoformat(last)),
    ], NOW)  # fmt: skip
    taken = replace(use(lot), at=at)
    if is_over:
        with pytest.raises(FieldErrors, match=r"good until|lots that are good"):
            enter(made, ROOM, [taken], at)
    else:
        enter(made, ROOM, [taken], at)
        assert state(made).on_hand == 19
    made.close()


def test_a_held_lot_that_is_used_up_is_released_by_a_lead_before_more_of_it_comes(
    store: Store,
) -> None:
    held = LotHeld(at=NOW - timedelta(hours=3), item="ipa", lot="BAD", reason="Seal broken",
                   standing="quarantined", by="Wren")  # fmt: skip
    scrapped = StockScrapped(at=NOW - timedelta(hours=2), item="ipa", lot="BAD", quantity=20.0,
                             reason="damaged", by="Wren")  # fmt: skip
    record(store, ROOM, [held, scrapped], NOW)
    assert [one.lot for one in state(store).held_but_gone] == ["BAD"]
    free = LotReleased(at=NOW, item="ipa", lot="BAD", lead="Curlew", reason="Tested", by="Curlew")
    with pytest.raises(FieldErrors):
        enter(store, ROOM, [replace(free, lead="Wren", by="Wren")], NOW)
    enter(store, ROOM, [free], NOW)
    assert state(store).held_but_gone == ()
    with pytest.raises(FieldErrors):
        enter(store, ROOM, [free], NOW)


def test_more_of_a_held_lot_that_was_used_up_is_asked_about_too(store: Store) -> None:
    hold(store, "withdrawn")
    gone = StockScrapped(at=NOW, item="ipa", quantity=20, lot="BAD", reason="expired")
    enter(store, ROOM, [gone], NOW)
    assert state(store).lot("BAD") is None
    more = StockReceived(at=NOW, item="ipa", quantity=20, lot="BAD")
    with pytest.raises(Doubtful, match="It smells"):
        enter(store, ROOM, [more], NOW)
    enter(store, ROOM, [more], NOW, confirmed=["lot_withdrawn"])
    assert [lot.held for lot in state(store).lots if lot.lot == "BAD"] == ["withdrawn"]


@pytest.mark.parametrize("quantity", [5.0, 20.0])
def test_the_use_of_the_last_of_a_held_lot_is_marked_as_any(store: Store, quantity: float) -> None:
    held, at = NOW - timedelta(hours=2), NOW - timedelta(hours=1)
    word = LotHeld(at=held, item="ipa", lot="BAD", standing="withdrawn", reason="It smells")
    enter(store, ROOM, [replace(word, by="Wren")], held)
    record(store, ROOM, [replace(use("BAD", quantity), at=at, id="taken")], NOW)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        rows = session.exec(select(EntryRow).where(EntryRow.uid == "taken")).all()
        assert "done during the hold of this lot" in marks(session, room, rows)["taken"]


def test_more_of_a_withdrawn_lot_stays_withdrawn(store: Store) -> None:
    hold(store, "withdrawn")
    more = StockReceived(at=NOW, item="ipa", quantity=20, lot="BAD")
    with pytest.raises(Doubtful):
        enter(store, ROOM, [more], NOW)
    enter(store, ROOM, [more], NOW, confirmed=["lot_withdrawn"])
    lot = state(store).lot("BAD")
    assert lot is not None
    assert (lot.quantity, lot.held) == (40, "withdrawn")


def test_a_held_lot_counts_as_past_its_day_in_the_plan() -> None:
    lot = Lot("A", 5.0, date(2026, 3, 1), date(2027, 3, 1))
    held = Lot("A", 5.0, date(2026, 3, 1), date(2027, 3, 1), held="quarantined")
    assert lot.usable_until(KeepingRules()) == date(2027, 3, 1)
    assert held.usable_until(KeepingRules()) == date(2026, 2, 28)


def test_a_use_without_a_lot_takes_no_expired_one(store: Store) -> None:
    hold(store, "quarantined")
    with pytest.raises(FieldErrors, match="expired") as refused:
        enter(store, ROOM, [use(None, 25.0)], NOW)
    assert [(one.field, one.rule) for one in refused.value.errors] == [("quantity", "lot_expired")]
    enter(store, ROOM, [use(None, 15.0)], NOW)
    assert {lot.lot: lot.quantity for lot in state(store).lots} == {"OLD": 20, "BAD": 20, "NEW": 5}
    enter(store, ROOM, [use(None, 8.0, note="For cleaning the floor")], NOW)
    assert {lot.lot: lot.quantity for lot in state(store).lots} == {"OLD": 17, "BAD": 20}
