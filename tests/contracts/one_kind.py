"""What a kind that stands in one file only has: run in a copy of the program that has that file."""

import json
import re
import sys
from collections.abc import Callable
from pathlib import Path

from fastapi.testclient import TestClient
from httpx2 import Response

from app.config import Settings
from app.main import create_app
from tests.contracts.seen_room import addresses
from tests.domain.roomlog.page import PAGE, with_new_kinds
from tests.factories import NOW, ROOM, furnish

TANK, FORM = f"/rooms/{ROOM}/tanks/t1", f"/rooms/{ROOM}/tanks/t1/log/filter"
API = f"/api/v1/rooms/{ROOM}"
SENT = {"kind": "filter_cleaned", "tank": "t1", "before_kpa": 60}
TOLD = "Wren cleaned the filter of T1: 80 kPa before, 20 kPa after"


def entries(client: TestClient) -> list[dict[str, object]]:
    """Those of the kind that count, as the API gives them."""
    found = client.get(f"{API}/entries?kind=filter_cleaned&voided=false").json()["entries"]
    return [one["entry"] for one in found]


def sent(client: TestClient, **values: str) -> Response:
    """The form filled in by Wren and sent."""
    number = re.search(r'name="submission" value="([^"]+)"', client.get(FORM).text)
    assert number
    return client.post(FORM, data={"by": "Wren", "submission": number[1], **values})


def link(client: TestClient) -> None:
    """The page of the tank links to the form."""
    assert re.search(rf'<a class="button" href="{FORM}">Filter cleaned</a>', client.get(TANK).text)


def page(client: TestClient) -> None:
    """The form has its fields, in one row, with label and unit."""
    text = client.get(FORM).text
    assert "<h1>Filter cleaned: 1 T1</h1>" in text
    row = text.partition('<div class="form-row">')[2].partition("<details")[0]
    assert re.findall(r'name="(\w+)"', row) == ["before_kpa", "after_kpa"]
    assert "Pressure before" in row
    assert row.count("kPa") == 2


def refusal(client: TestClient) -> None:
    """What does not fit is said beside its field, what was typed is kept, nothing is stored."""
    answer = sent(client, before_kpa="5000", after_kpa="20")
    assert answer.status_code == 422
    assert "Pressure before must be between 0 and 500 kPa." in answer.text
    assert 'value="5000"' in answer.text
    assert 'value="20"' in answer.text
    assert not entries(client)


def log(client: TestClient) -> None:
    """It is stored, said, and stands in the log as a sentence."""
    answer = sent(client, before_kpa="80", after_kpa="20")
    assert answer.status_code == 200
    assert f"Saved: {TOLD}" in answer.text
    assert f'<span class="log-text">{TOLD}' in client.get(f"/rooms/{ROOM}/log").text


def undo(client: TestClient) -> None:
    """It is taken back where it was entered."""
    (one,) = entries(client)
    assert "Taken back" in client.post(f"{TANK}/undo/{one['id']}").text
    assert not entries(client)


def correction(client: TestClient) -> None:
    """Its own form corrects it."""
    sent(client, before_kpa="80")
    (one,) = entries(client)
    at = f"/rooms/{ROOM}/entries/{one['id']}/correct"
    assert 'value="80"' in client.get(at).text
    answer = client.post(at, data={"before_kpa": "90", "by": "Wren"})
    assert answer.status_code == 200
    assert [each["before_kpa"] for each in entries(client)] == [90]


def schema(client: TestClient) -> None:
    """The API describes it."""
    schemas = client.get("/api/v1/openapi.json").json()["components"]["schemas"]
    found = [one for name, one in schemas.items() if name.startswith("FilterCleaned")]
    assert any({"tank", "before_kpa", "after_kpa"} <= set(one["properties"]) for one in found)


def api(client: TestClient) -> None:
    """A program stores it, and is refused in the same words."""
    body = {**SENT, "id": "f9"}
    assert client.post(f"{API}/entries", json=body).status_code == 201
    wrong = client.post(f"{API}/entries", json={**body, "id": "f10", "before_kpa": 5000})
    assert wrong.status_code == 422
    assert "Pressure before must be between 0 and 500 kPa." in wrong.text


def export(client: TestClient) -> None:
    """It is in both exports."""
    for ending in ("jsonl", "csv"):
        text = client.get(f"/rooms/{ROOM}/export.{ending}").text
        assert "f9" in text
        assert "filter_cleaned" in text
        assert "before_kpa" in text


def read_in(client: TestClient) -> None:
    """A log file and a table bring it in."""
    line = json.dumps({**SENT, "id": "f20", "at": "2026-03-01T08:00:00Z"})
    lines = {"Content-Type": "application/x-ndjson"}
    assert client.post(f"{API}/import", content=line, headers=lines).json() == {"stored": 1}
    table = "kind,id,at,tank,before_kpa\nfilter_cleaned,f21,2026-03-01T09:00:00Z,t1,8\n"
    csv = {"Content-Type": "text/csv"}
    assert client.post(f"{API}/import", content=table, headers=csv).json() == {"stored": 1}
    assert {one["id"] for one in entries(client)} >= {"f20", "f21"}


def docs(_: TestClient) -> None:
    """Its section of the docs is written by the command that writes them all."""
    written = with_new_kinds(PAGE.read_text("utf-8"))
    assert "### `filter_cleaned`: Filter cleaned\n\nThe filter of a tank's pump" in written


def matrix(_: TestClient) -> None:
    """The tests of all pages open its form as well."""
    assert FORM in addresses("/rooms/{room}/tanks/{tank}/log/{task}", "")


STEPS: dict[str, Callable[[TestClient], None]] = {
    "link": link, "page": page, "refusal": refusal, "log": log, "undo": undo,
    "correction": correction, "schema": schema, "api": api, "export": export, "import": read_in,
    "docs": docs, "matrix": matrix,
}  # fmt: skip


def main(folder: Path) -> None:
    """Try each in turn, and say so."""
    served = create_app(Settings(data_dir=folder, allowed_hosts=("room.test",)), clock=lambda: NOW)
    furnish(served.state.store)
    with TestClient(served, base_url="http://room.test") as client:
        client.cookies.set("person", "Wren")
        for name, step in STEPS.items():
            step(client)
            print(name)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
