"""The doors beside a form and a program's entry: each gives the answer that the matrix gives.

A correction turned to what is faulty, by form and as a program; a form that waited on a tablet, and
a program that says it had; the second kind of a start of a swap; the addresses of codes. Nothing of
it is stored unasked where a cell answers, and nothing that a cell forbids by any answer.
"""

import hashlib
import json
import re
import shutil
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.cli import imports as commands
from app.cli import main
from app.config import Settings
from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import as_data
from app.domain.harm.acts import ACTS
from app.domain.harm.faults import FAULTS
from app.domain.harm.late import BEGAN, DONE, DONE_BEFORE, DONE_UNDER
from app.domain.harm.matrix import MATRIX
from app.domain.roomlog.lines import parse_entry
from app.main import create_app
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.answers import STORE_IT
from tests.contracts.harm_room import SLOW, STEP_ACTS, form_of, furniture, said_of
from tests.contracts.test_harm import API, AT, asked_of, count, made, room_with
from tests.factories import NOW, ROOM

SHARE = 6  # of the pairs of fault and act, one in so many in an ordinary run
WAITED = {"X-Sent-By": "outbox", "X-Touched-By": "Wren"}
MOVABLE = ("wash", "measure")
"""Acts whose correction form lets the tank be another."""


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that is made once, and copied for every fault."""
    return made(tmp_path_factory.mktemp("doors"), furniture())


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with baths of a slow solvent."""
    return made(tmp_path_factory.mktemp("slow"), furniture(SLOW, "glycol_ether_resin"))


def answered(fault: str, is_whole: bool) -> list[str]:
    """The acts that a fault's cells answer; a share of them, the same in each run; all nightly."""

    def chosen(act: str) -> bool:
        mark = hashlib.sha256(f"{fault} {act}".encode()).digest()
        return is_whole or mark[0] % SHARE == 0

    acts = [act for act in ACTS if MATRIX[fault, act].answer in ("forbidden", "asked")]
    return [act for act in acts if chosen(act)] or acts[:1]


def store_of(client: TestClient) -> Store:
    return client.app.state.store  # type: ignore[attr-defined,no-any-return]


