"""A swap walked by hand, and what may stand in its way at each step.

Every fault that a cell of the harm matrix answers at a step is put into the log; the step is tried
by form and as a program; a stranger throws the fault's entries at the addresses that take back;
then it is mended the way that is meant, and the swap goes on.
"""

import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from PIL import Image
from sqlmodel import Session, col, select

from app.config import Settings
from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Ask, as_data
from app.domain.harm.acts import OF_ROLE
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.checklists import Checklist, TankContents
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import Incident, TankHeld, TankReleased
from app.domain.roomlog.kinds.inspections import (
    InspectionClosed,
    InspectionStarted,
)
from app.domain.roomlog.kinds.instruments import (
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.qualifications import ACTS_QUALIFIED, QualificationEnded, Qualified
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, LotReleased, StockReceived
from app.domain.roomlog.kinds.waste import (
    Drum,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    WasteRules,
)
from app.main import create_app
from app.services.acts.inspections import look_at, new_key
from app.services.door import bring_in as record
from app.services.entries import counting_of_kind
from app.services.rooms import find_room
from app.services.swaps.looks import FOUND, looks_missing
from app.services.swaps.under_way import open_swap
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import STORE_IT
from tests.clocks import Clock
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


Made = Callable[[datetime, str], list[Entry]]
Seen = Callable[["Walk", datetime, str], list[Entry]]


@dataclass(frozen=True)
class Trouble:
    """A fault in the way: what the log says of it, what mends it, or what a step says otherwise.

    Attributes:
        seen: in the place of `begins` where that depends on how far the swap has come.
        ends: nothing mends it: what began it is taken back, as a log that is brought in tells it.
        is_of_tank: it is tried on each tank of a pair.
        tanks: the tanks that it is tried on at a step of a pair, by the role of the step.
    """

    fault: str
    begins: Made = lambda _, __: []
    ends: Made | None = None
    is_of_tank: bool = False
    by: str = ""
    answers: Mapping[str, Any] = field(default_factory=dict)
    seen: Seen | None = None
    tanks: Mapping[str, str] = field(default_factory=dict)

    def tried_on(self, role: str, is_pair: bool) -> list[str]:
        """The tanks that have the fault in turn."""
        if is_pair and role in self.tanks:
            return [self.tanks[role]]
        return [DIRTY, CLEAN] if self.is_of_tank and is_pair else [DIRTY]


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


def not_done(duty: str, of: str | None = None) -> Seen:
    """Nobody did it for two months: what says so is taken back."""

    def see(walk: "Walk", at: datetime, key: str) -> list[Entry]:
        with Session(walk.store.reader) as session:
            room_id = find_room(session, ROOM).id or 0
            done = list(counting_of_kind(session, room_id, DutyDone.kind))
        new = [one for one in done if isinstance(one, DutyDone) and one.at >= NOW]
        here = [one for one in new if one.duty == duty and one.of == (key if of else None)]
        return [Withdrawal(at=at, withdraws=one.id) for one in here]

    return see


def unsaid(walk: "Walk", at: datetime, key: str) -> list[Entry]:
    return [TankContents(at=at, tank=key, swap=walk.state.key, found="asked")]


def spoiled(at: datetime, key: str) -> list[Entry]:
    return [Incident(at=at, incident=f"n-{key}-{at:%H%M%S}", problem="wrong_solvent", tank=key,
                     solvent="acetone", volume_l=1.0)]  # fmt: skip


def past_day(at: datetime, _: str) -> list[Entry]:
    edits = {"storage_days": {"value": 7, "source": "Permit", "as_of": "2026-01-02"}}
    return [
        WasteRules(at=at, waste_rules="waste_rules", rule_set="own", category="own", edits=edits),
        DrumMoved(at=START + timedelta(days=1), drum="d1", area="central"),
    ]


def begun_look(at: datetime, key: str) -> list[Entry]:
    position = {"component": f"c-{key}", "part": "impeller", "name": "Impeller"}
    return [InspectionStarted(at=at, inspection=f"o-{key}-{at:%H%M%S}", tank=key, by="Wren",
                              positions=[position])]  # fmt: skip


def lot_held(standing: str) -> Made:
    return lambda at, _: [
        LotHeld(at=at, item="ipa", lot="A7", standing=standing, reason="It smells", by="Wren")
    ]


def lot_freed(at: datetime, _: str) -> list[Entry]:
    return [LotReleased(at=at, item="ipa", lot="A7", lead="Curlew", reason="Fine")]


CALIBRATED = {"calibrated_on": START.date(), "due_on": NOW.date() - timedelta(days=1)}

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
    Trouble("lot_quarantined", lot_held("quarantined"), lot_freed),
    Trouble("lot_withdrawn", lot_held("withdrawn"), lot_freed),
    Trouble("spill_kit_fault", look("spill_kit", "fault"), look("spill_kit", "in_order")),
    Trouble("cover_overdue", ends=look("cover", "in_order", "tank"), is_of_tank=True,
            seen=not_done("cover", "tank")),
    Trouble("contents_unknown", is_of_tank=True, seen=unsaid),
    Trouble(
        "part_unsafe",
        lambda at, key: [TankHeld(at=at, tank=key, reason="The impeller is cracked",
                                  cause="inspection", inspection="i-0", by="Wren")],
        is_of_tank=True,
    ),
    Trouble("inspection_unsigned", begun_look, is_of_tank=True),
    Trouble("bath_spoiled", spoiled, tanks={"move": CLEAN, "rinse_clean": CLEAN}),
    Trouble("drum_past_day", past_day),
    Trouble("instrument_overdue",
            lambda at, _: [InstrumentCalibrated(at=at, instrument="hy", **CALIBRATED)]),
    Trouble("instrument_aside",
            lambda at, _: [InstrumentSetAside(at=at, instrument="hy", reason="It is cracked")]),
    Trouble("person_not_qualified", by="Finch"),
    Trouble("person_not_for_it", by="Rook"),
)  # fmt: skip
CARRIED = Trouble(
    "flash_lowered",
    lambda at, key: [Incident(at=at, incident=f"f-{key}-{at:%H%M%S}", problem="wrong_solvent",
                              tank=key, solvent="isopropanol", volume_l=1.0)],
    tanks={"move": CLEAN, "rinse_clean": CLEAN},
)  # fmt: skip
"""The fault of a slow bath: the walk in isopropanol cannot have it."""
ACT_OF: Mapping[str, str] = {**OF_ROLE, "reading": "measure"}
"""The act of each step, by its role; the first reading of the fresh bath is a reading."""


