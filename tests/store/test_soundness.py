"""A database that was lost, emptied, damaged or mixed up is refused in words, and left as it is."""

import shutil
import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from app.cli import main
from app.services.door import bring_in
from app.store import files
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.watching import FileChanged, Watch
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

NAME = "bathkeeper.sqlite3"
MARK = f"{NAME}.in-use"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a database that was closed in good order."""
    folder = tmp_path_factory.mktemp("kept")
    store = new_store(folder)
    furnish(store)
    store.close()
    return folder


@pytest.fixture
def folder(kept: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    shutil.copytree(kept, tmp_path / "data")
    return tmp_path / "data"


def refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What the program says when it refuses a folder, which it leaves as it is."""
    before = contents(folder)
    assert main(["rooms", "--data", str(folder)]) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "Traceback" not in captured.err
    assert contents(folder) == before
    return captured.err


def contents(folder: Path) -> dict[str, bytes]:
    """What is in a folder, but for the index of the log, which SQLite makes anew as it likes."""
    found = {path.name: path.read_bytes() for path in folder.iterdir()}
    return {name: held for name, held in found.items() if held and not name.endswith("-shm")}


def test_a_sound_database_is_opened(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rooms", "--data", str(folder)]) == 0
    assert "test-room" in capsys.readouterr().out


def test_zeroed_pages_are_found(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = (folder / NAME).read_bytes()
    for page in range(1, len(whole) // 4096, 7):
        start = page * 4096
        (folder / NAME).write_bytes(whole[:start] + bytes(4096) + whole[start + 4096 :])
        said = refused(folder, capsys)
        assert "is damaged" in said
        assert "from a backup" in said


def test_an_emptied_database_is_no_new_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / NAME).write_bytes(b"")
    assert f"{NAME} is empty. Put the file back from a backup" in refused(folder, capsys)
    (folder / MARK).unlink()  # also in a folder of a version that left no mark
    assert f"{NAME} is empty" in refused(folder, capsys)


def test_a_vanished_database_is_no_new_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / NAME).unlink()
    said = refused(folder, capsys)
    assert f"{NAME} is missing, and there was one" in said
    assert f"remove {MARK} too" in said
    words = ["import", str(folder / "x.jsonl"), "--room", "r", "--create", "--data", str(folder)]
    assert main(words) == 1
    assert "is missing" in capsys.readouterr().err
    (folder / MARK).unlink()
    store = new_store(folder)
    store.close()
    assert main(["rooms", "--data", str(folder)]) == 0


def test_a_database_without_its_tables_is_no_new_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / NAME).unlink()
    with closing(sqlite3.connect(folder / NAME)) as other:
        other.executescript("CREATE TABLE t (x); DROP TABLE t;")
    assert "is now empty" in refused(folder, capsys)


def test_a_cut_off_database_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = (folder / NAME).read_bytes()
    (folder / NAME).write_bytes(whole[: len(whole) // 2])
    assert "is cut off" in refused(folder, capsys)
    (folder / NAME).write_bytes(whole[:50])
    assert "is not a database" in refused(folder, capsys)
    (folder / NAME).write_bytes(bytes(4096) + whole[4096:])
    assert "its start is damaged" in refused(folder, capsys)


@pytest.mark.parametrize(
    "script",
    [
        "CREATE TABLE notes (text); PRAGMA application_id=1234;",
        "CREATE TABLE notes (text);",
        "CREATE TABLE alembic_version (version_num); CREATE TABLE entry (x);"
        "INSERT INTO alembic_version VALUES ('0001');",
    ],
)
def test_the_database_of_another_program_is_not_touched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], script: str
) -> None:
    with closing(sqlite3.connect(tmp_path / NAME)) as other:
        other.executescript(script)
    assert "belongs to another program" in refused(tmp_path, capsys)


def test_a_database_of_an_older_version_is_taken_and_marked(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(folder / NAME)) as connection:
        connection.executescript("PRAGMA user_version=0; PRAGMA application_id=0;")
    (folder / MARK).unlink()
    assert main(["rooms", "--data", str(folder)]) == 0
    assert "test-room" in capsys.readouterr().out
    assert "To start empty" in (folder / MARK).read_text()
    log_one(folder)
    header = files.header_of(folder / NAME)
    assert header is not None
    assert header.application_id == files.APPLICATION_ID
    assert header.count > 0


def opened(folder: Path) -> Store:
    return open_store(f"sqlite:///{folder / NAME}")


def log_wash(store: Store) -> None:
    bring_in(store, ROOM, [wash(days=1)], NOW)


def log_one(folder: Path) -> None:
    store = opened(folder)
    log_wash(store)
    store.close()


def move_log_into_file(store: Store) -> None:
    """A checkpoint: the log begins anew with the next transaction."""
    connection: Any = store.writer.raw_connection()
    connection.cursor().execute("PRAGMA wal_checkpoint(RESTART)")
    connection.close()


def copy_of_killed(folder: Path, to: Path) -> None:
    """The files as they lie there when the program dies now."""
    shutil.copytree(folder, to)


def washes(folder: Path) -> int:
    store = opened(folder)
    with store.reader.connect() as connection:
        count = connection.execute(text("SELECT count(*) FROM entry WHERE kind = 'wash'")).scalar()
    store.close()
    assert isinstance(count, int)
    return count