class Doors:
    """Doors at a room with a fault, each tried with an act that a cell answers."""

    def __init__(self, client: TestClient, fault: str) -> None:
        self.client, self.fault = client, fault
        self.wrong: list[tuple[str, ...]] = []
        self.tried = 0

    def try_(self, act: str, door: str, send: Any, *, may_be_told: bool = False) -> None:
        """What is sent is stored neither unasked nor, where it is forbidden, by any answer."""
        self.tried += 1
        before, first = count(self.client), send("")
        stored = count(self.client) - before
        if first.status_code not in (400, 404, 409, 422) or stored:
            self.wrong.append((act, door, f"{first.status_code}, {stored} stored"))
            return
        is_program = first.headers["content-type"].startswith("application/")
        names = asked_of(first, "api" if is_program else "form")
        found = STORE_IT.search(first.text)
        if not names or MATRIX[self.fault, act].answer == "asked":
            return
        if may_be_told and {DONE_UNDER, DONE_BEFORE} & set(names):
            return  # what a tablet kept was done: it is asked, and marked in the log
        then = send(found[1] if found and not is_program else " ".join(names))
        if count(self.client) - before:
            self.wrong.append((act, door, f"{then.status_code}: stored by an answer", *names))

    def correct(self, act: str) -> None:
        """What was stored of a sound thing is corrected to the faulty one."""
        said = said_of(act, self.fault, "api")
        for place, (old, new) in enumerate(zip(self.sound(act), said, strict=True)):
            uid = f"c-{act}-{place}"
            entry = parse_entry({"at": NOW - timedelta(minutes=1), "id": uid, "by": "Finch", **old})
            record(store_of(self.client), ROOM, [entry], NOW)
            if not self.is_of_fault(act, new):
                continue
            sent = {"by": "Wren", "at": NOW.isoformat(), **new}
            self.try_(act, "correction, program", lambda yes, uid=uid, sent=sent: self.client.post(
                f"{API}/entries/{uid}/correction", json=sent,
                params={"confirm": yes.split()} if yes else {},
            ))  # fmt: skip
            if act not in MOVABLE or FAULTS[self.fault].thing == "instrument":
                continue  # the form keeps the thing: what is corrected is a figure of the same one
            typed = {name: as_typed(value) for name, value in sent.items() if name != "kind"}
            self.try_(act, "correction, form", lambda yes, uid=uid, typed=typed: self.client.post(
                f"{AT}/entries/{uid}/correct", data=typed | ({"confirmed": yes} if yes else {}),
                follow_redirects=False,
            ))  # fmt: skip

    def sound(self, act: str) -> list[dict[str, Any]]:
        """The act as it was done before, with things that have no fault: lots that are good, and
        less of what is ordered or delivered."""
        said = said_of(act, "", "import")
        more = {"quantity": 1.0} if act in ("order", "receive") else {}
        return [one | more for one in said]

    def is_of_fault(self, act: str, new: dict[str, Any]) -> bool:
        """Of an act that takes from the shelf, the entry that the fault is in."""
        is_of_lot = FAULTS[self.fault].thing == "lot"
        is_use = new["kind"] in ("stock_used", "stock_received")
        return is_use == is_of_lot if len(said_of(act, self.fault, "api")) > 1 else True

    def wait(self, act: str) -> None:
        path, fields = form_of(act, self.fault)
        touched = {"X-Touched-At": (NOW - timedelta(seconds=5)).isoformat()}

        def send(yes: str) -> Any:
            sent = {"by": "Wren", **fields, "submission": f"w-{act}-{self.fault}-{yes}"}
            sent |= {"confirmed": yes} if yes else {}
            return self.client.post(path, data=sent, headers=WAITED | touched,
                                    follow_redirects=False)  # fmt: skip

        self.try_(act, "kept on a tablet", send, may_be_told=act in DONE and self.fault in BEGAN)

    def pretend(self, act: str) -> None:
        """A program is no tablet: it says what it does as it does it."""
        entries = [{"by": "Wren", **one} for one in said_of(act, self.fault, "api")]
        self.try_(act, "program that says it waited", lambda yes: self.client.post(
            f"{API}/entries/batch", json={"entries": entries}, headers=WAITED,
            params={"confirm": yes.split()} if yes else {},
        ))  # fmt: skip

    def open(self) -> None:
        """The list of a swap taken up without the word that the swap begins."""
        sent = {
            "kind": "swap_opened", "swap": "new", "tank": "swap_start-api", "checklist": "swap",
            "version": 1, "steps": as_data(DEFAULT.steps), "estimated_l": 40.0, "capacity_l": 40.0,
            "min_l": 30.0, "by": "Wren",
            "solvent": SLOW if self.fault == "flash_lowered" else "isopropanol",
        }  # fmt: skip
        self.try_("swap_start", "list taken up", lambda yes: self.client.post(
            f"{API}/entries", json=sent, params={"confirm": yes.split()} if yes else {},
        ))  # fmt: skip


def as_typed(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value)


