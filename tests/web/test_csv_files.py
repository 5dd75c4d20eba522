"""Every table that the program gives away, with text in it that a spreadsheet would run.

A cell that begins with = + - @, a tab or a carriage return can run as a formula (OWASP, CSV
Injection); spreadsheets that write a decimal comma split at semicolons (RFC 4180: commas only).
"""

import csv
import io
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.people.permissions import ADDRESSES
from app.domain.roomlog.kinds import Entry, Resin, TopUp
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in
from app.services.exporting import log_table
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, tank, wash
from tests.running import ROOT

RISKS = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "a;=1+1",
    "a; =1+1",
    "a; +2",
    "a;-2+3",
    "a;@x",
    "b;'=1",
)
NUMBER = re.compile(r"-?\d+([.,]\d+)?")
CSV = sorted(
    path.partition(" ")[2].replace("{room}", ROOM) for path in ADDRESSES if path.endswith(".csv")
)
ASK = {"lots/record.csv": "?lot=%3D1%2B1", "lots/recall.csv": "?reason=tank+on+hold"}


def runs(text: str) -> list[str]:
    """The cells that a spreadsheet would run, however it splits the lines."""
    found = []
    for mark in ",;\t":
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=mark):
            for cell in row:
                begins = cell.lstrip(" ") if mark != "," else cell
                if begins.startswith(("=", "+", "-", "@", "\t", "\r")):
                    found += [] if NUMBER.fullmatch(begins.strip()) else [cell]
    return found


def hostile(number: int, text: str) -> list[Entry]:
    """Entries that say a text wherever one can be typed."""
    at = NOW - timedelta(days=3, minutes=number)
    more = {"by": text[:40], "note": text}
    return [
        Resin(at=START, id=f"r{number}", resin=f"r{number}", name=text, density_g_ml=1.1, **more),
        tank(f"x{number}", name=text, id=f"x{number}", **more),
        wash(2 - number / 100, f"x{number}", id=f"w{number}", lot=text, **more),
        TopUp(at=at, id=f"u{number}", tank=f"x{number}", volume_l=1.0, **more),
        Drum(at=START, id=f"d{number}", drum=f"d{number}", name=text, capacity_l=200.0,
             stream="isopropanol_resin", area="central", **more),
    ]  # fmt: skip


@pytest.fixture
def hostile_room(client: TestClient, store: Store) -> TestClient:
    """The client of a room in which all text is hostile."""
    for number, text in enumerate(RISKS):
        bring_in(store, ROOM, hostile(number, text), NOW)
    return client


def test_no_table_runs_anything(hostile_room: TestClient, store: Store) -> None:
    assert len(CSV) >= 7, CSV
    told = 0
    for path in CSV:
        tail = next((query for end, query in ASK.items() if path.endswith(end)), "")
        answer = hostile_room.get(path + tail)
        assert answer.status_code == 200, path
        assert "csv" in answer.headers["content-type"], path
        assert runs(answer.text) == [], path
        told += "'=1+1" in answer.text
    answer = hostile_room.get(f"/api/v1/rooms/{ROOM}/export?format=csv")
    assert "'=1+1" in answer.text
    assert runs(answer.text) == []
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
    assert runs("".join(log_table(store, room_id))) == []
    assert told >= 3, "the text is really in them"


def test_every_module_that_writes_a_table_guards_its_cells() -> None:
    """What a new one writes comes here too."""
    texts = {path: path.read_text("utf-8") for path in (ROOT / "app").rglob("*.py")}
    writers = {path.name for path, text in texts.items() if "csv.writer(" in text}
    bare = {path.name for path, text in texts.items() if "csv.writer(" in text
            and "import guarded" not in text}  # fmt: skip
    assert len(writers) >= 6
    assert bare == {"exporting.py"}, "whose rows domain/roomlog/rows.py guards"
    assert "guarded" in (ROOT / "app/domain/roomlog/rows.py").read_text("utf-8")


def test_a_recall_without_a_reason_is_no_file(client: TestClient) -> None:
    assert client.get(f"/rooms/{ROOM}/lots/recall.csv").status_code == 422
