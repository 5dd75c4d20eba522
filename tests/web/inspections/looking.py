"""Looking at parts through the forms, and reading what came of it."""

from typing import Any

from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.inspections.conditions import CONDITIONS
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing, things
from tests.factories import ROOM

AT = f"/rooms/{ROOM}"
PARTS = {"impellers": "1", "with_shaft_seal": "on", "fitted_on": "2026-02-20", "by": "Wren"}


def state(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, kind, key)


def inspection(store: Store) -> Any:
    with Session(store.reader) as session:
        (only,) = things(session, find_room(session, ROOM).id or 0, "inspection").values()
        return only


def said(part: str, *yes: str, **more: str) -> dict[str, str]:
    answers = {one.key: "yes" if one.key in yes else "no" for one in CONDITIONS[part]}
    return answers | {"by": "Wren", "view": "close"} | more


def look(room: TestClient, at: str, part: str, *yes: str, files: Any = None, **more: str) -> Any:
    return room.post(f"{at}/parts/t1-{part}-1", data=said(part, *yes, **more), files=files or {})


def pictures(*contents: bytes) -> list[tuple[str, tuple[str, bytes, str]]]:
    return [("photos", (f"{i}.jpg", one, "image/jpeg")) for i, one in enumerate(contents)]
