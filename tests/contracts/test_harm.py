"""Every fault times every act through every door: a form, a program, an import of what was.

The matrix is held against what the doors do, and not against itself: each fault is put into the
log, each act is sent, and the answer of the door is read from what it says and what it stores.
"""

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func
from sqlmodel import Session, select

from app.config import Settings
from app.domain.errors import FieldErrors
from app.domain.harm.acts import ACTS, LETTERS, OF_KIND, Task
from app.domain.harm.faults import FAULTS, Fault
from app.domain.harm.matrix import MATRIX, build
from app.domain.roomlog.kinds import KINDS, Entry
from app.main import create_app
from app.services.door import bring_in as record
from app.services.harm import DETECTORS
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import STORE_IT
from tests.contracts.harm_room import BY, FAULTY, OF_DRUMS, SLOW, form_of, furniture, said_of
from tests.factories import NOW, ROOM, furnish

API = f"/api/v1/rooms/{ROOM}"


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that is made once, and copied for every fault."""
    return made(tmp_path_factory.mktemp("harm"), furniture())


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with baths of a slow solvent."""
    return made(tmp_path_factory.mktemp("slow"), furniture(SLOW, "glycol_ether_resin"))


def made(folder: Path, entries: list[Entry]) -> Path:
    served = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    store: Store = served.state.store
    furnish(store, tanks=0)
    record(store, ROOM, entries, NOW)
    with TestClient(served, base_url="http://room.test"):
        pass  # closes the database as it ends
    return folder


@contextmanager
def room_with(furnished: Path, folder: Path, fault: str) -> Iterator[TestClient]:
    """A tablet on a copy of the room, in which something is wrong."""
    shutil.copytree(furnished, folder, dirs_exist_ok=True)
    served = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    record(served.state.store, ROOM, FAULTY[fault](), NOW)
    with TestClient(served, base_url="http://room.test") as client:
        client.cookies.set("person", "Wren")
        yield client


def count(client: TestClient) -> int:
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        return session.exec(select(func.count()).select_from(EntryRow)).one()


def send(client: TestClient, act: str, fault: str, door: str, answer: str = "") -> Any:
    """An act at a door, with the answer to what was asked before."""
    if door == "form":
        path, fields = form_of(act, fault)
        key = f"{act}-{fault}-{answer}"
        sent = {**BY, **fields, "submission": key, **({"confirmed": answer} if answer else {})}
        return client.post(path, data=sent, follow_redirects=False)
    entries = [{"by": "Wren", **one} for one in said_of(act, fault, door)]
    options = {"confirm": answer.split()} if answer else {}
    return client.post(f"{API}/entries/batch", json={"entries": entries}, params=options)


def asked_of(answer: Any, door: str) -> list[str]:
    """The names of the questions that an answer asks."""
    if door == "api":
        return [one["name"] for one in answer.json().get("questions", [])]
    found = STORE_IT.search(answer.text)
    return found[1].split()[1:] if found else []


def answer_text(answer: Any, door: str) -> str:
    return answer.text if door == "form" else json.dumps(answer.json(), ensure_ascii=False)


def walk(client: TestClient, fault: str, act: str, door: str) -> str:
    """What a door does with an act: forbidden, asked or stored. What it asks it is told."""
    before, first = count(client), send(client, act, fault, door)
    if first.status_code in (201, 303):
        assert count(client) > before, (fault, act, door)
        return "stored"
    text = answer_text(first, door)
    assert first.status_code in (409, 422), (fault, act, door, first.status_code, text[:400])
    assert count(client) == before, f"{fault}, {act}, {door}: refused and stored"
    names = asked_of(first, door)
    if fault not in names:
        return f"forbidden: {text}"
    others = " ".join(name for name in names if name != fault) or "tank_held"
    if door == "api" and fault != others:
        refused = send(client, act, fault, door, others)
        assert (refused.status_code, count(client)) == (409, before), "another name's answer"
    found = STORE_IT.search(text)
    done = send(client, act, fault, door, found[1] if found else " ".join(names))
    assert done.status_code in (201, 303), (fault, act, door, answer_text(done, door)[-3000:])
    assert count(client) > before
    return "asked"


STORED = {"told": "stored", "none": "stored", "asked": "asked"}


