"""What a supervisor is told, and that it is true: each fault is made, and seen."""

import io
import json
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.cli import main as command
from app.config import Settings
from app.domain.roomlog.kinds.site import ARCHIVE, RoomArchived
from app.services import health
from app.services.door import bring_in
from app.services.health import examination
from app.services.inspections.photos import keep
from app.services.people.accounts import make_first_manager
from app.services.people.throttling import Client
from app.store.backups import back_up
from app.store.engine import Store, open_store
from app.store.photos import PhotoFolder
from tests.factories import NOW, ROOM, wash
from tests.photos import photo

NAME = "bathkeeper.sqlite3"


def checks(client: TestClient, path: str) -> tuple[int, dict[str, str]]:
    answer = client.get(path)
    assert answer.headers["cache-control"] == "no-store"
    return answer.status_code, answer.json()["checks"]


def test_a_program_that_works_says_so(client: TestClient) -> None:
    assert client.get("/healthz").json()["status"] == "ok"
    status, found = checks(client, "/readyz")
    assert status == 200
    assert set(found) == {"database_reads", "database_writes", "data_folder"}
    assert client.head("/readyz").status_code == 200


def test_work_in_the_background_that_has_ended_is_told(client: TestClient) -> None:
    thread = threading.Thread(target=lambda: None, name="photos")
    thread.start()
    thread.join()
    client.app.state.threads.append(thread)  # type: ignore[attr-defined]
    status, found = checks(client, "/healthz")
    assert (status, found["thread photos"]) == (503, "it has ended")


