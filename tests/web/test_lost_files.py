"""The files of the database are replaced, cut or removed while the program runs."""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.store.engine import Store
from tests.factories import ROOM

NAME = "bathkeeper.sqlite3"
WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5}


def stored(client: TestClient) -> int:
    """Status of the answer to a wash."""
    return client.post(f"/api/v1/rooms/{ROOM}/entries", json=WASH).status_code


def washes_in(folder: Path) -> int:
    """How many washes somebody else finds in the folder's database."""
    with closing(sqlite3.connect(folder / NAME)) as connection:
        query = "SELECT count(*) FROM entry WHERE kind = 'wash'"
        count: int = connection.execute(query).fetchone()[0]
        return count


def empty_log(store: Store) -> None:
    """Have all that was stored in the file itself, as it comes after some hundred washes."""
    connection = store.writer.raw_connection()
    connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def remove(folder: Path) -> None:
    (folder / NAME).rename(folder / "moved")


def replace_by_copy(folder: Path) -> None:
    shutil.copy(folder / NAME, folder / "copy")
    (folder / "copy").replace(folder / NAME)


def put_backup_into_place(folder: Path) -> None:
    (folder / NAME).write_bytes((folder / "backup").read_bytes())


def cut(folder: Path) -> None:
    with (folder / NAME).open("r+b") as file:
        file.truncate(8192)


def empty(folder: Path) -> None:
    (folder / NAME).write_bytes(b"")


def put_another_into_place(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "other")) as other:
        other.executescript("CREATE TABLE t (x); PRAGMA user_version=7;")
        other.execute("INSERT INTO t VALUES (zeroblob(9000000))")
        other.commit()
    (folder / NAME).write_bytes((folder / "other").read_bytes())


def zero_pages(folder: Path) -> None:
    with (folder / NAME).open("r+b") as file:
        file.seek(5 * 4096)
        file.write(bytes(60 * 4096))


def remove_log(folder: Path) -> None:
    (folder / f"{NAME}-wal").unlink()


def replace_log(folder: Path) -> None:
    shutil.copy(folder / f"{NAME}-wal", folder / "log")
    (folder / "log").replace(folder / f"{NAME}-wal")


@pytest.mark.parametrize(
    "harm",
    [
        remove, replace_by_copy, put_backup_into_place, cut, empty, put_another_into_place,
        remove_log, replace_log,
    ],
    ids=lambda harm: harm.__name__,
)  # fmt: skip
def test_nothing_is_acknowledged_that_is_not_in_the_file(
    client: TestClient, store: Store, tmp_path: Path, harm: Callable[[Path], None]
) -> None:
    empty_log(store)
    shutil.copy(tmp_path / NAME, tmp_path / "backup")
    for _ in range(3):
        assert stored(client) == 201
    empty_log(store)
    assert stored(client) == 201
    harm(tmp_path)
    answers = [stored(client) for _ in range(3)]
    assert answers == [503, 503, 503]
    form = {"resin": "slate", "parts": "3"}
    page = client.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data=form)
    assert page.status_code == 503
    assert "while the program ran" in page.text
    assert "Stop the program, put the right file in place" in page.text


def test_nothing_is_acknowledged_in_a_damaged_file(
    client: TestClient, store: Store, tmp_path: Path
) -> None:
    assert stored(client) == 201
    empty_log(store)
    assert stored(client) == 201
    zero_pages(tmp_path)
    quiet = TestClient(client.app, base_url="http://room.test", raise_server_exceptions=False)
    assert all(stored(quiet) >= 500 for _ in range(3))  # SQLite itself may find it first
    quiet.close()


@pytest.mark.parametrize("harm", [remove, replace_by_copy, cut, empty])
def test_nothing_is_shown_of_a_file_that_is_gone(
    client: TestClient, store: Store, tmp_path: Path, harm: Callable[[Path], None]
) -> None:
    assert stored(client) == 201
    empty_log(store)
    assert client.get(f"/rooms/{ROOM}").status_code == 200
    harm(tmp_path)
    page = client.get(f"/rooms/{ROOM}")
    assert page.status_code == 503
    assert "while the program ran" in page.text
    assert client.get(f"/api/v1/rooms/{ROOM}/tanks").status_code == 503


def test_the_file_put_back_is_used_again(client: TestClient, store: Store, tmp_path: Path) -> None:
    assert stored(client) == 201
    remove(tmp_path)
    assert stored(client) == 503
    (tmp_path / "moved").rename(tmp_path / NAME)
    assert stored(client) == 201
    assert washes_in(tmp_path) == 2
    with Session(store.reader) as session:
        assert session.connection().exec_driver_sql("PRAGMA quick_check").scalar() == "ok"


def test_another_program_of_ours_may_write_between(
    client: TestClient, store: Store, tmp_path: Path
) -> None:
    """An import from the command line, say: it moves the log into the file when it ends."""
    from app.services.door import bring_in
    from tests.factories import NOW, wash
    from tests.store.test_soundness import move_log_into_file, opened

    for number in range(4):
        assert stored(client) == 201
        other = opened(tmp_path)
        bring_in(other, ROOM, [wash(days=number + 1)], NOW)
        move_log_into_file(other)
        other.close()
    assert stored(client) == 201
    empty_log(store)
    assert stored(client) == 201
    assert washes_in(tmp_path) == 10