@pytest.mark.parametrize("fault", list(FAULTS))
def test_every_other_door_gives_the_matrix_its_answer(
    fault: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    is_whole = request.config.getoption("nightly")
    base = request.getfixturevalue("slow" if fault == "flash_lowered" else "furnished")
    acts = answered(fault, is_whole)
    with room_with(base, tmp_path, fault) as client:
        doors = Doors(client, fault)
        if MATRIX[fault, "swap_start"].answer in ("forbidden", "asked"):
            doors.open()
        for act in acts:
            doors.pretend(act)
            doors.wait(act)
            if act not in STEP_ACTS and act not in ("sign", "swap_start"):
                doors.correct(act)  # a tick and a signature are taken back, not corrected
        assert doors.wrong == [], json.dumps(doors.wrong, indent=1)
        assert doors.tried >= 2 * len(acts)


STATION = f"{AT}/tanks/wash-form"
"""The page of a tank, left open at the wash station: one touch logs the last load again."""


def touched(page: str) -> dict[str, str]:
    """The fields of the one touch as the page has them; empty where it offers none."""
    for form in re.findall(r"<form[^>]*action=\"([^\"]*)\"[^>]*>(.*?)</form>", page, re.S):
        if form[0] == STATION:
            return dict(re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', form[1]))
    return {}


@pytest.mark.parametrize(
    "fault", [one for one in FAULTS if MATRIX[one, "wash"].answer in ("forbidden", "asked")]
)
def test_one_touch_at_the_station_is_answered_as_the_form_is(
    fault: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """The page was open before the fault began, so it is touched whether it is offered or not."""
    base = request.getfixturevalue("slow" if fault == "flash_lowered" else "furnished")
    load = parse_entry({"kind": "wash", "tank": "wash-form", "resin": "slate", "area_cm2": 520.0,
                        "at": NOW - timedelta(hours=30), "by": "Finch"})  # fmt: skip
    plain = tmp_path / "plain"
    shutil.copytree(base, plain)
    served = create_app(Settings(data_dir=plain), clock=lambda: NOW)
    with TestClient(served, base_url="http://room.test") as client:
        record(store_of(client), ROOM, [load], NOW)
        fields = touched(client.get(STATION).text)
        assert fields["area_cm2"], "the page offers the load"
    with room_with(plain, tmp_path / "faulty", fault) as client:
        doors = Doors(client, fault)

        def send(yes: str) -> Any:
            sent = fields | {"submission": f"t-{fault}-{yes}"} | ({"confirmed": yes} if yes else {})
            return client.post(STATION, data=sent, follow_redirects=False)

        doors.try_("wash", "one touch", send)
        assert doors.wrong == []


ENTERED = [act for act in ACTS if act not in STEP_ACTS and act not in ("swap_start", "sign")]
"""Acts that a file may tell of: a step and a signature are given on their page."""
FILES = {
    fault: [act for act in ENTERED if MATRIX[fault, act].answer == "forbidden"] for fault in FAULTS
}
FORBIDS = "that this room forbids now"


def file_of(fault: str, acts: list[str]) -> str:
    lines = [
        {"at": NOW.isoformat(), "by": "Wren", **one}
        for act in acts for one in said_of(act, fault, "import")
    ]  # fmt: skip
    return "\n".join(json.dumps(line) for line in lines)


@pytest.mark.parametrize("fault", [fault for fault, acts in FILES.items() if acts])
def test_a_file_brought_in_by_the_page_says_what_is_forbidden_before_it_is_stored(
    fault: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """It tells what was, so it is not refused; nobody stores it without having read that."""
    base = request.getfixturevalue("slow" if fault == "flash_lowered" else "furnished")
    with room_with(base, tmp_path, fault) as client:
        for act in FILES[fault]:
            before = count(client)
            log = {"log": ("log.jsonl", file_of(fault, [act]).encode(), "application/jsonl")}
            sent = client.post(f"{AT}/import", files=log, follow_redirects=False)
            assert sent.status_code == 303, (act, sent.text[:400])
            page = read(client, sent.headers["location"])
            assert FORBIDS in page, (fault, act, re.sub(r"<[^>]+>|\s+", " ", page)[-1500:])
            assert count(client) == before, (fault, act)


def read(client: TestClient, address: str) -> str:
    """The page of an import once the file is read."""
    for _ in range(200):
        page = client.get(address).text
        if "Store" in page or "do not fit" in page or FORBIDS in page:
            return page
        time.sleep(0.05)
    raise AssertionError(page)


@pytest.mark.parametrize("fault", ["tank_held", "drum_warm", "lot_withdrawn", "interlock_fault"])
def test_a_file_brought_in_by_a_command_says_it_too(
    fault: str,
    furnished: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(commands, "utc_now", lambda: NOW)
    with room_with(furnished, tmp_path, fault):
        pass
    log = tmp_path / "log.jsonl"
    log.write_text(file_of(fault, FILES[fault]))
    for more in (["--check"], []):
        main(["import", str(log), "--room", ROOM, "--data", str(tmp_path), *more])
        told = capsys.readouterr()
        assert FORBIDS in told.out + told.err, more


def test_a_code_on_a_thing_stores_nothing(furnished: Path, tmp_path: Path) -> None:
    with room_with(furnished, tmp_path, "tank_held") as client:
        before = count(client)
        for sort, key in {
            "t": "wash-api", "w": "wash-api", "r": "wash-api", "x": "wash-api", "h": "wash-api",
            "l": "wash-api",
            "d": "pour-api", "s": "cure-api", "i": "ipa",
        }.items():  # fmt: skip
            answer = client.get(f"/q/{ROOM}/{sort}/{key}")
            assert (answer.status_code, count(client)) == (200, before), (sort, key)
        assert "It drips" in client.get(f"/q/{ROOM}/w/wash-api").text