def test_threads_that_answer_nothing_are_told(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.web.health.ANSWERED_WITHIN_S", 0.1)
    is_over = threading.Event()
    monkeypatch.setattr("app.web.health.ping", lambda _: is_over.wait(20))
    status, found = checks(client, "/healthz")
    is_over.set()
    assert (status, found["requests"]) == (503, "nothing was answered in time")


@pytest.fixture
def writer(tmp_path: Path, client: TestClient) -> Iterator[sqlite3.Connection]:  # noqa: ARG001
    """Another program that writes, and does not end."""
    with closing(sqlite3.connect(tmp_path / NAME, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield other


def test_a_database_that_takes_no_writes_is_not_ready(
    client: TestClient, writer: sqlite3.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "WITHIN_MS", 50)
    status, found = checks(client, "/readyz")
    assert status == 503
    assert found["database_reads"] == "ok"
    assert "busy" in found["database_writes"]
    assert client.get("/healthz").status_code == 200  # a restart would not help
    writer.execute("ROLLBACK")
    assert client.get("/readyz").status_code == 200


def test_a_database_that_is_gone_is_not_ready(client: TestClient, tmp_path: Path) -> None:
    (tmp_path / NAME).rename(tmp_path / "moved")
    status, found = checks(client, "/readyz")
    assert status == 503
    assert "while the program ran" in found["database_reads"]
    (tmp_path / "moved").rename(tmp_path / NAME)
    assert client.get("/readyz").status_code == 200


def test_a_database_of_another_form_is_not_ready(client: TestClient, store: Store) -> None:
    with store.writer.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
    store.committed()
    status, found = checks(client, "/readyz")
    assert status == 503
    assert "form 0001" in found["database_reads"]


def test_a_disk_that_is_nearly_full_is_not_ready(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "LEAST_FREE_BYTES", 2**62)
    status, found = checks(client, "/readyz")
    assert status == 503
    assert "nearly full" in found["data_folder"]


def test_asking_stores_nothing(client: TestClient, tmp_path: Path) -> None:
    def count() -> Any:
        with closing(sqlite3.connect(tmp_path / NAME)) as connection:
            return connection.execute("PRAGMA user_version").fetchone()

    before = count()
    for _ in range(5):
        assert client.get("/readyz").status_code == 200
    assert count() == before
    assert not (tmp_path / ".ready").exists()


def told(data: Path, **more: Any) -> dict[str, str]:
    """What doctor finds wrong."""
    settings = Settings(data_dir=data, **more)
    return {one.name: one.words for one in examination(settings, NOW) if not one.is_well}


@pytest.fixture
def well(client: TestClient, tmp_path: Path) -> Path:  # noqa: ARG001
    """A data folder with nothing wrong, in use."""
    keep(PhotoFolder(tmp_path), io.BytesIO(photo()))
    back_up(tmp_path, tmp_path / "backups", NOW)
    assert told(tmp_path) == {}
    return tmp_path


def cut_database(data: Path) -> None:
    path = data / NAME
    path.write_bytes(path.read_bytes()[:9000])


def remove_database(data: Path) -> None:
    (data / NAME).unlink()


def damage_photo(data: Path) -> None:
    path = next((data / "photos").glob("??/*-view.jpg"))
    path.write_bytes(b"")


def change(data: Path, words: str, *values: Any) -> None:
    """Change what is stored, as a transaction of the program's own, which counts itself."""
    with closing(sqlite3.connect(data / NAME)) as connection:
        count = connection.execute("PRAGMA user_version").fetchone()[0]
        connection.execute(words, values)
        connection.execute(f"PRAGMA user_version={count + 1}")
        connection.commit()


def lose_photo(data: Path) -> None:
    change(data, "UPDATE entry SET fields = ?", json.dumps({"photo": "ab" * 32}))


def lose_backups(data: Path) -> None:
    (data / "backups").rename(data / "elsewhere")


def set_clock(data: Path) -> None:
    later = int(NOW.timestamp() * 1e6) + 86_400_000_000
    change(data, "UPDATE room SET last_recorded_us = ?", later)


def leave_forecast(data: Path) -> None:
    since = int(NOW.timestamp() * 1e6) - 61_000_000
    change(data, "UPDATE tank SET forecast_due_us = ?, forecast_due_version = 1", since)


@pytest.mark.parametrize(
    "harm, name, words",
    [
        (cut_database, "Database", "cut off"),
        (remove_database, "Database", "is missing, and there was one"),
        (damage_photo, "Photos", "1 are damaged or lost"),
        (lose_photo, "Photos", "abababababab"),
        (lose_backups, "Backups", "python3 -m app backup"),
        (set_clock, "Clock", "Check this machine's clock"),
        (leave_forecast, "Forecasts", "have not followed the log since 2026-03-02 11:58 UTC"),
    ],
    ids=["cut", "removed", "photo", "lost photo", "not a backup", "clock", "forecast"],
)
def test_doctor_says_what_is_wrong(
    well: Path, harm: Callable[[Path], None], name: str, words: str
) -> None:
    harm(well)
    assert words in told(well)[name]


def test_doctor_waits_a_minute_for_a_forecast(well: Path) -> None:
    since = int(NOW.timestamp() * 1e6) - 59_000_000
    change(well, "UPDATE tank SET forecast_due_us = ?, forecast_due_version = 1", since)
    assert told(well) == {}


def test_doctor_does_not_doubt_the_clock_for_an_archived_room_that_rests(
    store: Store, well: Path
) -> None:
    later = NOW + timedelta(days=200)

    def doubted() -> bool:
        return any(one.name == "Clock" for one in examination(Settings(data_dir=well), later))

    bring_in(store, ROOM, [wash(days=1)], NOW)
    assert doubted()
    word = RoomArchived(at=NOW, archive=ARCHIVE, room_name="Larkmoor")
    bring_in(store, ROOM, [word], NOW)
    assert not doubted()


def test_doctor_says_that_backups_have_stopped(well: Path) -> None:
    later = {one.name: one for one in examination(Settings(data_dir=well), NOW + timedelta(days=3))}
    assert "too long ago" in later["Backups"].words
    assert not later["Backups"].is_well


def test_the_command_says_it_and_changes_nothing(
    well: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.cli.doctor.utc_now", lambda: NOW)
    assert command(["doctor", "--data", str(well)]) == 0
    assert "Nothing is wrong." in capsys.readouterr().out
    damage_photo(well)
    before = sorted(path.name for path in well.rglob("*"))
    assert command(["doctor", "--data", str(well)]) == 1
    said = capsys.readouterr().out
    assert "WRONG  Photos:" in said
    assert sorted(path.name for path in well.rglob("*")) == before


def test_doctor_says_whether_people_sign_in(well: Path) -> None:
    def said(**more: Any) -> str:
        settings = Settings(data_dir=well, **more)
        return next(one.words for one in examination(settings, NOW) if one.name == "Sign-in")

    assert said().startswith("Off: anyone here can act as anyone else.")
    assert "shows a code for the first manager" in said(sign_in=True)
    store = open_store(Settings(data_dir=well).url)
    client = Client("192.0.2.7")
    make_first_manager(store, "Ada", "four plain words here", client, NOW)
    store.close()
    assert said() == "On, looked after by 1 manager."
    assert said(sign_in=False).startswith("Off: anyone here can act as anyone else.")
