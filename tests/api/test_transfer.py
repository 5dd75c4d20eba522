"""Whole logs over the API: sent in, looked at before, handed out."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.conftest import BASE
from tests.clocks import Clock

JSON_LINES = {"Content-Type": "application/x-ndjson"}
CSV = {"Content-Type": "text/csv"}
WASH = {"kind": "wash", "at": "2026-02-28T08:00:00+00:00", "tank": "t1", "resin": "slate"}
LOG = "\n".join(
    json.dumps({**WASH, "id": f"in{number}", "parts": number + 1}) for number in range(3)
)
TABLE = "Day;Time;Bath;Resin;Pieces\n28.02.2026;08:00;t1;slate;4\n28.02.2026;09:30;t2;kiln;7\n"
COLUMNS = {"kind": "wash", "column": ["Bath=tank", "Pieces=parts", "Day=date", "Time=time"]}


def count(client: TestClient) -> int:
    return len(client.get(f"{BASE}/entries", params={"limit": 200}).json()["entries"])


def test_a_log_is_looked_at_before_it_is_stored(client: TestClient) -> None:
    before = count(client)
    answer = client.post(f"{BASE}/import/preview", content=LOG, headers=JSON_LINES)
    assert answer.status_code == 200
    preview = answer.json()
    assert (preview["entries"], preview["kinds"], preview["bad_lines"]) == (3, {"wash": 3}, 0)
    assert preview["columns"] is None
    assert count(client) == before


def test_a_log_is_stored(client: TestClient) -> None:
    before = count(client)
    answer = client.post(f"{BASE}/import", content=LOG, headers=JSON_LINES)
    assert (answer.status_code, answer.json()) == (201, {"stored": 3})
    assert count(client) == before + 3


def test_a_log_sent_again_adds_nothing(client: TestClient) -> None:
    client.post(f"{BASE}/import", content=LOG, headers=JSON_LINES)
    again = client.post(f"{BASE}/import", content=LOG, headers=JSON_LINES)
    assert (again.status_code, again.json()) == (200, {"stored": 0})


def test_a_retry_is_answered_as_the_first_time(client: TestClient, clock: Clock) -> None:
    headers = {**JSON_LINES, "Idempotency-Key": "import-1"}
    without_ids = LOG + "\n" + json.dumps({**WASH, "parts": 9})
    first = client.post(f"{BASE}/import", content=without_ids, headers=headers)
    clock.wait(seconds=5)
    again = client.post(f"{BASE}/import", content=without_ids, headers=headers)
    assert (again.status_code, again.json()) == (201, first.json()) == (201, {"stored": 4})
    assert again.headers["idempotent-replayed"] == "true"


def test_a_bad_line_is_named_and_keeps_the_log_out(client: TestClient) -> None:
    before = count(client)
    bad = LOG + "\nnonsense\n" + json.dumps({**WASH, "tank": "t9", "parts": 1})
    answer = client.post(f"{BASE}/import", content=bad, headers=JSON_LINES)
    assert answer.status_code == 422
    assert [item["field"] for item in answer.json()["errors"]] == ["line 4, line", "line 5, tank"]
    assert count(client) == before
    asked = {"skip_bad": "true"}
    answer = client.post(f"{BASE}/import", content=bad, headers=JSON_LINES, params=asked)
    assert (answer.status_code, answer.json()) == (201, {"stored": 3})


def test_a_table_is_stored_by_its_columns(client: TestClient) -> None:
    preview = client.post(f"{BASE}/import/preview", content=TABLE, headers=CSV, params=COLUMNS)
    assert preview.json()["bad_lines"] == 0, preview.text
    fields = {column["title"]: column["field"] for column in preview.json()["columns"]}
    assert fields == {
        "Day": "date",
        "Time": "time",
        "Bath": "tank",
        "Resin": "resin",
        "Pieces": "parts",
    }
    answer = client.post(f"{BASE}/import", content=TABLE, headers=CSV, params=COLUMNS)
    assert (answer.status_code, answer.json()) == (201, {"stored": 2})


@pytest.mark.parametrize(
    "query", ["column=Bath", "column=Nothing=tank", "kind=sauna", "time_zone=Mars", "day_first=no"]
)
def test_a_table_that_cannot_be_read_so_is_refused(client: TestClient, query: str) -> None:
    answer = client.post(f"{BASE}/import/preview?{query}", content=TABLE, headers=CSV)
    assert answer.status_code == 422, answer.text


@pytest.mark.parametrize("body", [b"", b"   ", b"\x00\x01\x02\x03" * 100])
def test_what_is_no_log_is_refused(client: TestClient, body: bytes) -> None:
    assert client.post(f"{BASE}/import", content=body, headers=JSON_LINES).status_code == 422


def test_a_file_says_what_it_is(client: TestClient) -> None:
    answer = client.post(f"{BASE}/import", content=LOG, headers={"Content-Type": "text/html"})
    assert answer.status_code == 415


def test_a_file_that_is_too_large_is_a_problem(client: TestClient) -> None:
    pieces: Any = (b"\n" * 2**20 for _ in range(65))
    answer = client.post(f"{BASE}/import", content=pieces, headers=JSON_LINES)
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"


def test_what_is_handed_out_can_be_taken_in_elsewhere(client: TestClient) -> None:
    client.post(f"{BASE}/entries/w5/withdrawal", json={"note": "twice"})
    answer = client.get(f"{BASE}/export")
    assert answer.headers["content-type"] == "application/x-ndjson"
    assert answer.headers["content-disposition"] == 'attachment; filename="test-room.jsonl"'
    client.post("/api/v1/rooms", json={"name": "Copy", "key": "copy"})
    stored = client.post("/api/v1/rooms/copy/import", content=answer.content, headers=JSON_LINES)
    assert stored.json() == {"stored": len(answer.text.splitlines())}
    assert client.get("/api/v1/rooms/copy/export").text == answer.text
    tanks, copies = (
        client.get(f"/api/v1/rooms/{room}/tanks").json() for room in ("test-room", "copy")
    )
    for tank, copied in zip(tanks["tanks"], copies["tanks"], strict=True):
        assert copied["estimate"]["mean"] == pytest.approx(tank["estimate"]["mean"], rel=1e-9)


def test_a_table_is_handed_out(client: TestClient) -> None:
    answer = client.get(f"{BASE}/export", params={"format": "csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert len(rows) == count(client)
    assert {row["kind"] for row in rows} == {"tank", "resin", "wash", "reading", "reject"}


def test_no_file_is_left_behind(
    client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spool = tmp_path / "spool"
    spool.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(spool))
    client.post(f"{BASE}/import", content=LOG, headers=JSON_LINES)
    client.post(f"{BASE}/import", content="nonsense", headers=JSON_LINES)
    assert list(spool.iterdir()) == []


def test_an_edited_table_sent_again_corrects_what_it_said(client: TestClient) -> None:
    client.post(f"{BASE}/import", content=TABLE, headers=CSV, params=COLUMNS)
    edited = TABLE.replace(";4", ";5")
    preview = client.post(f"{BASE}/import/preview", content=edited, headers=CSV, params=COLUMNS)
    told = [preview.json()[name] for name in ("new", "changed", "unchanged", "gone")]
    assert told == [0, 1, 1, 0]
    answer = client.post(f"{BASE}/import", content=edited, headers=CSV, params=COLUMNS)
    assert answer.json() == {"stored": 1}
    log = client.get(f"{BASE}/entries", params={"limit": 200, "voided": "false"}).json()["entries"]
    parts = [
        each["entry"].get("parts") for each in log if "2026-02-28T08:00" in each["entry"]["at"]
    ]
    assert parts == [5]


@pytest.mark.parametrize(
    "body, query, field",
    [
        ("Day,Bath,Litres\n01/03/2026,t1,2\n", {}, "day_first"),
        ('Day,Bath,Litres\n2026-03-01,t1,"1,500"\n', {}, "decimal_comma"),
        ("Day,Bath,Litres\n01/03/2026,t1,2\n", {"day_first": "true"}, ""),
        ('Day,Bath,Litres\n2026-03-01,t1,"1,500"\n', {"decimal_comma": "true"}, ""),
    ],
)
def test_what_can_mean_two_things_is_asked_about_by_its_field(
    client: TestClient, body: str, query: dict[str, str], field: str
) -> None:
    before = count(client)
    asked = {"kind": "top_up", **query}
    answer = client.post(f"{BASE}/import", content=body, headers=CSV, params=asked)
    if field:
        assert answer.status_code == 422
        assert [item["field"] for item in answer.json()["errors"]] == [field]
        assert count(client) == before
    else:
        assert (answer.status_code, answer.json()) == (201, {"stored": 1})


def test_an_import_is_listed_and_taken_back(client: TestClient) -> None:
    client.post(f"{BASE}/import", content=LOG, headers=JSON_LINES)
    (listed,) = client.get(f"{BASE}/imports").json()
    assert (listed["state"], listed["done"], listed["total"]) == ("stored", 3, 3)
    here = f"{BASE}/imports/{listed['token']}"
    answer = client.post(f"{here}/undo", json={"by": "Wren"})
    assert (answer.status_code, answer.json()["done"], answer.json()["is_undo"]) == (200, 3, True)
    states = [each["state"] for each in client.get(f"{BASE}/imports").json()]
    assert states == ["stored", "undone"]
    words = client.get(f"{BASE}/entries", params={"kind": "withdrawal"}).json()["entries"]
    assert sorted(each["entry"]["withdraws"] for each in words) == ["in0", "in1", "in2"]
    assert client.post(f"{here}/undo", json={}).status_code == 404
    assert client.post(f"{BASE}/imports/none/stop").status_code == 404
