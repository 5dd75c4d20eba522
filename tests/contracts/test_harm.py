"""Every fault times every act through every door: a form, a program, an import of what was.

The matrix is held against what the doors do, and not against itself: each fault is put into the
log, each act is sent, and the answer of the door is read from what it says and what it stores.
"""

import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
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
from app.domain.harm.late import BEGAN, DONE_BEFORE, DONE_UNDER, THIS
from app.domain.harm.matrix import MATRIX, build
from app.domain.roomlog.kinds import KINDS, Entry, Wash
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.domain.roomlog.lines import own_fields
from app.main import create_app
from app.services.door import bring_in as record
from app.services.harm import DETECTORS
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import STORE_IT
from tests.contracts.harm_room import (
    AT,
    BY,
    FAULTY,
    OF_DRUMS,
    SLOW,
    STEP_ACTS,
    form_of,
    furniture,
    said_of,
)
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


@pytest.fixture(scope="module")
def water(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with water-based baths."""
    return made(tmp_path_factory.mktemp("water"), furniture("water_based", "water_wash"))


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


UNDER_WAY = " is under way here."
STORED = {"told": "stored", "none": "stored", "asked": "asked"}


BATHS = [(fault, "furnished") for fault in FAULTS if fault != "flash_lowered"]
BATHS += [("flash_lowered", "slow"), ("flash_lowered", "water")]


@pytest.mark.parametrize("fault, baths", BATHS)
def test_every_door_answers_as_the_cell_says(
    fault: str, baths: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    wrong, is_whole = [], request.config.getoption("nightly")
    furnished = request.getfixturevalue(baths)
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
    at = max(done.find('id="problems"'), done.find('id="doubts"'), 0)
    return re.sub(r"<[^>]*>|\s+", " ", done[at:][:900]) if at else done[:600]


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
    done = bring(client, lines)
    if done.status_code == 422:  # steps of the swap under way are ticked on its page, by no file
        lines = without_steps(lines, done.json()["errors"])
        if not lines:
            return []
        done = bring(client, lines)
    is_in = done.status_code == 201 and count(client) == before + len(lines)
    return [] if is_in else [("import", done.text[:600])]


def bring(client: TestClient, lines: list[str]) -> Any:
    content = "\n".join(lines)
    headers = {"content-type": "application/x-ndjson"}
    return client.post(f"{API}/import", content=content, headers=headers)


def without_steps(lines: list[str], errors: list[dict[str, str]]) -> list[str]:
    """The lines but those that a file may not bring since their swap or look goes on here."""
    steps = {
        int(one["field"].split()[1].rstrip(",")) for one in errors if UNDER_WAY in one["message"]
    }
    return [line for number, line in enumerate(lines, 1) if number not in steps]


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


LATE_AT = NOW - timedelta(minutes=90)
"""Half an hour before each fault of the room began (harm_room.AN_HOUR_AGO)."""
NOW_ONLY = {
    "swap_start": "a swap is begun on its page as it begins",
    "swap_drum": "a step is ticked as it is done",
    "drain": "a step is ticked as it is done",
    "rinse": "a step is ticked as it is done",
    "inspect": "a step is ticked as it is done",
    "move": "a step is ticked as it is done",
    "fill": "a step is ticked as it is done",
    "restart": "a step is ticked as it is done",
    "sign": "an inspection is signed as it is read",
    "order": "an order is placed now",
}
"""Acts whose form has no time: what is sent with one is of now, and answered as that."""


SHUT_ALREADY = ("drum_closed", "close_drum")
"""What is closed is not closed a second time, at any time."""


def late_cells(fault: str) -> list[str]:
    return [
        act
        for act in ACTS
        if MATRIX[fault, act].answer in ("forbidden", "asked") and (fault, act) != SHUT_ALREADY
    ]


@pytest.mark.parametrize("fault", list(BEGAN))
def test_what_is_dated_before_a_fault_is_asked_about_by_name(
    fault: str, furnished: Path, tmp_path: Path
) -> None:
    """A time typed into a form is no way round a hold, and what happened before it is not lost."""
    wrong = []
    with room_with(furnished, tmp_path, fault) as client:
        for act in late_cells(fault):
            for door in ("form", "api"):
                if door == "form" and act in NOW_ONLY:
                    continue
                done = told_late(client, fault, act, door)
                # A gate of the list is shut until it is opened, whatever time a tick tells.
                is_gated = act in STEP_ACTS and "One value needs fixing" in done
                if done != "asked" and not is_gated:
                    wrong.append((act, door, _short(done)))
    assert wrong == []


def told_late(client: TestClient, fault: str, act: str, door: str) -> str:
    """What a door does with an act of before the fault."""
    before, first = count(client), send_late(client, act, fault, door)
    text = answer_text(first, door)
    if first.status_code in (201, 303):
        return f"stored {count(client) - before} without a word"
    names = asked_of(first, door)
    if DONE_BEFORE not in names or first.status_code not in (409, 422):
        return f"{first.status_code}: {text}"
    assert count(client) == before
    found = STORE_IT.search(text)
    answer = found[1] if found else " ".join(names)
    done = send_late(client, act, fault, door, answer)
    if done.status_code not in (201, 303):
        return f"then {done.status_code}: {answer_text(done, door)}"
    return "asked"


def send_late(client: TestClient, act: str, fault: str, door: str, answer: str = "") -> Any:
    if door == "form":
        path, fields = form_of(act, fault)
        sent = {
            **BY,
            **fields,
            "at": LATE_AT.isoformat(),
            "submission": f"l-{act}-{fault}-{answer}",
        }
        sent |= {"confirmed": answer} if answer else {}
        return client.post(path, data=sent, follow_redirects=False)
    at = LATE_AT.isoformat()
    entries = [{"by": "Wren", "at": at, **one} for one in said_of(act, fault, door)]
    options = {"confirm": answer.split()} if answer else {}
    return client.post(f"{API}/entries/batch", json={"entries": entries}, params=options)


def wash_at(at: datetime, **more: Any) -> dict[str, Any]:
    return {
        "kind": "wash", "tank": "wash-api", "resin": "slate", "area_cm2": 520.0, "by": "Wren",
        "at": at.isoformat(), **more,
    }  # fmt: skip


def say(client: TestClient, *entries: Any, confirm: str = "") -> Any:
    options = {"confirm": confirm.split()} if confirm else {}
    told = [one if isinstance(one, dict) else line_of(one) for one in entries]
    return client.post(f"{API}/entries/batch", json={"entries": told}, params=options)


def correct(client: TestClient, uid: str, said: dict[str, Any], confirm: str = "") -> Any:
    options = {"confirm": confirm} if confirm else {}
    return client.post(f"{API}/entries/{uid}/correction", json=said, params=options)


def line_of(entry: Entry) -> dict[str, Any]:
    return {"kind": entry.kind, "at": entry.at.isoformat(), "by": entry.by, **own_fields(entry)}


def held_tank(since: datetime, **more: Any) -> Entry:
    return TankHeld(at=since, tank="wash-api", reason="It drips", cause="lead", **more)


def released(at: datetime) -> Entry:
    return TankReleased(at=at, tank="wash-api", lead="Curlew", reason="Seal replaced", by="Curlew")


def test_who_says_it_was_before_the_hold_gives_a_name(furnished: Path, tmp_path: Path) -> None:
    with room_with(furnished, tmp_path, "tank_held") as client:
        answer = say(client, wash_at(LATE_AT, by=""), confirm=DONE_BEFORE)
        assert answer.status_code == 422
        assert [one["field"] for one in answer.json()["errors"]] == ["entries.0.by"]


def test_what_was_done_under_a_hold_that_has_ended_is_asked_about_and_kept(
    furnished: Path, tmp_path: Path
) -> None:
    with room_with(furnished, tmp_path, "lot_expired") as client:
        store: Store = client.app.state.store  # type: ignore[attr-defined]
        record(store, ROOM, [held_tank(NOW - timedelta(hours=3), by="Wren")], NOW)
        record(store, ROOM, [released(NOW - timedelta(hours=1))], NOW)
        said = wash_at(NOW - timedelta(hours=2))
        asked = say(client, said)
        assert (asked.status_code, asked_of(asked, "api")) == (409, [DONE_UNDER])
        assert "This tank was put on hold at 09:00 (it drips)." in asked.text
        assert say(client, said, confirm=DONE_BEFORE).status_code == 409, "another answer"
        assert say(client, said, confirm=DONE_UNDER).status_code == 201
        for hours in (4, 0.5):  # before the hold, which stands no more, and after it
            assert say(client, wash_at(NOW - timedelta(hours=hours))).status_code == 201


def test_a_correction_takes_no_wash_over_a_hold_unasked(furnished: Path, tmp_path: Path) -> None:
    with room_with(furnished, tmp_path, "tank_held") as client:
        store: Store = client.app.state.store  # type: ignore[attr-defined]
        early = Wash(at=LATE_AT, id="early", tank="wash-api", resin="slate", area_cm2=520.0)
        under = Wash(at=NOW - timedelta(minutes=30), id="under", tank="wash-api", resin="slate",
                     area_cm2=520.0)  # fmt: skip
        record(store, ROOM, [early, under], NOW)  # as an import brings them in
        same = correct(client, "early", wash_at(LATE_AT, area_cm2=530.0))
        assert same.status_code == 201, same.text  # its time stays
        later = wash_at(NOW - timedelta(minutes=20))
        assert correct(client, same.json()["ids"][0], later).status_code == 422
        sooner = wash_at(LATE_AT - timedelta(minutes=5))
        asked = correct(client, "under", sooner)
        assert (asked.status_code, asked_of(asked, "api")) == (409, [DONE_BEFORE])
        assert correct(client, "under", sooner, DONE_BEFORE).status_code == 201


def test_a_hold_that_a_fast_clock_dates_ahead_holds_at_once(
    furnished: Path, tmp_path: Path
) -> None:
    with room_with(furnished, tmp_path, "lot_expired") as client:
        assert say(client, held_tank(NOW + timedelta(minutes=4), by="Wren")).status_code == 201
        for at in (NOW, NOW + timedelta(minutes=3)):
            assert say(client, wash_at(at)).status_code == 422


def test_every_act_and_every_fault_that_begins_has_its_words() -> None:
    assert set(THIS) == set(ACTS)
    assert set(BEGAN) <= set(FAULTS)


def test_the_log_and_the_hold_tell_what_came_in_after_the_hold(
    furnished: Path, tmp_path: Path
) -> None:
    """By whichever door: asked about and answered, or brought in by an import that is not asked."""
    with room_with(furnished, tmp_path, "tank_held") as client:
        assert say(client, wash_at(LATE_AT), confirm=DONE_BEFORE).status_code == 201
        lines = [wash_at(NOW - timedelta(minutes=m), by="Finch") for m in (30, 100)]
        brought = client.post(
            f"{API}/import", content="\n".join(map(json.dumps, lines)),
            headers={"content-type": "application/x-ndjson"},
        )  # fmt: skip
        assert brought.status_code == 201
        early = (
            "entered after the hold of this tank of Mon 2 Mar 2026 11:00, said to be from before"
        )
        under = "done during the hold of this tank of Mon 2 Mar 2026 11:00"
        for page in (f"{AT}/log?tank=wash-api", f"{AT}/tanks/wash-api/hold"):
            text = client.get(page).text.lower()
            assert (text.count(early.lower()), text.count(under.lower())) == (2, 1), page
        assert early in client.get(f"{AT}/log.csv?tank=wash-api").text
