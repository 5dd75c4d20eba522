"""Several servers on one PostgreSQL database: what one keeps in memory follows the others."""

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlmodel import Session

from app import main
from app.config import Settings
from app.domain.roomlog.kinds import TopUp
from app.services import door
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import enter
from app.services.inspections import photos
from app.services.rooms import find_room
from app.services.spend import mass_balance, reports
from app.store import across
from app.store.engine import Store, open_store
from app.store.instants import to_us
from app.store.migrations import HEAD, present_revision, upgrade
from app.store.photos import PhotoFolder
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
    """The last entry and their number stay as they were: neither tells of a change before it."""
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
        past = mass_balance._past(session, room_id, 0, to_us(NOW))
    return sum(isinstance(one, TopUp) for one in past.entries)


def test_work_in_the_background_is_done_by_one_server_at_a_time(
    servers: tuple[Store, Store],
) -> None:
    one, two = servers
    with across.on_one_server(one, "forecasts") as is_mine:
        assert is_mine
        with across.on_one_server(two, "forecasts") as is_others:
            assert not is_others
        with across.on_one_server(two, "photos") as is_others:
            assert is_others, "other work waits for nobody"
    with across.on_one_server(two, "forecasts") as is_mine:
        assert is_mine, "it was given back"


def test_summaries_are_written_and_sent_by_one_server(
    servers: tuple[Store, Store], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Store] = []
    is_asked, may_end = threading.Event(), threading.Event()

    def write_due(store: Store, *_: Any) -> None:
        asked.append(store)
        is_asked.set()
        assert may_end.wait(30)

    monkeypatch.setattr(reports, "write_due", write_due)
    settings = Settings(data_dir=tmp_path, summary_dir=tmp_path)
    first = threading.Thread(target=main.write_summaries, args=(servers[0], settings, NOW))
    first.start()
    assert is_asked.wait(30)
    main.write_summaries(servers[1], settings, NOW)
    may_end.set()
    first.join()
    assert asked == [servers[0]]


def test_photos_of_a_shared_folder_are_looked_through_once_a_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked: list[PhotoFolder] = []
    monkeypatch.setattr(photos, "check", lambda folder, _: checked.append(folder) or [])
    settings, is_over = Settings(data_dir=tmp_path), threading.Event()
    (tmp_path / "photos").mkdir()
    for _ in range(2):  # one server after the other
        main.check_photos_when_due(settings, is_over)
    assert len(checked) == 1


def test_servers_that_start_at_once_on_an_empty_database_migrate_it_once(
    postgres_url: str,
) -> None:
    stores = [open_store(postgres_url) for _ in range(3)]
    with ThreadPoolExecutor(3) as pool:
        list(pool.map(upgrade, stores))
    for store in stores:
        with store.reader.connect() as connection:
            assert present_revision(connection) == HEAD
        store.close()


def test_word_goes_to_the_others_at_the_commit_and_not_of_what_is_rolled_back(
    servers: tuple[Store, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = servers
    heard: list[str | None] = []
    is_over = threading.Event()
    listener = threading.Thread(target=across.listen, args=(two, heard.append, is_over))
    listener.start()
    assert soon(lambda: heard == [None]), "all pages read anew once a server begins to hear"
    with Session(one.writer) as session:
        across.tell(session, one, "lost")
        session.rollback()
    monkeypatch.setattr(across, "_ME", "another")  # as another process would be called
    with Session(one.writer) as session:
        _say(session, "somebody", "kept")
    assert soon(lambda: heard == [None, "kept"])
    with Session(one.writer) as session:  # the connection is cut: it is opened again
        session.execute(
            text(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND query LIKE 'LISTEN%'"
            )
        )
    assert soon(lambda: heard == [None, "kept", None])
    is_over.set()
    listener.join()


def _say(session: Session, sender: str, room: str) -> None:
    word = {"channel": across.CHANNEL, "word": f"{sender} {room}"}
    session.execute(text("SELECT pg_notify(:channel, :word)"), word)
    session.commit()


def soon(what: Callable[[], bool], within_s: float = 20) -> bool:
    """Whether something comes true in time."""
    give_up_at_s = time.monotonic() + within_s
    while not what():
        if time.monotonic() > give_up_at_s:
            return False
        time.sleep(0.02)
    return True
