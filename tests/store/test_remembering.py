"""What a transaction has read is asked once, and never shown when it is another by now."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text
from sqlmodel import Session, select, update

from app.domain.roomlog.kinds.incidents import HOLD, TankHeld
from app.services.door import enter
from app.services.rooms import find_room
from app.store.engine import Store, open_to_read
from app.store.remembering import HELD_ROWS, remember
from app.store.sessions import reading, writing
from app.store.tables import TankRow, ThingRow
from app.store.things import thing, things
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

OTHER = '{"tank": "t1", "holds": []}'


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room whose only tank is held."""
    opened = new_store(tmp_path)
    yield _held(opened)
    opened.close()


def _held(store: Store) -> Store:
    furnish(store, tanks=2)
    hold(store, "t1")
    return store


def hold(store: Store, tank: str) -> None:
    """Somebody takes a tank out of use."""
    at = NOW - timedelta(hours=1)
    enter(
        store,
        ROOM,
        [TankHeld(at=at, by="Wren", tank=tank, cause="lead", reason="A seal weeps")],
        NOW,
    )


@contextmanager
def counted(session: Session) -> Iterator[list[str]]:
    """The statements that read, as they are sent."""
    sent: list[str] = []

    def note(_: Any, __: Any, statement: str, *___: Any) -> None:
        if statement.startswith("SELECT"):
            sent.append(statement)

    engine = session.get_bind()
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield sent
    finally:
        event.remove(engine, "before_cursor_execute", note)


def _read_twice(session: Session) -> int:
    """How many statements two looks at the same things take."""
    with counted(session) as sent:
        for _ in range(2):
            assert thing(session, 1, HOLD, "t1").holds
            assert list(things(session, 1, HOLD, only_open=True)) == ["t1"]
            assert session.get(TankRow, (1, "t1")) is not None
    return len(sent)


def test_a_write_asks_once_for_what_it_does_not_change(store: Store) -> None:
    with writing(store) as session:
        assert _read_twice(session) == 3


def test_a_read_asks_once(store: Store) -> None:
    with reading(store) as session:
        assert _read_twice(session) == 4, "the tank's row is let go of"


WRITES: dict[str, Callable[[Session], object]] = {
    "a row that waits to be written": lambda session: setattr(_row(session), "state", OTHER),
    "a row": lambda session: (setattr(_row(session), "state", OTHER), session.flush()),
    "an update": lambda session: session.exec(update(ThingRow).values(state=OTHER)),
    "a statement": lambda session: session.connection().execute(
        text("UPDATE thing SET state = :state"), {"state": OTHER}
    ),
}


def _row(session: Session) -> ThingRow:
    row = session.get(ThingRow, (1, HOLD, "t1"))
    assert row is not None
    return row


@pytest.mark.parametrize("name", WRITES)
def test_what_it_writes_it_reads(store: Store, name: str) -> None:
    with writing(store) as session:
        before = things(session, 1, HOLD)
        assert before["t1"].holds
        WRITES[name](session)
        assert things(session, 1, HOLD)["t1"].holds == ()
        session.rollback()
        assert things(session, 1, HOLD) == before


def test_what_was_only_tried_is_not_remembered(store: Store) -> None:
    """A correction is held against the room without what it replaces, and then with it again."""
    with writing(store) as session:
        with session.begin_nested() as tried:
            WRITES["an update"](session)
            assert things(session, 1, HOLD)["t1"].holds == ()
            tried.rollback()
        assert things(session, 1, HOLD)["t1"].holds
        assert thing(session, 1, HOLD, "t1").holds


def test_what_was_only_tried_is_read_again_in_a_room_of_many_tanks(store: Store) -> None:
    """Rows that were read again while something was tried are not those that stand."""
    with writing(store) as session:
        session.add_all(
            ThingRow(room_id=1, thing="other", key=f"k{n}", moment_us=0, rank=0, sequence=0,
                     entries=1, state="{}")
            for n in range(HELD_ROWS)
        )  # fmt: skip
        session.commit()
        before = thing(session, 1, HOLD, "t1")
        with session.begin_nested() as tried:
            WRITES["a row"](session)
            session.exec(select(ThingRow).where(ThingRow.thing == "other")).all()
            assert thing(session, 1, HOLD, "t1").holds == ()
            tried.rollback()
        assert thing(session, 1, HOLD, "t1") == before


def test_what_is_handed_out_may_be_changed(store: Store) -> None:
    with reading(store) as session:
        things(session, 1, HOLD).clear()
        assert things(session, 1, HOLD)


@pytest.mark.parametrize("is_only_read", [False, True])
def test_the_next_look_sees_what_others_stored(store: Store, is_only_read: bool) -> None:
    beside = open_to_read(f"sqlite:///{store.watch.database}") if store.watch else store
    with reading(beside if is_only_read else store) as session:
        assert list(things(session, 1, HOLD)) == ["t1"]
        session.close()
        hold(store, "t2")
        assert list(things(session, 1, HOLD)) == ["t1", "t2"]
    beside.close()


def test_a_read_of_a_server_that_goes_on_remembers_nothing(postgres_store: Store) -> None:
    """READ COMMITTED: each statement sees what was committed before it (PostgreSQL manual, 13.2.1);
    what is kept under a room's version must be as new as that."""
    _held(postgres_store)
    with reading(postgres_store) as session:
        room_id = find_room(session, ROOM).id or 0
        assert list(things(session, room_id, HOLD)) == ["t1"]
        with Session(postgres_store.writer) as other:
            other.exec(update(ThingRow).values(state=OTHER))
            other.commit()
        assert things(session, room_id, HOLD)["t1"].holds == ()


def test_a_write_of_a_server_asks_once(postgres_store: Store) -> None:
    _held(postgres_store)
    with writing(postgres_store) as session:
        room_id = find_room(session, ROOM).id or 0
        with counted(session) as sent:
            assert things(session, room_id, HOLD) == things(session, room_id, HOLD)
        assert len(sent) == 1
        session.exec(update(ThingRow).values(state=OTHER))
        assert things(session, room_id, HOLD)["t1"].holds == ()
        session.rollback()


def test_no_more_is_remembered_than_a_page_asks_for(store: Store) -> None:
    with reading(store) as session:
        assert [remember(session, number, object) for number in range(5000)]
        known = session.connection().info["remembered"]
        assert len(known) <= 500


def test_an_entry_is_looked_at_once_by_what_refuses_and_what_asks(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.services import harm

    looked: list[object] = []
    look = harm._found
    monkeypatch.setattr(harm, "_found", lambda *given: looked.append(given[2]) or look(*given))
    enter(store, ROOM, [wash(0, "t2")], NOW)
    assert len(looked) == 1