def test_what_was_in_the_log_is_there_after_a_crash(folder: Path, tmp_path: Path) -> None:
    before = washes(folder)
    store = opened(folder)
    for number in range(6):
        log_wash(store)
        if number in (1, 4):
            move_log_into_file(store)
    copy_of_killed(folder, tmp_path / "killed")
    store.close()
    assert (tmp_path / "killed" / f"{NAME}-wal").stat().st_size
    assert washes(tmp_path / "killed") == before + 6


def test_the_log_of_another_database_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "other").mkdir()
    store = opened(tmp_path / "other")
    upgrade(store)  # no copy: it has begun its count for itself
    furnish(store)
    for ending in ("-wal", "-shm"):
        shutil.copy(tmp_path / "other" / f"{NAME}{ending}", folder)
    store.close()
    said = refused(folder, capsys)
    assert f"{NAME}-wal belongs to a different file" in said
    assert f"move {NAME}-wal and {NAME}-shm elsewhere" in said


def test_a_backup_beside_the_log_of_a_later_day_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    backup = (folder / NAME).read_bytes()
    store = opened(folder)
    for _ in range(3):
        log_wash(store)
        move_log_into_file(store)
    log_wash(store)
    copy_of_killed(folder, tmp_path / "killed")
    store.close()
    (tmp_path / "killed" / NAME).write_bytes(backup)
    assert "belongs to a different file" in refused(tmp_path / "killed", capsys)


def test_a_later_file_beside_the_log_of_a_backup_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = opened(folder)
    log_wash(store)
    copy_of_killed(folder, tmp_path / "killed")
    for _ in range(3):
        log_wash(store)
    store.close()
    shutil.copy(folder / NAME, tmp_path / "killed")
    assert "belongs to a different file" in refused(tmp_path / "killed", capsys)


def test_a_backup_beside_all_that_followed_it_is_taken(folder: Path, tmp_path: Path) -> None:
    before = washes(folder)
    backup = (folder / NAME).read_bytes()
    store = opened(folder)
    log_wash(store)
    log_wash(store)
    copy_of_killed(folder, tmp_path / "killed")
    store.close()
    (tmp_path / "killed" / NAME).write_bytes(backup)
    assert washes(tmp_path / "killed") == before + 2


def test_a_log_without_its_database_is_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = opened(folder)
    log_wash(store)
    (tmp_path / "new").mkdir()
    shutil.copy(folder / f"{NAME}-wal", tmp_path / "new")
    store.close()
    words = ["import", "x.jsonl", "--room", "r", "--create", "--data", str(tmp_path / "new")]
    assert main(words) == 1
    assert f"{NAME}-wal is here without its database" in capsys.readouterr().err


def test_a_journal_of_another_file_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / f"{NAME}-journal").write_bytes(bytes.fromhex("d9d505f920a163d7") + bytes(600))
    assert f"{NAME}-journal belongs to a different file" in refused(folder, capsys)


def test_the_index_of_another_log_does_no_harm(folder: Path) -> None:
    before = washes(folder)
    (folder / f"{NAME}-shm").write_bytes(bytes(range(256)) * 128)
    assert washes(folder) == before


def test_the_log_of_a_transaction_that_was_not_finished_is_no_bar(
    folder: Path, tmp_path: Path
) -> None:
    before = washes(folder)
    store = opened(folder)
    with store.writer.connect() as connection:
        connection.execute(text("PRAGMA cache_size=1"))  # so that pages go to the log early
        connection.execute(
            text(
                "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < 3000) "
                "INSERT INTO submission (key, fingerprint, answer, at_us) "
                "SELECT 'k' || x, '', printf('%2000d', x), 0 FROM n"
            )
        )
        copy_of_killed(folder, tmp_path / "killed")
    store.close()
    assert (tmp_path / "killed" / f"{NAME}-wal").stat().st_size > 4096
    assert washes(tmp_path / "killed") == before


def test_a_long_log_that_is_moved_into_the_file_cuts_nothing_off(tmp_path: Path) -> None:
    """SQLite moves the pages of a log in their order, the first one, which says how many there are,
    before those that make the file longer (https://www.sqlite.org/fileformat2.html, 1.3.7)."""
    database = tmp_path / NAME
    with closing(sqlite3.connect(database)) as made:
        for pragma in (f"application_id={files.APPLICATION_ID}", "user_version=5"):
            made.execute(f"PRAGMA {pragma}")
        made.execute("CREATE TABLE one (content BLOB)")
        made.commit()
        small = database.read_bytes()
        made.execute("INSERT INTO one VALUES (zeroblob(600000))")
        made.execute("PRAGMA user_version=6")
        made.commit()
    whole = database.read_bytes()
    database.write_bytes(small)
    log = database.with_name(f"{NAME}-wal")
    log.write_bytes(files.LOG_MAGICS[0].to_bytes(4) + bytes(100))
    watch = Watch(database)

    def move() -> None:
        with database.open("r+b", buffering=0) as file:
            for place in range(0, len(whole), 4096):
                file.seek(place)
                file.write(whole[place : place + 4096])
                time.sleep(0.005)

    mover = threading.Thread(target=move)
    mover.start()
    while mover.is_alive():
        watch.look()
    mover.join()
    log.unlink()
    with database.open("r+b") as file:
        file.truncate(len(whole) - 4096)
    with pytest.raises(FileChanged, match="was cut off"):
        watch.look()
    watch.close()
