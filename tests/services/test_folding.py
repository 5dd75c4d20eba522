"""States of things kept on the way: a late entry folds a stretch, with the result of all of it."""

from dataclasses import replace
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.folds import EVERY
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    Item,
    OrderPlaced,
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.supplies.ledger import ITEM_BOOK
from app.domain.things import steps
from app.services.door import bring_in as record
from app.services.entries import entry_of, place_of
from app.services.rebuilding import rebuild_room
from app.services.rooms import find_room
from app.store import migrations
from app.store.engine import Store
from app.store.migrations import upgrade
from app.store.tables import EntryRow, LinkRow, ThingCheckpointRow, ThingRow
from app.store.things import adapter
from tests.factories import NOW, ROOM, furnish, withdraw
from tests.furnished import new_store

NUMBERS = count()
DAYS = 200


@pytest.fixture
def store(either_store: Store) -> Store:
    """A furnished room, on each of the databases."""
    furnish(either_store)
    return either_store


def entry(key: str, what: str, day: float, amount: int) -> Entry:
    at = NOW - timedelta(days=day)
    header: dict[str, Any] = {"at": at, "item": key, "quantity": amount}
    if what == "received":
        expires_on = (at + timedelta(days=40)).date()
        return StockReceived(**header, lot=f"L{amount % 7}", price_cents=amount * 37,
                             expires_on=expires_on)  # fmt: skip
    if what == "ordered":
        return OrderPlaced(**header, order=f"o{amount}")
    if what == "scrapped":
        return StockScrapped(**header, reason="damaged")
    if what == "counted":
        return StockCounted(**header)
    return StockUsed(**header, purpose="hand_out")


def in_book(session: Session, room_id: int, key: str) -> list[tuple[Any, Entry]]:
    """All entries of an item that count, in the order of truth, read without the folding."""
    rows = session.exec(
        select(EntryRow)
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(LinkRow.room_id == room_id, LinkRow.thing == "item", LinkRow.key == key)
    )
    pairs = [(place_of(row), entry_of(row)) for row in rows if row.voided_by is None]
    return sorted(pairs, key=lambda pair: pair[0])


def as_json(state: Any) -> str:
    return adapter("item").dump_json(state).decode()


def check_against_full_fold(store: Store, key: str) -> int:
    """The item's state and every state kept on the way are those of folding from the start."""
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        pairs = in_book(session, room_id, key)
        row = session.get(ThingRow, (room_id, "item", key))
        of_item = ThingCheckpointRow.thing == "item", ThingCheckpointRow.key == key
        kept = session.exec(select(ThingCheckpointRow).where(*of_item)).all()
        if not pairs:
            assert row is None
            assert not kept
            return 0
        assert row is not None
        assert (place_of(row), row.entries) == (pairs[-1][0], len(pairs))
        states = [state for _, state in steps(ITEM_BOOK, key, [one for _, one in pairs])]
        assert row.state == as_json(states[-1])
        for one in kept:
            assert place_of(one) == pairs[one.entries - 1][0]
            assert one.state == as_json(states[one.entries - 1])
        return len(kept)


def long_book(store: Store, entries: int, key: str = "gloves") -> None:
    at = NOW - timedelta(days=DAYS)
    many: list[Entry] = [Item(at=at, item=key, name="Gloves", unit="pair", category="protection")]
    step = timedelta(days=DAYS) / (entries + 2)
    for number in range(1, entries):
        kind: Any = StockReceived if number % 9 == 1 else StockUsed
        more = {"lot": f"L{number}"} if kind is StockReceived else {}
        quantity = 9 if kind is StockReceived else 1
        many.append(kind(at=at + number * step, item=key, quantity=quantity, **more))
    record(store, ROOM, many, NOW)


def counting(monkeypatch: pytest.MonkeyPatch) -> list[Entry]:
    """The entries that items take in from now on."""
    taken: list[Entry] = []

    def apply(state: Any, one: Entry) -> Any:
        taken.append(one)
        return ITEM_BOOK.apply(state, one)

    monkeypatch.setitem(THINGS, "item", replace(ITEM_BOOK, apply=apply))  # type: ignore[arg-type]
    return taken


def test_a_late_entry_folds_little_more_than_its_own_age(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    long_book(store, 3000)
    kept = check_against_full_fold(store, "gloves")
    assert 20 < kept < 60
    taken = counting(monkeypatch)
    for share in (0.01, 0.2, 0.6):
        taken.clear()
        record(store, ROOM, [entry("gloves", "used", DAYS * share, 1)], NOW)
        age = 3000 * share
        assert age <= len(taken) <= age * 9 / 8 + 2 * EVERY
    check_against_full_fold(store, "gloves")


def test_an_entry_at_the_end_is_one_step(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    long_book(store, 400)
    taken = counting(monkeypatch)
    record(store, ROOM, [entry("gloves", "used", 0, 1)], NOW)
    assert len(taken) == 1


def test_a_withdrawn_entry_does_not_come_back_from_a_kept_state(store: Store) -> None:
    long_book(store, 130)
    extra = record(store, ROOM, [entry("gloves", "received", 150, 30)], NOW)
    withdraw(store, ROOM, extra.ids[0], "Wren", "", NOW, None)
    check_against_full_fold(store, "gloves")


def test_what_is_kept_on_the_way_is_the_same_worked_out_anew(store: Store) -> None:
    long_book(store, 700)
    record(store, ROOM, [entry("gloves", "used", 100, 1)], NOW)
    rebuild_room(store, ROOM, NOW)
    assert check_against_full_fold(store, "gloves") > 5


def test_small_books_keep_nothing_on_the_way(store: Store) -> None:
    long_book(store, EVERY - 1)
    assert check_against_full_fold(store, "gloves") == 0


def test_a_database_of_the_form_before_counts_its_books_and_goes_on(tmp_path: Path) -> None:
    from alembic import command

    store = new_store(tmp_path)
    furnish(store)
    long_book(store, 60)
    done = record(store, ROOM, [entry("gloves", "used", 50, 1)], NOW)
    withdraw(store, ROOM, done.ids[0], "Wren", "", NOW, None)
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), "0002")
    with store.writer.begin() as connection:
        names = {row[1] for row in connection.execute(text("PRAGMA table_info(thing)"))}
        assert "entries" not in names
    assert upgrade(store)
    assert check_against_full_fold(store, "gloves") == 0
    record(store, ROOM, [entry("gloves", "used", 120, 1)], NOW)
    assert check_against_full_fold(store, "gloves") == 1
    store.close()