def furniture(solvent: str = "isopropanol", stream: str = "isopropanol_resin") -> list[Entry]:
    """All that a swap uses; the baths are of one solvent."""
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
             stream=stream, area="wash_station"),
        Item(at=START, item="ipa", name="Solvent", category="solvent", unit="L",
             solvent=solvent, purity_percent=99.0),
        Item(at=START, item="ace", name="Acetone", category="solvent", unit="L",
             solvent="acetone", purity_percent=99.0),
        StockReceived(at=START, item="ipa", quantity=200, lot="A7"),
        StockReceived(at=START, item="ipa", quantity=200, lot="OLD", expires_on=date(2026, 2, 20)),
        StockReceived(at=START, item="ace", quantity=200, lot="AC"),
        tank(CLEAN, solvent=solvent),
        tank(DIRTY, pair=CLEAN, solvent=solvent),
        *(wash(9 - i, DIRTY, area_cm2=3000.0) for i in range(8)),
        InstrumentAdded(at=START, instrument="hy", name="Hydrometer 1", sort="hydrometer",
                        calibrated_on=START.date()),
        *(duty for key in (DIRTY, CLEAN)
          for duty in look("cover", "in_order", "tank")(NOW - timedelta(days=60), key)),
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
        self.fresh: Mapping[str, Any] = {
            "method": "hydrometer", "density_g_ml": 0.7855, "temperature_c": 20.0,
        }  # fmt: skip
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
                sent |= {name: str(value) for name, value in self.fresh.items()}
            sent |= {"confirmed": answer} if answer else {}
            path = f"{AT}/tanks/{DIRTY}/swap/steps/{key}/tick"
            return self.client.post(
                path, data=sent, files=self.photos(key), follow_redirects=False
            )  # fmt: skip
        entries = [{"by": by, **one} for one in self.entries(key, role, said)]
        options = {"confirm": answer.split()} if answer else {}
        return self.client.post(f"{API}/entries/batch", json={"entries": entries}, params=options)

    def photos(self, key: str) -> dict[str, Any]:
        """A photo for each that the step asks for."""
        step = self.state.step(key)
        asks = [one.key for one in (step.asks if step else ()) if one.kind == "photo"]
        return {f"file_{ask}": ("seen.jpg", picture(), "image/jpeg") for ask in asks}

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
            read = dict(self.fresh)
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
            lifted = set(named) - set(self.counting(named))
            if lifted:
                self.wrong.append((*what, "lifted by a stranger"))
                break
        self.mend(trouble, tank_key, named)

    def put(self, trouble: Trouble, key: str) -> list[str]:
        at = self.clock()
        made = trouble.seen(self, at, key) if trouble.seen else trouble.begins(at, key)
        named = [type(one)(**{**vars(one), "id": f"f{self.tried}-{n}"}) for n, one in
                 enumerate(made)]  # fmt: skip
        if named:
            record(self.store, ROOM, named, self.clock())
            self.clock.now += timedelta(minutes=11)  # past the minutes of who said it
        return [one.id for one in named]

    def mend(self, trouble: Trouble, key: str, named: list[str]) -> None:
        at = self.clock()
        made: list[Entry] = [Withdrawal(at=at, withdraws=uid) for uid in self.counting(named)]
        if trouble.ends is not None:
            made = trouble.ends(at, key)
        if made:
            record(self.store, ROOM, made, self.clock())

    def counting(self, named: list[str]) -> list[str]:
        """Those of these entries that nobody has taken back."""
        query = select(EntryRow.uid).where(
            col(EntryRow.uid).in_(named), col(EntryRow.voided_by).is_(None)
        )
        with Session(self.store.reader) as session:
            return list(session.exec(query))

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


def picture() -> bytes:
    """A small photo."""
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "gray").save(out, "JPEG")
    return out.getvalue()


def with_photos() -> Checklist:
    """The usual list, in which each step that the matrix knows asks for a photo."""
    seen = Ask("seen", "photo", "Photo of it")
    steps = (
        replace(one, asks=(*one.asks, seen)) if one.role in ACT_OF else one for one in DEFAULT.steps
    )
    return Checklist(at=START, checklist="swap", name="Swap", version=2, steps=as_data(steps))


@contextmanager
def walking(folder: Path, door: str, is_pair: bool, of: Sequence[Entry] = ()) -> Iterator[Walk]:
    """A swap that has begun; `of` is what the room holds where it is not the usual."""
    clock = Clock(at_each_look=timedelta(seconds=1))
    served = create_app(Settings(data_dir=folder), clock=clock)
    furnish(served.state.store, tanks=0)
    record(served.state.store, ROOM, [*(of or furniture())], NOW)
    with TestClient(served, base_url="http://room.test") as client:
        yield Walk(client, clock, door, is_pair)
