"""Import and export in the browser: shown first, stored once, told line by line."""

import csv
import io
import json
import re
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import Session, select

from app.domain.roomlog.kinds.incidents import TankHeld
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from app.web.importing import jobs as import_jobs
from app.web.importing import pages as import_pages
from tests.factories import NOW, ROOM

HERE = f"/rooms/{ROOM}/import"


def line(days: float = 3, **changes: Any) -> str:
    at = (NOW - timedelta(days=days)).isoformat()
    return json.dumps(
        {"kind": "wash", "at": at, "tank": "t1", "resin": "slate", "parts": 2} | changes
    )


def count(store: Store) -> int:
    with Session(store.reader) as session:
        return len(session.exec(select(EntryRow.id)).all())


def uploaded(client: TestClient, content: str | bytes, name: str = "log.jsonl") -> str:
    """Address of the import of a file."""
    data = content.encode() if isinstance(content, str) else content
    answer = client.post(HERE, files={"log": (name, data)}, follow_redirects=False)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def settled(client: TestClient, address: str) -> Response:
    """The page of an import once nothing is going on."""
    for _ in range(200):
        answer = client.get(address)
        if 'hx-trigger="every 1s"' not in answer.text:
            return answer
        time.sleep(0.05)
    raise AssertionError("The import does not end.")


def test_it_works(client: TestClient, store: Store) -> None:
    before = count(store)
    address = uploaded(client, line(id="a") + "\n" + line(2, id="b"))
    page = settled(client, address)
    assert "Nothing is stored yet" in page.text
    assert "Store 2 entries" in page.text
    assert count(store) == before
    client.post(f"{address}/store")
    assert "Stored: 2 entries" in settled(client, address).text
    assert count(store) == before + 2