@pytest.mark.parametrize("fault", list(FAULTS))
def test_every_door_answers_as_the_cell_says(
    fault: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    wrong, is_whole = [], request.config.getoption("nightly")
    furnished = request.getfixturevalue("slow" if fault == "flash_lowered" else "furnished")
    with room_with(furnished, tmp_path, fault) as client:
        at_once = all_at_once(client, fault)
        for act in ACTS:
            cell = MATRIX[fault, act]
            for door in ("form", "api"):
                if door == "api" and act in at_once:
                    continue
                done = walk(client, fault, act, door)
                if done.partition(":")[0] != STORED.get(cell.answer, cell.answer):
                    wrong.append((act, door, cell.answer, _short(done)))
        wrong += imported(client, fault, is_whole)
    assert wrong == []


def all_at_once(client: TestClient, fault: str) -> set[str]:
    """The acts that a fault does not stop, sent together; none where one of them was stopped."""
    free = [act for act in ACTS if MATRIX[fault, act].answer in ("told", "none")]
    entries = [{"by": "Wren", **one} for act in free for one in said_of(act, fault, "api")]
    before = count(client)
    done = client.post(f"{API}/entries/batch", json={"entries": entries})
    if done.status_code != 201:
        assert count(client) == before
        return set()  # each is then sent alone, which names the one
    assert count(client) == before + len(entries)
    return set(free)


def _short(done: str) -> str:
    at = done.find('id="problems"')
    return done[max(0, at) :][:600]


def imported(client: TestClient, fault: str, is_whole: bool) -> list[tuple[str, ...]]:
    """What an import refuses of the acts that a fault stops at other doors, where it stops none or
    the run is to be whole of all acts: nothing, since it tells what was."""
    stopped = [act for act in ACTS if MATRIX[fault, act].answer not in ("told", "none")]
    lines = [
        json.dumps({"at": NOW.isoformat(), "by": "Wren", **entry})
        for act in (ACTS if is_whole else stopped or ACTS)
        for entry in said_of(act, fault, "import")
    ]
    before = count(client)
    done = client.post(
        f"{API}/import", content="\n".join(lines), headers={"content-type": "application/x-ndjson"}
    )
    is_in = done.status_code == 201 and count(client) == before + len(lines)
    return [] if is_in else [("import", done.text[:600])]


def test_a_fault_or_act_without_answers_cannot_be_built() -> None:
    faults, acts = list(FAULTS.values()), list(ACTS.values())
    assert len(build(faults, LETTERS, acts)) == len(faults) * len(acts)
    with pytest.raises(ValueError, match="answers for"):
        build(faults, LETTERS + "Z", [*acts, Task("burn", "Z", "Burn")])
    short = Fault("new", "New", "room", "F" * (len(acts) - 1), "It harms.")
    with pytest.raises((ValueError, KeyError)):
        build([short], LETTERS, acts)
    with pytest.raises(ValueError, match="is no answer"):
        build([Fault("tank_held", "x", "room", "?" * len(acts), "It harms.")], LETTERS, acts)


def test_every_fault_is_looked_for_and_tried() -> None:
    assert set(DETECTORS) == set(FAULTS) == set(FAULTY)
    assert all(kind in KINDS.values() for kind in OF_KIND)
    assert set(OF_DRUMS) <= set(ACTS)


def test_every_cell_that_applies_says_why_and_from_where() -> None:
    for cell in MATRIX.values():
        assert cell.reason, cell
        assert bool(cell.source) == (cell.answer != "none"), cell


def test_what_is_refused_bears_the_name_of_its_cell(furnished: Path, tmp_path: Path) -> None:
    from app.api.entry_models import line_of  # noqa: F401 - the words are those of the API
    from app.domain.roomlog.lines import parse_entry
    from app.services.door import enter

    for fault in ("hood_fault", "drum_warm", "lot_expired", "interlock_fault"):
        with room_with(furnished, tmp_path / fault, fault) as client:
            store: Store = client.app.state.store  # type: ignore[attr-defined]
            for (of, act), cell in MATRIX.items():
                if of != fault or cell.answer != "forbidden":
                    continue
                said = [parse_entry({"at": NOW, **one}) for one in said_of(act, fault, "api")]
                with pytest.raises(FieldErrors) as raised:
                    enter(store, ROOM, said, NOW)
                assert fault in {one.rule for one in raised.value.errors}, (fault, act)
