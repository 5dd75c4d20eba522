"""Figures that a file's own lines make unlikely are said before it is stored, by every way in."""

from datetime import timedelta
from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds import Swap
from app.services.importing.previews import SHOWN_ODD, odd_figures
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, tank, wash
from tests.web.importing.test_importing import settled, uploaded

LINES = {"content-type": "application/x-ndjson"}
API = f"/api/v1/rooms/{ROOM}"
ODD = (
    '{"kind": "own_solvent", "own_solvents": "own_solvents", "name": "IPA blend", '
    '"density_g_ml": 0.79, "flash_point_c": 53.6, "boiling_point_c": 82.3, '
    '"at": "2026-02-02T09:00:00Z"}\n'
)
FINE = ODD.replace("53.6", "12").replace("IPA blend", "IPA 2")
SAID = "Does the sheet give it in °F?"


def test_a_program_sees_them_in_the_preview(client: TestClient) -> None:
    told: Any = client.post(f"{API}/import/preview", content=FINE + ODD, headers=LINES).json()
    assert [(one["line"], one["field"]) for one in told["odd"]] == [(2, "flash_point_c")]
    assert SAID in told["odd"][0]["message"]
    assert told["entries"] == 2
    assert client.post(f"{API}/import/preview", content=FINE, headers=LINES).json()["odd"] == []


def test_the_page_lists_them_above_the_button(client: TestClient) -> None:
    page = settled(client, uploaded(client, ODD))
    assert "Check these figures" in page.text
    assert SAID in page.text
    assert page.text.index(SAID) < page.text.index(">Store 1 entry<")


def test_only_the_first_are_shown(store: Store) -> None:
    many = {line: wash(1, parts=9_000, id=f"w{line}") for line in range(SHOWN_ODD + 5)}
    with Session(store.reader) as session:
        found = odd_figures(session, find_room(session, ROOM), many)
    assert len(found) == SHOWN_ODD
    assert [one.line for one in found] == list(range(SHOWN_ODD))


def test_a_fill_of_another_purity_than_its_tank_had_before_is_said(store: Store) -> None:
    """Against the file's own fills, and the room's where the file has none before it."""
    told = {
        1: tank("t9", fresh_purity_percent=99.0),
        2: Swap(at=NOW - timedelta(days=3), tank="t9", fresh_purity_percent=50.0),
        3: Swap(at=NOW - timedelta(days=2), tank="t9", fresh_purity_percent=98.0),
        4: Swap(at=NOW - timedelta(days=4), tank="t9", fresh_purity_percent=99.0),
        5: Swap(at=NOW, tank="t1", fresh_purity_percent=50.0),
        6: Swap(at=NOW, tank="nowhere", fresh_purity_percent=50.0),
        7: Swap(at=NOW - timedelta(days=1), tank="t9", solvent="ethanol", fresh_purity_percent=50),
    }
    with Session(store.reader) as session:
        found = odd_figures(session, find_room(session, ROOM), told)
    assert [(one.line, one.field) for one in found] == [
        (2, "fresh_purity_percent"), (5, "fresh_purity_percent"),
    ]  # fmt: skip
    assert "filled with 99 % before" in found[0].message