def test_a_file_that_is_read_while_its_page_is_made_breaks_nothing(
    client: TestClient, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page asked how far it is, and the answer changed before it was written down."""
    held = TankHeld(at=NOW - timedelta(hours=1), tank="t1", reason="It drips", cause="lead")
    record(store, ROOM, [held], NOW)
    address = uploaded(client, line(0))
    assert "forbids now" in settled(client, address).text
    live = client.app.state.imports.find(ROOM, address.rpartition("/")[2])  # type: ignore[attr-defined]
    read, live.preview, live.state = live.preview, None, "checking"

    def just_then(_request: Any) -> bool:
        live.preview, live.state = read, "checked"
        return False

    monkeypatch.setattr(import_pages, "wants_fragment", just_then)
    assert client.get(address).status_code == 200


def test_storing_twice_stores_once(client: TestClient, store: Store) -> None:
    before = count(store)
    address = uploaded(client, line())
    settled(client, address)
    for _ in range(3):
        client.post(f"{address}/store")
    settled(client, address)
    client.post(f"{address}/store")
    assert "Stored: 1 entry" in settled(client, address).text
    assert count(store) == before + 1


def test_bad_lines_are_shown_and_left_out_only_when_asked(client: TestClient, store: Store) -> None:
    before = count(store)
    address = uploaded(client, line() + "\n" + line(tank="t9") + "\n<b>\n")
    page = settled(client, address)
    assert "Line 2, tank: There is no tank “t9”" in page.text
    assert "Line 3, line:" in page.text
    client.post(f"{address}/store")
    assert count(store) == before
    assert "Leave them out, or fix them" in settled(client, address).text
    client.post(f"{address}/store", data={"skip_bad": "on"})
    assert "Stored: 1 entry" in settled(client, address).text
    assert count(store) == before + 1


def test_a_table_is_read_as_guessed_and_then_as_said(client: TestClient, store: Store) -> None:
    address = uploaded(client, "Date,Bath,Amount,Shelf\n05/03/2026 07:40,t1,2,x\n", "t.csv")
    page = settled(client, address)
    assert "5 March 2026" in page.text
    client.post(f"{address}/answers", data={"answer-0": "first"})
    page = settled(client, address)
    assert "The kind is missing" in page.text
    chosen = dict(re.findall(r'name="(column-\d)">.*?value="([^"]+)" selected', page.text, re.S))
    assert chosen == {
        "column-0": "at", "column-1": "tank", "column-2": "volume_l", "column-3": "-",
    }  # fmt: skip
    said = {
        **chosen, "column-2": "volume_l:us_qt", "kind": "top_up", "order": "month",
        "time_zone": "America/Chicago",
    }  # fmt: skip
    client.post(f"{address}/columns", data=said)
    assert "Line 2, at: This time is in the future" in settled(client, address).text
    address = uploaded(client, "Date,Bath,Amount\n03/01/2026,t1,2\n", "t.csv")
    settled(client, address)
    client.post(f"{address}/answers", data={"answer-0": "second"})
    settled(client, address)
    client.post(f"{address}/columns", data=said)
    settled(client, address)
    client.post(f"{address}/store")
    settled(client, address)
    with Session(store.reader) as session:
        row = session.exec(select(EntryRow).where(EntryRow.kind == "top_up")).one()
    assert json.loads(row.fields)["volume_l"] == pytest.approx(1.892705892)
    # Midnight of 1 March in Chicago, six hours behind UTC in winter (IANA time zone database).
    assert row.at_us == 1_772_344_800_000_000


def test_a_wrong_zone_is_named(client: TestClient) -> None:
    address = uploaded(client, "Date,Bath\n2026-03-02,t1\n", "t.csv")
    settled(client, address)
    client.post(
        f"{address}/columns", data={"column-0": "at", "column-1": "tank", "time_zone": "Moon"}
    )
    assert "“Moon” is not known" in settled(client, address).text


@pytest.mark.parametrize("content", [b"", bytes(range(256)) * 20], ids=["empty", "binary"])
def test_a_file_that_is_no_log_is_refused_in_words(client: TestClient, content: bytes) -> None:
    page = settled(client, uploaded(client, content))
    assert 'role="alert"' in page.text
    assert "Store " not in page.text


def test_no_file_is_named(client: TestClient) -> None:
    answer = client.post(HERE, files={"log": ("", b"")})
    assert answer.status_code == 422
    assert "Choose a file first" in answer.text
    assert client.post(HERE, data={"log": "text"}).status_code == 422


def test_a_body_of_300_mb_is_refused_unread(client: TestClient) -> None:
    answer = client.post(HERE, headers={"content-length": str(300 * 1024 * 1024)})
    assert answer.status_code == 413
    assert "64 MB" in answer.text


@pytest.mark.parametrize("token", ["x", "a" * 22, "..%2f..%2fetc", "AAAAAAAAAAAAAAAAAAAAAA%0A"])
def test_an_import_that_is_not_there_is_404(client: TestClient, token: str) -> None:
    assert client.get(f"{HERE}/{token}").status_code == 404


def test_the_import_of_one_room_is_not_another_rooms(client: TestClient) -> None:
    client.post("/rooms/new", data={"name": "Other", "time_zone": "UTC"})
    token = uploaded(client, line()).rsplit("/", 1)[1]
    assert client.get(f"/rooms/other/import/{token}").status_code == 404


def test_after_a_restart_the_file_is_read_again(client: TestClient) -> None:
    address = uploaded(client, line())
    settled(client, address)
    client.app.state.imports._jobs.clear()  # type: ignore[attr-defined]
    assert "Store 1 entry" in settled(client, address).text


def test_old_files_are_forgotten(
    client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = uploaded(client, line())
    settled(client, address)
    monkeypatch.setattr(import_jobs, "KEPT_S", -1.0)
    settled(client, uploaded(client, line(2)))
    assert client.get(address).status_code == 404
    assert len(list((tmp_path / "uploads").glob("*.upload"))) == 1


def test_while_it_runs_only_the_part_that_changes_is_sent(client: TestClient) -> None:
    address = uploaded(client, line())
    settled(client, address)
    part = client.get(address, headers={"hx-request": "true"}).text
    assert part.strip().startswith('<div id="job"')
    assert "<html" not in part


def test_the_log_is_handed_out(client: TestClient, store: Store) -> None:
    answer = client.get(f"/rooms/{ROOM}/export.jsonl")
    assert answer.headers["content-disposition"] == f'attachment; filename="{ROOM}.jsonl"'
    assert len([json.loads(text) for text in answer.text.splitlines()]) == count(store)
    table = client.get(f"/rooms/{ROOM}/export.csv")
    rows = list(csv.reader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert len(rows) == 1 + count(store)
    assert rows[0][:3] == ["kind", "at", "id"]
