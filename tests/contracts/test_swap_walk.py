"""A swap walked by hand to its end, alone and of a pair, with every fault in its way at each step.

At each step that the harm matrix knows, every fault that its cell forbids or asks about is put into
the log; the step is tried by form and as a program; a stranger throws the fault's entries at the
addresses that take back; then it is mended the way that is meant, and the swap goes on.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.config import Settings
from app.domain.checklists.roles import PAIR_ONLY
from app.domain.checklists.run import SwapState
from app.domain.harm.acts import OF_ROLE
from app.domain.harm.matrix import MATRIX
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.qualifications import ACTS_QUALIFIED, QualificationEnded, Qualified
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, LotReleased, StockReceived
from app.domain.roomlog.kinds.waste import (
    Drum,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
)
from app.main import create_app
from app.services.acts.inspections import look_at, new_key
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.swaps.looks import FOUND, looks_missing
from app.services.swaps.under_way import open_swap
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import STORE_IT
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.looks import NOBODY, answers_of

API, AT = f"/api/v1/rooms/{ROOM}", f"/rooms/{ROOM}"
STRANGER = "Nobody Here"
DIRTY, CLEAN = "dirty", "clean"


def words(answer: Any) -> str:
    """What an answer says is wrong or asked, without its marks."""
    text = answer.text
    at = max(text.find('id="problems"'), text.find('id="doubts"'), text.find('class="gate'), 0)
    return re.sub(r"(<[^>]*>|\s)+", " ", text[at:][:900])[:400]


class Clock:
    """Half a minute passes at each look."""

    def __init__(self) -> None:
        self.now = NOW.astimezone(UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


Made = Callable[[datetime, str], list[Entry]]


@dataclass(frozen=True)
class Trouble:
    """A fault in the way: what the log says of it, what mends it, or what a step says otherwise.

    `tank` says whether it is tried on each tank of a pair.
    """

    fault: str
    begins: Made = lambda _, __: []
    ends: Made = lambda _, __: []
    is_of_tank: bool = False
    by: str = ""
    answers: Mapping[str, Any] = field(default_factory=dict)


def hold_ends(at: datetime, key: str) -> list[Entry]:
    return [TankReleased(at=at, tank=key, lead="Curlew", reason="Mended and tried")]


def look(duty: str, outcome: str, of: str | None = None) -> Made:
    return lambda at, key: [
        DutyDone(at=at, duty=duty, of=key if of else None, outcome=outcome, note="It sticks",
                 by="Wren")
    ]  # fmt: skip


def of_drum(kind: type[Any], **more: Any) -> Made:
    return lambda at, _: [kind(at=at, drum="d1", **more)]


SEEN = {"lid_closed": True, "label_complete": True, "date_visible": True, "no_leak": True,
        "aisle_free": True}  # fmt: skip
FREE = {"lead": "Curlew", "reason": "It is cold and tested"}


def cover_ends(at: datetime, key: str) -> list[Entry]:
    return [*look("cover", "in_order", "tank")(at, key), *hold_ends(at, key)]


TROUBLES = (
    Trouble("hood_fault", look("hood_look", "fault"), look("hood_look", "in_order")),
    Trouble("eyewash_fault", look("eyewash", "fault"), look("eyewash", "in_order")),
    Trouble("cover_fault", look("cover", "fault", "tank"), cover_ends, is_of_tank=True),
    Trouble(
        "tank_held",
        lambda at, key: [TankHeld(at=at, tank=key, reason="It drips", cause="lead", by="Wren")],
        hold_ends, is_of_tank=True,
    ),
    Trouble(
        "tank_heated",
        lambda at, key: [TankBuild(at=at, tank=key, material="metal", is_ultrasonic=True)],
        lambda at, key: [TankBuild(at=at, tank=key, material="metal", is_ultrasonic=False)],
        is_of_tank=True,
    ),
    Trouble("drum_warm", of_drum(DrumChecked, **SEEN, is_warm=True), of_drum(DrumReleased, **FREE)),
    Trouble("drum_unsound", of_drum(DrumChecked, **{**SEEN, "no_leak": False}),
            of_drum(DrumChecked, **SEEN)),
    Trouble("drum_quarantined", of_drum(DrumQuarantined, reason="It smells of acetone", by="Wren"),
            of_drum(DrumReleased, **FREE)),
    Trouble("drum_closed", of_drum(DrumClosed, is_cool=True), of_drum(DrumOpened)),
    Trouble("drum_over_limit", of_drum(DrumChanged, capacity_l=5.0),
            of_drum(DrumChanged, capacity_l=200.0)),
    Trouble("drum_wrong_stream", of_drum(DrumChanged, stream="acetone_resin"),
            of_drum(DrumChanged, stream="isopropanol_resin")),
    Trouble("drum_no_liquid", of_drum(DrumChanged, stream="wipes"),
            of_drum(DrumChanged, stream="isopropanol_resin")),
    Trouble("drum_unknown", of_drum(DrumChanged, stream="unknown"),
            of_drum(DrumChanged, stream="isopropanol_resin")),
    Trouble("lot_expired", answers={"lot": "ipa|OLD"}),
    Trouble("lot_wrong_solvent", answers={"lot": "ace|AC"}),
    Trouble(
        "lot_quarantined",
        lambda at, _: [LotHeld(at=at, item="ipa", lot="A7", standing="quarantined",
                                 reason="It smells", by="Wren")],
        lambda at, _: [LotReleased(at=at, item="ipa", lot="A7", lead="Curlew", reason="Fine")],
    ),
    Trouble("person_not_qualified", by="Finch"),
    Trouble("person_not_for_it", by="Rook"),
)  # fmt: skip


def furniture() -> list[Entry]:
    return [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        *(
            Qualified(at=START, qualifications="qualifications", person=name, act=act,
                      until_on=date(2027, 3, 2), lead="Curlew", trained_on=START.date())
            for act in ACTS_QUALIFIED for name in ("Wren", "Curlew")
        ),
        *(
            QualificationEnded(at=START, qualifications="qualifications", person="Rook", act=act,
                               lead="Curlew")
            for act in ACTS_QUALIFIED
        ),
        Drum(at=START, drum="d1", name="W-13", capacity_l=200, volume_l=10.0,
             stream="isopropanol_resin", area="wash_station"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.0),
        Item(at=START, item="ace", name="Acetone", category="solvent", unit="L",
             solvent="acetone", purity_percent=99.0),
        StockReceived(at=START, item="ipa", quantity=200, lot="A7"),
        StockReceived(at=START, item="ipa", quantity=200, lot="OLD", expires_on=date(2026, 2, 20)),
        StockReceived(at=START, item="ace", quantity=200, lot="AC"),
        tank(CLEAN),
        tank(DIRTY, pair=CLEAN),
        *(wash(9 - i, DIRTY, area_cm2=3000.0) for i in range(8)),
        *(
            duty
            for name in ("hood_look", "eyewash", "spill_kit", "instrument")
            for duty in look(name, "in_order")(NOW, "")
        ),
        *(duty for key in (DIRTY, CLEAN) for duty in look("cover", "in_order", "tank")(NOW, key)),
    ]  # fmt: skip


class Walk:
    """A swap on its way, at one door: `form` or `api`."""

    def __init__(self, client: TestClient, clock: Clock, door: str, is_pair: bool) -> None:
        self.client, self.clock, self.door, self.is_pair = client, clock, door, is_pair
        self.store: Store = client.app.state.store  # type: ignore[attr-defined]
        self.tried = 0
        self.wrong: list[tuple[str, ...]] = []
        more = {"from_tank": CLEAN} if is_pair else {}
        begun = client.post(
            f"{AT}/tanks/{DIRTY}/swap/start", data={"by": "Wren", **more}, follow_redirects=False
        )
        assert begun.status_code == 303, begun.text

    @property
    def state(self) -> SwapState:
        with Session(self.store.reader) as session:
            state = open_swap(session, find_room(session, ROOM).id or 0, DIRTY)
        assert state is not None
        return state

    def count(self) -> int:
        with Session(self.store.reader) as session:
            return len(session.exec(select(EntryRow.id)).all())

    def answers(self, role: str) -> dict[str, Any]:
        moved = {"moved_l": 38.0}
        return {
            "drum": {"drum": "d1"}, "drain": {"drained_l": 39.0, "heel_l": 1.0}, "move": moved,
            "rinse": {"rinse_l": 2.0, "lot": "ipa|A7"},
            "rinse_clean": {"rinse_l": 2.0, "lot": "ipa|A7"},
            "fill": {"filled_l": 38.0, "lot": "ipa|A7"},
        }.get(role, {})  # fmt: skip

    def send(
        self, door: str, key: str, role: str, trouble: Trouble | None, answer: str = ""
    ) -> Any:
        said = {**self.answers(role), **(trouble.answers if trouble else {})}
        by = (trouble.by if trouble else "") or "Wren"
        if door == "form":
            sent = {f"confirm_{place}": "on" for place in range(8)}
            sent |= {name: str(value) for name, value in said.items()} | {"by": by}
            if role == "reading":
                sent |= {"method": "hydrometer", "density_g_ml": "0.7855", "temperature_c": "20"}
            sent |= {"confirmed": answer} if answer else {}
            path = f"{AT}/tanks/{DIRTY}/swap/steps/{key}/tick"
            return self.client.post(path, data=sent, follow_redirects=False)
        entries = [{"by": by, **one} for one in self.entries(key, role, said)]
        options = {"confirm": answer.split()} if answer else {}
        return self.client.post(f"{API}/entries/batch", json={"entries": entries}, params=options)

    def entries(self, key: str, role: str, said: dict[str, Any]) -> list[dict[str, Any]]:
        """What a program says of a step: the tick, what it poured and what it took."""
        state = self.state
        lot = str(said.pop("lot", "")).partition("|")
        swap, used = state.key, state.tank if role == "rinse" else state.filled_tank
        heel = said.pop("heel_l", None)
        tick: dict[str, Any] = {"kind": "step_done", "swap": swap, "step": key}
        tick |= {"answers": said} if said else {}
        of = used if role == "rinse_clean" else DIRTY
        pour = {"kind": "pour", "drum": "d1", "tank": of, "swap": swap}
        use = {"kind": "stock_used", "item": lot[0], "lot": lot[2], "tank": used, "swap": swap,
               "purpose": "swap"}  # fmt: skip
        if role == "drain":
            tick["answers"] = said | {"heel_l": heel}
            return [tick, pour | {"volume_l": said["drained_l"]}]
        if role in ("rinse", "rinse_clean"):
            return [tick, pour | {"volume_l": 2.0}, use | {"quantity": 2.0}]
        if role == "fill":
            return [tick, use | {"quantity": 38.0}]
        if role == "reading":
            read = {"method": "hydrometer", "density_g_ml": 0.7855, "temperature_c": 20.0}
            bath = {"kind": "reading", "tank": used, "of_fresh": True, **read}
            return [tick | {"answers": read}, bath]
        return [tick]

    def asked(self, answer: Any, door: str) -> list[str]:
        if door == "api":
            return [one["name"] for one in answer.json().get("questions", [])]
        found = STORE_IT.search(answer.text)
        return found[1].split()[1:] if found else []

    def try_(self, key: str, role: str, trouble: Trouble, letter: str, tank_key: str) -> None:
        """Both doors, with a stranger's tries to take the fault back in between."""
        named = self.put(trouble, tank_key)
        for door in ("form", "api"):
            self.tried += 1
            before, answer = self.count(), self.send(door, key, role, trouble)
            what = (key, trouble.fault, tank_key, door)
            names = self.asked(answer, door) if answer.status_code in (409, 422) else []
            is_asked = trouble.fault in names
            if answer.status_code not in (409, 422) or self.count() != before:
                self.wrong.append((*what, f"{answer.status_code}, stored {self.count() - before}"))
                self.take_back_tick(key)
            elif is_asked != (letter == "asked"):
                self.wrong.append((*what, letter, str(names), words(answer)))
            elif letter == "forbidden" and door == "api":
                again = self.send(door, key, role, trouble, trouble.fault if names else "")
                if again.status_code == 201:
                    self.wrong.append((*what, "let through by an answer"))
            for uid in named:
                self.throw(uid)
        self.mend(trouble, tank_key)

    def put(self, trouble: Trouble, key: str) -> list[str]:
        made = trouble.begins(self.clock(), key)
        named = [type(one)(**{**vars(one), "id": f"f{self.tried}-{n}"}) for n, one in
                 enumerate(made)]  # fmt: skip
        if named:
            record(self.store, ROOM, named, self.clock())
            self.clock.now += timedelta(minutes=11)  # past the minutes of who said it
        return [one.id for one in named]

    def mend(self, trouble: Trouble, key: str) -> None:
        made = trouble.ends(self.clock(), key)
        if made:
            record(self.store, ROOM, made, self.clock())

    def throw(self, uid: str) -> None:
        """A stranger takes it back by every address that takes back."""
        for path in (
            f"{AT}/tanks/{DIRTY}/undo/{uid}", f"{AT}/waste/drums/d1/undo/{uid}",
            f"{AT}/waste/take-back/{uid}", f"{AT}/shelf/take-back/{uid}",
        ):  # fmt: skip
            done = self.client.post(path, data={"by": STRANGER}, follow_redirects=False)
            assert done.status_code < 500, (path, done.text)
        done = self.client.post(f"{API}/entries/{uid}/withdrawal", json={"by": STRANGER})
        assert done.status_code < 500, done.text

    def take_back_tick(self, key: str) -> None:
        self.client.post(f"{AT}/tanks/{DIRTY}/swap/steps/{key}/undo", data={"by": "Wren"})

    def tick(self, key: str, role: str) -> None:
        """The step as it is meant: all that is asked is answered."""
        answer = self.send(self.door, key, role, None)
        if answer.status_code in (409, 422):
            found = STORE_IT.search(answer.text)
            names = found[1] if found else " ".join(self.asked(answer, "api")
                                                     if self.door == "api" else [])  # fmt: skip
            answer = self.send(self.door, key, role, None, names)
        assert answer.status_code in (201, 303), (key, self.door, words(answer), self.wrong)
        assert self.state.tick(key) is not None, key

    def looks(self, key: str) -> None:
        step = self.state.step(key)
        assert step is not None
        with Session(self.store.reader) as session:
            room_id = find_room(session, ROOM).id or 0
            missing = looks_missing(session, room_id, self.state, step)
        for one in missing:
            key, at, what = new_key(), self.clock(), FOUND[one.gate]
            begun = InspectionStarted(at=at, by="Wren", inspection=key, tank=one.tank, look=what,
                                      positions=NOBODY)  # fmt: skip
            word = InspectionClosed(at=at, by="Wren", inspection=key)
            said = answers_of(self.store, one.tank, what)
            look_at(self.store, ROOM, begun, said, word, self.clock(), None)


