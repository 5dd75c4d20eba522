"""Every address that writes, with every fault in the room: no failure, and no fault is lifted.

The addresses are those of the application itself, so a new one is tried without a line here:
pages, programs, photos, meters, undoing and withdrawing. After each an act of the fault is tried
again: what was forbidden still is.
"""

import hashlib
import json
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app.domain.harm.acts import ACTS
from app.domain.harm.faults import FAULTS
from app.domain.harm.matrix import MATRIX
from app.services.transaction import write
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import EntryRow, RoomRow
from tests.contracts.guarded_room import STRANGER, writing_routes
from tests.contracts.harm_room import AGO, LOTS, SLOW, furniture, named
from tests.contracts.test_guards import NAMED
from tests.contracts.test_harm import asked_of, made, room_with, send
from tests.factories import ROOM

SHARE = 24  # of the routes times faults, one in so many in an ordinary run
SENT = count()
PICTURE = b"\x89PNG\r\n\x1a\n" + b"\0" * 64
GIVES_AWAY = {
    "/rooms/{room}/archive",
    "/rooms/{room}/restore",
    "/api/v1/rooms/{room}",
    "/sign-in",
}
"""Not sent: they close the room itself."""


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that is made once, and copied for every fault."""
    return made(tmp_path_factory.mktemp("all"), furniture())


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with baths of a slow solvent."""
    return made(tmp_path_factory.mktemp("slow"), furniture(SLOW, "glycol_ether_resin"))


def faulty_ids(client: TestClient) -> list[str]:
    """The last entry of the room: one of those that tell of the fault."""
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        query = select(EntryRow.uid).order_by(col(EntryRow.id).desc()).limit(1)
        return list(session.exec(query))


def things_of(act: str, target: str) -> dict[str, str]:
    """What stands for the names of an address, as far as the act's own things fit."""
    key = named(act, "api")
    return {
        "room": ROOM, "tank": key, "drum": key, "station": named("cure", "api"), "pickup": key,
        "inspection": f"i-{key}", "item": "ipa", "duty": "hood_look", "resin": "slate",
        "instrument": "measure-api", "component": f"c-{key}", "entry_id": target, "lot": "A7",
    }  # fmt: skip


def send_to(client: TestClient, method: str, path: str, act: str, target: str) -> list[int]:
    """A stranger's words at an address, as its kind takes them; the statuses."""
    known = things_of(act, target)
    address = NAMED.sub(lambda found: known.get(found[1], target), path)
    said = {
        "by": STRANGER, "lead": STRANGER, "reason": "It is fine", "note": "It is fine",
        "entry": target, "withdraws": target, "outcome": "in_order", "found": "as_before",
        "is_cool": "on", "lid_closed": "on", "no_leak": "on", "standing": "good",
        "centre_mw_cm2": "20", "because": "finding", "action": "release", "stream": "wipes",
    }  # fmt: skip
    options: dict[str, Any] = {"follow_redirects": False}
    if path.startswith("/api"):
        body = {"json": {"by": STRANGER, "note": "It is fine"}}
        return [client.request(method, address, **options, **body).status_code]
    form = {"data": said | {"submission": f"all-{next(SENT)}"}}
    found = [client.request(method, address, **options, **form).status_code]
    if "photo" in path or "tick" in path or "problem" in path:
        files = {"photo": ("a.png", PICTURE, "image/png")}
        found.append(client.request(method, address, **options, **form, files=files).status_code)
    return found


def still_there(client: TestClient, fault: str, act: str) -> bool:
    """A program is answered as the fault's cell says, still, or is refused altogether."""
    answer = send(client, act, fault, "api")
    if answer.status_code not in (409, 422):
        return False
    names = asked_of(answer, "api")
    is_refused = answer.status_code == 422 or not names
    return is_refused or (fault in names and MATRIX[fault, act].answer == "asked")


def is_asked(client: TestClient, fault: str, act: str) -> bool:
    """Nothing else hides the answer of the fault's cell."""
    names = asked_of(send(client, act, fault, "api"), "api")
    return (fault in names) == (MATRIX[fault, act].answer == "asked")


def next_act(client: TestClient, fault: str, acts: list[str]) -> str | None:
    """An act that is answered because of the fault and of nothing else."""
    found = (
        act for act in acts if still_there(client, fault, act) and is_asked(client, fault, act)
    )
    return next(found, None)


def begin_long_ago(client: TestClient, fault: str) -> None:
    """A duty that was never done is due from when the room began."""
    if not fault.endswith("_overdue"):
        return
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with write(store, ROOM) as session:
        room = session.exec(select(RoomRow).where(RoomRow.key == ROOM)).one()
        room.created_at_us = to_us(AGO)


def chosen(method: str, path: str, fault: str, is_whole: bool) -> bool:
    """A share of the pairs, the same in each run; all nightly."""
    mark = hashlib.sha256(f"{method} {path} {fault}".encode()).digest()
    return path not in GIVES_AWAY and (is_whole or mark[0] % SHARE == 0)


@pytest.mark.parametrize("fault", list(FAULTS))
def test_no_address_lifts_a_fault_or_fails_over_it(
    fault: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    is_whole = request.config.getoption("nightly")
    base = request.getfixturevalue("slow" if fault == "flash_lowered" else "furnished")
    acts = [act for act in ACTS if MATRIX[fault, act].answer in ("forbidden", "asked")]
    wrong: list[Any] = []
    with room_with(base, tmp_path, fault) as client:
        begin_long_ago(client, fault)
        tried = next_act(client, fault, acts)
        target = "f0" if fault in LOTS else faulty_ids(client)[0]
        for method, path in sorted(set(writing_routes(client.app))):
            if not chosen(method, path, fault, is_whole):
                continue
            statuses = send_to(client, method, path, tried or "wash", target)
            if max(statuses) >= 500:
                wrong.append((method, path, statuses))
            if tried is not None and not still_there(client, fault, tried):
                wrong.append((method, path, statuses, f"{tried} passes now"))
                tried = next_act(client, fault, acts)
            if tried is not None and not is_asked(client, fault, tried):
                tried = next_act(client, fault, acts)
    assert wrong == [], json.dumps(wrong, indent=1)
