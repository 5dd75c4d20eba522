"""Several servers on one PostgreSQL database: what each keeps in memory follows what others write."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds import TopUp
from app.services import door
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import enter
from app.services.rooms import find_room
from app.services.spend import mass_balance
from app.store.engine import Store, open_store
from app.store.instants import to_us
from app.store.sessions import reading
from app.store.tables import RoomRow
from tests.factories import NOW, ROOM, furnish, tank, wash
from tests.services.law import check

pytestmark = pytest.mark.postgres


@pytest.fixture
def servers(postgres_store: Store) -> Iterator[tuple[Store, Store]]:
    """Two open databases on one: what one keeps in memory, the other does not know."""
    furnish(postgres_store, tanks=2)
    url = postgres_store.writer.url.render_as_string(hide_password=False)
    other = open_store(url)
    yield postgres_store, other
    other.close()


def test_a_wash_on_one_server_builds_on_what_the_other_corrected(
    servers: tuple[Store, Store],
) -> None:
    """The last entry and their number stay as they were, so neither tells that an earlier changed."""
    one, two = servers
    first, last = replace(wash(3), id="first"), replace(wash(2), id="last")
    enter(one, ROOM, [first], NOW)
    enter(one, ROOM, [last], NOW)
    corrected = replace(first, id="set-right", area_cm2=9_000.0, corrects="first")
    enter(two, ROOM, [corrected], NOW)
    enter(one, ROOM, [wash(1)], NOW)
    check(one, ROOM)
    check(two, ROOM)


def test_an_entry_committed_after_one_with_a_larger_number_is_seen(
    servers: tuple[Store, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    """PostgreSQL hands numbers out as they are asked for, not as transactions end (its manual,
    sequence functions): looked for behind the last row that was seen, the slow one is missed."""
    one, two = servers
    add_room(two, RoomForm(name="Other", key="other"), NOW)
    has_number, may_end = threading.Event(), threading.Event()
    project = door.project

    def slowly(session: Any, store: Store, room: RoomRow, *rest: Any) -> None:
        if room.key == ROOM:
            has_number.set()
            assert may_end.wait(30)
        project(session, store, room, *rest)

    monkeypatch.setattr(door, "project", slowly)
    late = TopUp(at=NOW - timedelta(days=2), id="slow", tank="t1", volume_l=1.0)
    slow = threading.Thread(target=door.enter, args=(one, ROOM, [late], NOW))
    slow.start()
    assert has_number.wait(30)
    door.enter(two, "other", [replace(tank("t1"), id="quick")], NOW)
    before = _topped_up(two)
    may_end.set()
    slow.join()
    assert _topped_up(two) == before + 1


def _topped_up(store: Store) -> int:
    """How many top-ups the balance of solvents knows of."""
    with reading(store) as session:
        room_id = find_room(session, ROOM).id or 0
        past = mass_balance._past(session, room_id, 0, to_us(NOW))  # noqa: SLF001
    return sum(isinstance(one, TopUp) for one in past.entries)