@contextmanager
def walking(folder: Path, door: str, is_pair: bool) -> Iterator[Walk]:
    clock = Clock()
    served = create_app(Settings(data_dir=folder), clock=clock)
    furnish(served.state.store, tanks=0)
    record(served.state.store, ROOM, furniture(), NOW)
    with TestClient(served, base_url="http://room.test") as client:
        yield Walk(client, clock, door, is_pair)


@pytest.mark.parametrize("is_pair", [False, True], ids=["single", "pair"])
@pytest.mark.parametrize("door", ["form", "api"])
def test_no_fault_lets_a_step_pass_on_the_way_to_the_end(
    door: str, is_pair: bool, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """All faults at each step nightly; in every run a quarter of them in each of the four walks."""
    is_whole, share = request.config.getoption("nightly"), 2 * is_pair + (door == "api")
    with walking(tmp_path, door, is_pair) as walk:
        for step in walk.state.steps:
            if not step.is_required or (step.role in PAIR_ONLY and not is_pair):
                continue
            walk.looks(step.key)
            act = OF_ROLE.get(step.role, "")
            for place, trouble in enumerate(TROUBLES if act else ()):
                if not is_whole and place % 4 != share:
                    continue
                letter = MATRIX[trouble.fault, act].answer
                tanks = [DIRTY, CLEAN] if trouble.is_of_tank and is_pair else [DIRTY]
                if letter in ("forbidden", "asked"):
                    for key in tanks:
                        walk.try_(step.key, step.role, trouble, letter, key)
            walk.tick(step.key, step.role)
            if door == "form" and step.role in ("drum", "drain", "fill"):
                walk.take_back_tick(step.key)
                assert walk.state.tick(step.key) is None
                walk.tick(step.key, step.role)
        assert walk.wrong == [], json.dumps(walk.wrong, indent=1)
        assert walk.tried > (100 if is_whole else 20), walk.tried
        done = walk.client.post(
            f"{AT}/tanks/{DIRTY}/swap/complete",
            data={"by": "Wren", "note": "Walked", "swap": walk.state.key},
            follow_redirects=False,
        )  # fmt: skip
        assert done.status_code == 303, words(done)


def until(walk: Walk, stop: str) -> None:
    """All steps before one, as they are meant."""
    for step in walk.state.steps:
        if step.key == stop:
            walk.looks(stop)
            return
        if step.is_required and (step.role not in PAIR_ONLY or walk.is_pair):
            walk.looks(step.key)
            walk.tick(step.key, step.role)


@pytest.mark.parametrize("door", ["form", "api"])
def test_a_part_to_replace_and_an_open_look_stop_the_rest_at_both_doors(
    door: str, tmp_path: Path
) -> None:
    with walking(tmp_path, door, is_pair=True) as walk:
        until(walk, "refit")
        at, part = walk.clock(), {"component": "seal", "part": "shaft_seal", "name": "Shaft seal"}
        record(
            walk.store, ROOM,
            [
                Component(at=START, tank=DIRTY, **part),  # type: ignore[arg-type]
                InspectionStarted(at=at, inspection="i1", tank=DIRTY, positions=[part], by="Wren"),
            ],
            walk.clock(),
        )  # fmt: skip
        for key, role in (("refit", "refit"), ("move_clean", "move"), ("fill", "fill")):
            refused_at_both(walk, key, role)
        found = InspectionAnswered(at=walk.clock(), by="Wren", inspection="i1", component="seal",
                                   answers={"seal_weeps": "yes"}, verdict="replace")  # fmt: skip
        record(walk.store, ROOM, [found], walk.clock())
        record(walk.store, ROOM, [InspectionClosed(at=walk.clock(), by="Wren", inspection="i1")],
               walk.clock())  # fmt: skip
        for key, role in (("refit", "refit"), ("move_clean", "move"), ("fill", "fill")):
            refused_at_both(walk, key, role)
        fitted = ComponentReplaced(at=walk.clock(), component="seal", because="finding")
        record(walk.store, ROOM, [fitted], walk.clock())
        walk.tick("refit", "refit")


def refused_at_both(walk: Walk, key: str, role: str) -> None:
    for door in ("form", "api"):
        before, answer = walk.count(), walk.send(door, key, role, None)
        assert (answer.status_code, walk.count()) == (422, before), (key, door, words(answer))


@pytest.mark.parametrize("stop", ["drain", "rinse", "refit", "fill", "leak_check", "restart"])
def test_a_swap_given_up_takes_no_step_more_and_no_wash_until_somebody_says_what_is_in_it(
    stop: str, tmp_path: Path
) -> None:
    with walking(tmp_path, "form", is_pair=True) as walk:
        until(walk, stop)
        role, swap = next(s.role for s in walk.state.steps if s.key == stop), walk.state
        sent = {"by": "Wren", "found": "asked", "clean_found": "asked"}
        page = walk.client.post(
            f"{AT}/tanks/{DIRTY}/swap/abandon", data=sent, follow_redirects=False
        )
        found = STORE_IT.search(page.text)
        if found:
            page = walk.client.post(f"{AT}/tanks/{DIRTY}/swap/abandon", follow_redirects=False,
                                    data={**sent, "confirmed": found[1]})  # fmt: skip
        assert page.status_code == 303, words(page)
        before, is_moved = walk.count(), stop in ("fill", "leak_check", "restart")
        asked = [] if stop == "drain" else [DIRTY, CLEAN] if is_moved else [DIRTY]
        path = f"{AT}/tanks/{DIRTY}/swap/steps/{stop}/tick"
        assert walk.client.post(path, data={"by": "Wren"}).status_code in (404, 409)
        for one in (
            {"kind": "step_done", "swap": swap.key, "step": stop, "by": "Wren"},
            *({"kind": "wash", "tank": key, "resin": "slate", "area_cm2": 500.0, "by": "Wren"}
              for key in asked),
        ):  # fmt: skip
            done = walk.client.post(f"{API}/entries", json=one)
            assert (done.status_code, walk.count()) in ((422, before), (409, before)), (one, role)


@pytest.mark.parametrize("door", ["form", "api"])
def test_the_second_tank_still_full_takes_no_fill(door: str, tmp_path: Path) -> None:
    """Not all of its bath was moved: the rest and a fill are more than it holds."""
    with walking(tmp_path, door, is_pair=True) as walk:
        until(walk, "move_clean")
        moved = Trouble("", answers={"moved_l": 31.0})
        answer = walk.send(door, "move_clean", "move", moved)
        if answer.status_code in (409, 422):
            names = STORE_IT.search(answer.text)
            said = names[1] if names else ""
            if door == "api":
                said = " ".join(walk.asked(answer, door))
            answer = walk.send(door, "move_clean", "move", moved, said)
        assert answer.status_code in (201, 303), words(answer)
        walk.tick("clean_tank", "clean")
        walk.tick("refit_clean", "refit_clean")
        walk.looks("fill")
        before, refused = walk.count(), walk.send(door, "fill", "fill", None)
        assert (refused.status_code in (409, 422), walk.count()) == (True, before), words(refused)
