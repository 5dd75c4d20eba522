"""Books of things: kept in step one entry at a time, and the same whatever the order of entry."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.services.door import Act, enter
from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_room
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.site import crew, site
from app.store.tables import HeadRow
from app.store.things import book, things
from tests.factories import NOW, ROOM, furnish, withdraw


@pytest.fixture
def store(either_store: Store) -> Store:
    """A furnished room, on each of the databases."""
    furnish(either_store)
    return either_store


def rules(days: float, **given: Any) -> SiteRules:
    return SiteRules(at=NOW - timedelta(days=days), site="site", **given)


def state(store: Store) -> Any:
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        assert room.id is not None
        return site(session, room.id)


def test_a_late_entry_gives_what_the_right_order_gives(store: Store) -> None:
    record(store, ROOM, [rules(1, pickup_lead_days=20)], NOW)
    record(store, ROOM, [rules(5, pickup_lead_days=9, solvent_lead_days=3)], NOW)
    assert (state(store).pickup_lead_days, state(store).solvent_lead_days) == (20, 3)


def test_a_withdrawn_entry_leaves_the_book_as_if_it_had_not_been(store: Store) -> None:
    record(store, ROOM, [rules(5, pickup_lead_days=9)], NOW)
    done = record(store, ROOM, [rules(1, pickup_lead_days=20)], NOW)
    withdraw(store, ROOM, done.ids[0], "Wren", "", NOW, None)
    assert state(store).pickup_lead_days == 9
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        rows = book(session, room.id or 0, "site", "site")
    assert [row.voided_by is None for row in rows] == [False, True]


def test_a_correction_takes_the_place_of_what_it_corrects(store: Store) -> None:
    done = record(store, ROOM, [rules(5, pickup_lead_days=9)], NOW)
    record(store, ROOM, [rules(1, pickup_lead_days=20)], NOW)
    fixed = rules(5, pickup_lead_days=8, solvent_lead_days=2, corrects=done.ids[0])
    record(store, ROOM, [fixed], NOW)
    assert (state(store).pickup_lead_days, state(store).solvent_lead_days) == (20, 2)


def test_the_last_entry_withdrawn_leaves_no_thing(store: Store) -> None:
    done = record(store, ROOM, [rules(5, pickup_lead_days=9)], NOW)
    withdraw(store, ROOM, done.ids[0], "Wren", "", NOW, None)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        assert things(session, room.id or 0, "site") == {}


def test_books_are_the_same_when_worked_out_anew(store: Store) -> None:
    people = ["Wren", "Dunlin", "Curlew"]
    members = [CrewMember(at=NOW, crew="crew", name=name, role="technician") for name in people]
    record(store, ROOM, [rules(3, heel_percent=4.0), *members], NOW)
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        before = crew(session, room_id), site(session, room_id)
    rebuild_room(store, ROOM, NOW)
    with Session(store.reader) as session:
        assert (crew(session, room_id), site(session, room_id)) == before


def test_books_move_no_estimate(store: Store) -> None:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        head = session.get_one(HeadRow, room_id).state
    record(store, ROOM, [rules(3, heel_percent=4.0)], NOW)
    with Session(store.reader) as session:
        assert session.get_one(HeadRow, room_id).state == head


def test_a_decision_is_made_once_for_a_submission(store: Store) -> None:
    asked = []

    def decide(session: Session, room: Any) -> list[SiteRules]:
        asked.append(site(session, room.id).pickup_lead_days)
        return [rules(0, pickup_lead_days=asked[-1] + 1)]

    first = enter(store, ROOM, Act(decide, {"what": "longer"}), NOW, "key")
    again = enter(store, ROOM, Act(decide, {"what": "longer"}), NOW, "key")
    assert again.ids == first.ids
    assert again.is_replayed
    assert (len(asked), state(store).pickup_lead_days) == (1, asked[0] + 1)
    with pytest.raises(Conflict):
        enter(store, ROOM, Act(decide, {"what": "shorter"}), NOW, "key")


def test_a_refusal_stores_nothing_and_leaves_the_key_free(store: Store) -> None:
    def refuse(*_: Any) -> list[SiteRules]:
        raise FieldErrors([FieldError("pickup_lead_days", "No.")])

    with pytest.raises(FieldErrors):
        enter(store, ROOM, Act(refuse, {}), NOW, "key")
    done = enter(store, ROOM, Act(lambda *_: [rules(0, pickup_lead_days=10)], {}), NOW, "key")
    assert len(done.ids) == 1
