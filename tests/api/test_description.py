"""What the API's description allows is taken, and what is refused is described.

Patterns are ECMA-262's as far as Python's `re` reads them alike (JSON Schema 2020-12, core 6.4).
"""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from app.api.entry_models import NEW_MODELS, text_schema
from app.api.moments import DAY_PATTERN, MOMENT_PATTERN, read_moment
from app.domain.errors import FieldError
from app.domain.roomlog.fields import check_text
from app.domain.solvents import SOLVENTS
from app.services.acts.rooms import zones
from tests.api.conftest import BASE

SPREAD = [*range(0x3000), *range(0xD700, 0x10000), *range(0x1F000, 0x1FA00), 0x10FFFF]


def is_taken(text: str) -> bool:
    """Whether the domain takes a text."""
    try:
        check_text("note", text, 80)
    except FieldError:
        return False
    return True


def test_a_character_is_described_where_it_is_taken_and_nowhere_else() -> None:
    pattern = re.compile(text_schema(80)["pattern"])
    for code in SPREAD:
        text = f"a{chr(code)}b"
        assert bool(pattern.search(text)) == is_taken(text), hex(code)


@pytest.mark.parametrize(
    "text",
    ["Zoë\u00a0Ng", "👩\u200d🔧", "می\u200cروم", "two\nlines", "a\ttab", "\U0001fae9", "x\ry"],
)
def test_what_people_type_is_taken(client: TestClient, text: str) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 4, "by": text, "note": text}
    stored = client.post(f"{BASE}/entries", json=wash)
    assert stored.status_code == 201
    entry = client.get(f"{BASE}/entries/{stored.json()['ids'][0]}").json()["entry"]
    assert entry["note"] == text.replace("\r", "\n")


@pytest.mark.parametrize("text", ["a\x00b", "a\x1bb", "a\u202eb", "a\ufeffb", "a\x85b", "a\uffffb"])
def test_what_is_not_seen_is_refused(client: TestClient, text: str) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 4, "note": text}
    assert client.post(f"{BASE}/entries", json=wash).status_code == 422


def test_every_day_that_is_described_is_one_and_every_day_between_is_described() -> None:
    pattern = re.compile(DAY_PATTERN)
    days = set()
    day = datetime(1971, 1, 1, tzinfo=UTC)
    while day.year < 2199:
        days.add(day.date().isoformat())
        day += timedelta(days=1)
    for year in range(1960, 2210):
        for month in range(14):
            for number in range(33):
                text = f"{year:04}-{month:02}-{number:02}"
                assert bool(pattern.match(text)) == (text in days), text


@pytest.mark.parametrize(
    "text",
    ["1971-01-01T00:00:00+23:59", "2198-12-31T23:59:59-23:59", "2096-02-29t12:00:00.123456789z",
     "2026-03-02 07:40:00Z"],
)  # fmt: skip
def test_the_edges_of_what_is_described_are_instants(text: str) -> None:
    assert re.match(MOMENT_PATTERN, text)
    assert read_moment(text).tzinfo is UTC


@pytest.mark.parametrize(
    "text",
    ["1969-12-31T00:00:00Z", "2200-01-01T00:00:00Z", "2026-02-30T00:00:00Z",
     "2026-03-02T24:00:00Z", "2026-03-02T07:40:00"],
)  # fmt: skip
def test_what_is_no_instant_is_not_described(client: TestClient, text: str) -> None:
    assert not re.match(MOMENT_PATTERN, text)
    assert client.get(f"{BASE}/entries", params={"from": text}).status_code == 422


def schema_of(kind: str, field: str) -> Any:
    return NEW_MODELS[kind].model_json_schema()["properties"][field]


@pytest.mark.parametrize("kind", ["tank", "calibration", "swap", "item"])
def test_a_solvent_is_one_of_the_known(kind: str) -> None:
    assert str(sorted(SOLVENTS))[1:-1].split(", ")[0].strip("'") in str(schema_of(kind, "solvent"))
    assert "enum" in str(schema_of(kind, "solvent"))


def test_time_zones_are_described_and_every_one_of_them_is_taken(client: TestClient) -> None:
    document = client.get("/api/v1/openapi.json").json()
    described = document["components"]["schemas"]["RoomIn"]["properties"]["time_zone"]["enum"]
    assert "Europe/Dublin" in described
    assert set(described) == zones()
    assert all(ZoneInfo(name) for name in described)
    for number, name in enumerate(described[:: len(described) // 5]):
        sent = {"name": f"Room {number}", "time_zone": name}
        assert client.post("/api/v1/rooms", json=sent).status_code == 201
    assert client.post("/api/v1/rooms", json={"name": "X", "time_zone": "Mars"}).status_code == 422


@pytest.mark.parametrize(
    "cursor", ["", "b", "c1.1", "b1", "b-1.5", "b1.1.1", "b" + "9" * 19 + ".1"]
)
def test_a_cursor_of_another_shape_is_refused_as_described(client: TestClient, cursor: str) -> None:
    answer = client.get(f"{BASE}/entries", params={"cursor": cursor})
    assert answer.status_code == 422
    assert client.get(f"{BASE}/entries", params={"cursor": "b1.1"}).status_code == 200
