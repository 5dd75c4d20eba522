"""What is wrong with what an entry uses, held against the harm matrix: what every door answers.

A fault is looked for only where a cell of the act asks for it. What is entered late is held against
the room as it was then and as it is now: what stood then and stands still is answered as the cell
says, and where the two differ, it is asked (services/told_late).
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.domain.baths.carried import Carried
from app.domain.builds import TankBuildState, hot_words
from app.domain.calendar_words import day_words
from app.domain.checklists.run import SwapState
from app.domain.curing.certified import certified
from app.domain.curing.stations import StationState
from app.domain.curing.trust import course_of
from app.domain.duties.book import Done, DutyState
from app.domain.duties.catalogue import CALIBRATION, SAMPLE_CHECK, Duty, in_force
from app.domain.duties.due import Facts, Subject, last_done, next_due
from app.domain.errors import Doubt, FieldError
from app.domain.harm.acts import OF_KIND, OF_ROLE, QUALIFIED_BY, SECOND
from app.domain.harm.faults import FAULTS
from app.domain.harm.late import BEGAN
from app.domain.harm.matrix import Answer, Cell, cells_of
from app.domain.holds import CONTENTS, GUARD, Hold, HoldState
from app.domain.inspections.components import DOOR_INTERLOCK, LIGHT_PATH, last_fitted
from app.domain.inspections.inspection import InspectionState
from app.domain.meters.book import InstrumentState, first_unchecked
from app.domain.meters.sorts import NAMED_AS
from app.domain.people.qualifications import QualificationState
from app.domain.roomlog.kinds import Entry, Removal, Swap
from app.domain.roomlog.kinds.builds import BUILD
from app.domain.roomlog.kinds.checklists import SWAP, StepDone
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.duties import DUTY, DutyDone
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import COMPONENT, INSPECTION
from app.domain.roomlog.kinds.instruments import INSTRUMENT
from app.domain.roomlog.kinds.qualifications import ACT_WORDS, QUALIFICATIONS
from app.domain.roomlog.kinds.supplies import ITEM, OrderPlaced, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import DRUM, DrumEntry, DrumTransfer, PickupShipped, Pour
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.flash import mixed_flash_c
from app.domain.supplies.state import ItemState
from app.domain.waste.drums import DrumState
from app.domain.waste.measures import weighed_kg
from app.domain.waste.streams import ALL_MIXED, STREAMS, fits_bath
from app.services.allowed_heat import is_allowed
from app.services.authorship import entry_row
from app.services.caching import kept
from app.services.carried import carried_into, is_slow
from app.services.entries import entry_of
from app.services.incidents.doubts import mixed_into, spoiled_by, takes_spoiled
from app.services.knowing import begun_at, knew, out_of_service
from app.services.meters.book import instruments
from app.services.mixed_drums import other_own, other_own_drum
from app.services.part_of import is_of_problem, is_of_swap
from app.services.storage import stored, too_much
from app.services.then import thing_at
from app.services.waste import clock_at, drum_of
from app.store.instants import from_us
from app.store.remembering import remember
from app.store.tables import RoomRow, TankRow
from app.store.things import thing, things

OF_USE = {"top_up": "top_up", "swap": "fill"}
"""The act of a lot that is taken from the shelf, by its purpose."""


PASSED_BY: Mapping[str, tuple[str, ...]] = {
    "inspection_unsigned": ("inspection",),
    "part_unsafe": ("inspection", "part"),
}
"""Gates of a swap that a lead may let pass, by the fault they stand for."""
DUTIES_OF_ROOM = {
    "hood_fault": "hood_look", "eyewash_fault": "eyewash", "spill_kit_fault": "spill_kit",
}  # fmt: skip
"""Faults of the whole room, and the duty that finds them."""
LOOKS_OF_ROOM = {
    "hood_overdue": "hood_look", "eyewash_overdue": "eyewash", "spill_kit_overdue": "spill_kit",
    "meter_overdue": "instrument",
}  # fmt: skip
"""What is overdue in the whole room, and the duty that it is."""
LOOKS = {**LOOKS_OF_ROOM, "interlock_overdue": "interlock", "cover_overdue": "cover"}
"""All that may be overdue."""
TESTS = {"interlock": DOOR_INTERLOCK}
"""Duties that test a part: a new one wants a test of its own."""


FIELDS_OF = {
    "lot_wrong_solvent": "item", "lot_quarantined": "lot", "lot_withdrawn": "lot",
    "person_not_for_it": "by", "person_not_qualified": "by",
}  # fmt: skip
"""The field beside which a fault stands whatever the act."""


@dataclass(frozen=True)
class Scene:
    """An entry, its act, and what it uses; `beside` is said with it.

    Attributes:
        seen_at: the instant at which the room is looked at; None where that is the entry's own.
        is_then: the books are read up to that instant only.
    """

    session: Session
    room: RoomRow
    entry: Any
    act: str
    now: datetime
    beside: Sequence[Entry] = ()
    seen_at: datetime | None = None
    is_then: bool = False

    @property
    def room_id(self) -> int:
        """The room's number in the database."""
        assert self.room.id is not None
        return self.room.id

    def state(self, kind: str, key: str) -> Any | None:
        """The thing of that key, as it stands or as it stood then; read once for all faults."""
        if (kind, key) not in self._known:
            if self.is_then:
                found = thing_at(self.session, self.room_id, kind, key, self.at)
            else:
                found = thing(self.session, self.room_id, kind, key)
            self._known[kind, key] = found
        return self._known[kind, key]

    @cached_property
    def _known(self) -> dict[tuple[str, str], Any | None]:
        return {}

    @cached_property
    def _duties(self) -> tuple[Mapping[str, DutyState], Mapping[str, Duty]]:
        states = duty_states(self.session, self.room)
        return states, in_force(states.values())

    def fitted_at(self, station: str, *parts: str) -> datetime | None:
        """When a new part of these kinds was last fitted in a station; None where it came later."""
        at = kept(
            self.session, self.room_id, f"fitted {parts}", self.room.version,
            lambda: last_fitted(
                things(self.session, self.room_id, COMPONENT, only_open=True).values(), *parts
            ),
        ).get(station)  # fmt: skip
        return at if at is not None and at <= self.at else None

    def has_begun(self, since_at: datetime) -> bool:
        """It began before the entry; what is entered ahead of the clock has begun as well."""
        return since_at <= self.at or since_at > self.now

    @property
    def is_late(self) -> bool:
        """It tells of a time before now."""
        return self.entry is not None and self.entry.at < self.now

    @cached_property
    def swap(self) -> SwapState | None:
        """The swap whose step this is; None where it is no step."""
        key = getattr(self.entry, "swap", None)
        if key is None or not isinstance(self.entry, StepDone):
            return None
        return thing(self.session, self.room_id, SWAP, key)

    @cached_property
    def tanks(self) -> tuple[str, ...]:
        """Keys of the tanks in use: of a swap both of its pair."""
        if self.swap is not None:
            return tuple(key for key in (self.swap.tank, self.swap.from_tank) if key)
        named = (getattr(self.entry, name, None) for name in ("tank", "from_tank"))
        return tuple(key for key in named if key)

    @cached_property
    def solvent(self) -> str | None:
        """The solvent of the bath that is moved; None where none is."""
        if not self.tanks:
            return None
        row = self.session.get(TankRow, (self.room_id, self.tanks[0]))
        return row.solvent if row is not None else None

    @cached_property
    def drums(self) -> tuple[DrumState, ...]:
        """The drums that take something, are closed or leave."""
        found = (self.drum(key) for key in self.drum_keys())
        return tuple(drum for drum in found if drum is not None and drum.name)

    def drum(self, key: str) -> DrumState | None:
        """A drum with the fill limit that binds; as it stood then without that."""
        if self.is_then:
            return self.state(DRUM, key)
        return drum_of(self.session, self.room_id, key)

    def drum_keys(self) -> Iterator[str]:
        """Keys of the drums that take something, are closed or leave."""
        entry = self.entry
        if isinstance(entry, PickupShipped):
            yield from entry.drums
        elif isinstance(entry, DrumEntry):
            yield entry.drum
        elif self.swap is not None:
            said = entry.answers or {}
            chosen = said.get("drum") or self.swap.answer("drum", "drum")
            yield from (str(key) for key in (chosen, said.get("drum_2")) if key and key != "-")

    @cached_property
    def station(self) -> StationState | None:
        """The curing station; None where none is used."""
        key = getattr(self.entry, "station", None)
        state: StationState | None = self.state(STATION, key) if key else None
        if state is None or not any(one.instrument for one in state.readings):
            return state
        return certified(state, instruments(self.session, self.room_id))

    @cached_property
    def instruments(self) -> tuple[InstrumentState, ...]:
        """What it is measured with, as far as it says so."""
        states = (self.state(INSTRUMENT, key) for key in self.instrument_keys())
        return tuple(one for one in states if one is not None and one.is_known)

    def instrument_keys(self) -> Iterator[str]:
        """Keys of the instruments that it names."""
        yield from filter(None, (getattr(self.entry, one, None) for one in NAMED_AS))

    @cached_property
    def open_looks(self) -> Mapping[str, InspectionState]:
        """The inspections of its tanks that are not signed, by key."""
        here = things(self.session, self.room_id, INSPECTION, only_open=True)
        return {key: one for key, one in here.items() if one.tank and one.tank in self.tanks}

    def is_passed(self, fault: str) -> bool:
        """A lead let the swap go on against this fault, with a reason."""
        key = getattr(self.entry, "swap", None)
        gates = PASSED_BY.get(fault, ()) if key else ()
        state: SwapState | None = (
            thing(self.session, self.room_id, SWAP, key) if gates and key else None
        )
        if state is None:
            return False
        words = [one for one in state.overrules if one.gate in gates]
        if not words:
            return False
        if fault == "part_unsafe":
            return knew(self.session, self.room_id, words,
                        out_of_service(self.session, self.room_id, state))  # fmt: skip
        return all(
            knew(self.session, self.room_id, words,
                 begun_at(self.session, self.room_id, one.entry))
            for one in self.open_looks.values()
        )  # fmt: skip

    def holds(self) -> Iterator[Hold]:
        """What holds its tanks since before the entry."""
        for key in self.tanks:
            state: HoldState | None = self.state(HOLD, key)
            yield from (
                one for one in (state.holds if state else ()) if self.has_begun(one.since_at)
            )

    @property
    def at(self) -> datetime:
        """When it was done, or the instant at which the room is looked at instead."""
        if self.seen_at is not None:
            return self.seen_at
        at: datetime = self.entry.at if self.entry is not None else self.now
        return at

    def duty(self, key: str) -> tuple[Duty, Mapping[str, DutyState]]:
        """A duty in force, and the books of all."""
        states, all_in_force = self._duties
        duty = all_in_force[key]
        if self.is_then:
            then = {name: self.state(DUTY, name) for name in (duty.key, duty.formerly) if name}
            states = {name: state for name, state in then.items() if state is not None}
        return duty, states


@dataclass(frozen=True)
class Found:
    """A fault in what an act uses: its cell, the field it stands beside, what is said."""

    cell: Cell
    field: str
    message: str

    @property
    def doubt(self) -> Doubt:
        """The question, where the cell asks."""
        return Doubt(self.message, self.cell.name, (FAULTS[self.cell.fault].way,))


def found(
    session: Session, room: RoomRow, entry: Entry, now: datetime, beside: Sequence[Entry] = ()
) -> list[Found]:
    """The faults in what an entry uses, with what the matrix answers to each."""
    # What refuses and what asks look one after the other, at the same room.
    # The entries are remembered with it: another one might get their numbers.
    seen, *_ = remember(
        session, ("found", room.id, now, *map(id, (entry, *beside))),
        lambda: (_found(session, room, entry, now, beside), entry, tuple(beside)),
    )  # fmt: skip
    return list(seen)


def _found(
    session: Session, room: RoomRow, entry: Entry, now: datetime, beside: Sequence[Entry]
) -> list[Found]:
    scene = scene_of(session, room, entry, now)
    if scene is None:
        return []
    scene = replace(scene, beside=beside)
    seen = []
    for cell in cells_of(scene.act):
        if scene.is_passed(cell.fault):
            continue
        is_of_lot = FAULTS[cell.fault].thing == "lot"
        if isinstance(entry, StockUsed) and not is_of_lot:
            continue  # the act itself is asked in its own entry
        for used in (scene, *(_lots_said(scene) if is_of_lot else ())):
            detail = DETECTORS[cell.fault](used)
            if detail and stood_then(used, cell.fault):
                seen.append(Found(cell, _field(scene, cell), _message(cell, detail)))
                break
    return seen


def _lots_said(scene: Scene) -> list[Scene]:
    """What a tick says it takes from the shelf, one scene a lot: a program may send no more."""
    entry, swap = scene.entry, scene.swap
    if not isinstance(entry, StepDone) or swap is None:
        return []
    said = entry.answers or {}
    named = (str(said.get(name) or "").partition("|") for name in ("lot", "lot_2"))
    tank = swap.tank if scene.act == "rinse" else swap.filled_tank

    def note_of(item: str, lot: str) -> str:
        word = swap.lot_word(entry.step, f"{item}|{lot}")
        return word.reason if word is not None else entry.note

    return [
        replace(scene, entry=StockUsed(
            at=entry.at, by=entry.by, note=note_of(item, lot), item=item, lot=lot or None,
            quantity=0.0, tank=tank, swap=entry.swap, purpose="swap",
        ))
        for item, _, lot in named
        if item and item != "-"
    ]  # fmt: skip


def stood_then(scene: Scene, fault: str) -> str:
    """The detail of a fault that stood already when a late entry was done; else empty.

    What begins at no instant, but is worked out for a time, is there as it was found.
    """
    if fault not in BEGAN or not scene.is_late:
        return fault
    return DETECTORS[fault](replace(scene, is_then=True))


def refused(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """What the matrix forbids of an entry; each names its cell's rule."""
    return [
        FieldError(one.field, one.message, one.cell.name)
        for one in found(session, room, entry, now)
        if one.cell.answer == "forbidden"
    ]


def doubts(
    session: Session,
    room: RoomRow,
    entries: Sequence[Entry],
    now: datetime,
    beside: Sequence[Entry] = (),
) -> tuple[Doubt, ...]:
    """What the matrix asks about entries, each question once; `beside` came before them."""
    asked: dict[str, Doubt] = {}
    for place, entry in enumerate(entries):
        if entry.corrects and not _uses_another(session, room, entry):
            continue
        for one in found(session, room, entry, now, (*beside, *entries[:place])):
            if one.cell.answer == "asked":
                asked.setdefault(one.cell.name, one.doubt)
    return tuple(asked.values())


USED = (
    *NAMED_AS,
    "tank",
    "from_tank",
    "drum",
    "from_drum",
    "drums",
    "station",
    "item",
    "lot",
    "solvent",
)
"""The fields that say what an act uses."""


def _uses_another(session: Session, room: RoomRow, entry: Entry) -> bool:
    """A correction tells of another tank, drum or lot, of which nobody was asked."""
    row = entry_row(session, room.id or 0, entry.corrects)
    if row is None:
        return False  # said where it is stored
    old = entry_of(row)
    if isinstance(entry, StockReceived | OrderPlaced) and entry.quantity > _quantity(old):
        return True  # more of it than anybody was asked about
    return any(getattr(entry, name, None) != getattr(old, name, None) for name in USED)


def _quantity(old: Entry, item: str | None = None) -> float:
    """How much of an item a delivery or an order was of; nothing where it was of another one."""
    if not isinstance(old, StockReceived | OrderPlaced) or item not in (None, old.item):
        return 0.0
    return old.quantity


def _more_than_before(scene: Scene) -> float:
    """How much more a correction tells of than what it replaces; all of it where it is none."""
    row = entry_row(scene.session, scene.room_id, scene.entry.corrects)
    quantity: float = scene.entry.quantity
    if not scene.entry.corrects or row is None:
        return quantity
    return max(0.0, quantity - _quantity(entry_of(row), scene.entry.item))


def told(session: Session, room: RoomRow, now: datetime) -> list[tuple[str, str]]:
    """Faults of the whole room as they stand: names and details, for its page."""
    scene = Scene(session, room, None, "", now)
    return [
        (FAULTS[fault].name, detail)
        for fault, duty in DUTIES_OF_ROOM.items()
        if (detail := _faulty(scene, duty, now))
    ]


def overdue_looks(session: Session, room: RoomRow, now: datetime) -> list[tuple[str, str]]:
    """Looks and tests of the matrix that are overdue: names and details, for the room's page."""
    scene = Scene(session, room, None, "", now)
    alone = {fault: [("", "")] for fault in LOOKS_OF_ROOM}
    apart = {"interlock_overdue": _stations_here(scene), "cover_overdue": _tanks_here(scene)}
    found = []
    for fault, subjects in {**apart, **alone}.items():
        names: dict[str, list[str]] = {}
        for key, name in subjects:
            if detail := _overdue(scene, LOOKS[fault], key):
                names.setdefault(detail, []).append(name)
        said = (f"{', '.join(filter(None, of))}: {when}".lstrip(": ") for when, of in names.items())
        found += [(FAULTS[fault].name, f"{'; '.join(said)}. {FAULTS[fault].way}")] if names else []
    return found


def _stations_here(scene: Scene) -> list[tuple[str, str]]:
    known: list[StationState] = list(things(scene.session, scene.room_id, STATION).values())
    return [(one.key, one.name) for one in known if one.is_known and not one.is_retired]


def _tanks_here(scene: Scene) -> list[tuple[str, str]]:
    query = select(TankRow).where(TankRow.room_id == scene.room_id).order_by(col(TankRow.key))
    return [(row.key, row.name) for row in scene.session.exec(query) if not row.is_retired]


def scene_of(session: Session, room: RoomRow, entry: Entry, now: datetime) -> Scene | None:
    """An entry with its act; None where the matrix knows no such act."""
    act = OF_KIND.get(type(entry), "")
    if isinstance(entry, DutyDone) and entry.instrument is not None:
        act = "measure"
    if isinstance(entry, StockUsed):
        act = OF_USE.get(entry.purpose or "", "")
    if isinstance(entry, Removal | Swap) and is_of_swap(session, room.id or 0, entry):
        return None  # what a swap left, or has filled: its steps were asked
    if is_of_problem(session, room.id or 0, entry):
        return None  # what was spilled or taken up is told, not planned
    scene = Scene(session, room, entry, act, now)
    if isinstance(entry, StepDone):
        step = scene.swap.step(entry.step) if scene.swap and not entry.repeats else None
        act = OF_ROLE.get(step.role, "") if step is not None else ""
        scene = Scene(session, room, entry, act, now)
    return scene if act else None


def duty_states(session: Session, room: RoomRow) -> Mapping[str, DutyState]:
    """The books of the room's duties by key."""
    assert room.id is not None
    room_id = room.id
    return kept(
        session, room_id, "duty states", room.version, lambda: things(session, room_id, DUTY)
    )


def _field(scene: Scene, cell: Cell) -> str:
    if isinstance(scene.entry, StepDone):
        return "step"
    of_thing = FAULTS[cell.fault].thing
    if cell.fault in FIELDS_OF:
        return FIELDS_OF[cell.fault]
    if isinstance(scene.entry, StockReceived | OrderPlaced):
        return "expires_on" if of_thing == "lot" else "quantity"
    if isinstance(scene.entry, PickupShipped):
        return "drums"
    if cell.fault == "drum_over_limit" and isinstance(scene.entry, Pour | DrumTransfer):
        return "volume_l"
    names = (*_names_at_fault(scene, cell.fault), of_thing, "tank", "drum", "station")
    return next((name for name in names if hasattr(scene.entry, name)), "at")


def _names_at_fault(scene: Scene, fault: str) -> Iterator[str]:
    """The fields that name an instrument with the fault."""
    if look := OF_INSTRUMENTS.get(fault):
        yield from (one.what.named_as for one in scene.instruments if look(scene, one))


def _message(cell: Cell, detail: str) -> str:
    fault = FAULTS[cell.fault]
    return f"{fault.name}: {detail.rstrip('.')}. {cell.reason} {fault.way}"


# People


def _person(standing: str) -> Callable[[Scene], str]:
    """Who does the act, or signs second, and what the room's word on them is: never why."""

    def see(scene: Scene) -> str:
        said: QualificationState | None = scene.state(QUALIFICATIONS, QUALIFICATIONS)
        if said is None:
            return ""
        second = (getattr(scene.entry, SECOND, None) or "").strip()
        asked = [(scene.entry.by.strip(), QUALIFIED_BY[scene.act])]
        asked += [(second, (SECOND,))] if second else []
        day = scene.at.astimezone(ZoneInfo(scene.room.time_zone)).date()
        for name, acts in asked:
            if said.standing(name, acts, scene.at, day) == standing:
                return f"{name or 'nobody is named'}, to {ACT_WORDS[acts[-1]]}"
        return ""

    return see


# Stations and guards


def _last(scene: Scene, key: str, of: str) -> Done | None:
    duty, states = scene.duty(key)
    return last_done(duty, states, Facts({}), of)


def _faulty(scene: Scene, key: str, at: datetime, of: str = "") -> str:
    """What the last look found, where it was not in order; empty where it was, or came later."""
    last = _last(scene, key, of)
    is_there = last is not None and last.is_fault and (last.at <= at or last.at > scene.now)
    return (last.note or "not in order") if last and is_there else ""


def _overdue(scene: Scene, key: str, of: str = "", begins_at: datetime | None = None) -> str:
    """How long nobody has looked, where that is past its days of grace, or that nobody has tested
    a new part yet; else empty."""
    duty, zone = scene.duty(key)[0], ZoneInfo(scene.room.time_zone)
    last = _last(scene, key, of)
    if duty.is_stopped or (last is not None and (last.is_fault or last.at > scene.at)):
        return ""
    fitted_at = scene.fitted_at(of, TESTS[key]) if key in TESTS else None
    if fitted_at is not None and (last is None or last.at < fitted_at):
        return f"new one fitted {_day(scene, fitted_at)}, not tested since"
    began = from_us(scene.room.created_at_us)
    new = _unchecked(scene, last) if key == SAMPLE_CHECK else None
    subject = Subject(
        of, of, max(began, begins_at or began), renewed_at=new.added_at if new else None
    )
    due_on = next_due(duty, subject, last, zone)
    over = (scene.at.astimezone(zone).date() - due_on).days
    if over <= duty.grace_days:
        return ""
    if new is not None and new.added_at is not None:
        return f"{new.name} is new since {_day(scene, new.added_at)}, not checked yet"
    return f"last {_day(scene, last.at)}" if last else "never done"


def _unchecked(scene: Scene, last: Done | None) -> InstrumentState | None:
    """An instrument that came after the last check of all against a known sample."""
    here = instruments(scene.session, scene.room_id).values()
    return first_unchecked(here, last.at if last is not None else None, scene.at)


def _of_station(key: str, look: Callable[..., str]) -> Callable[[Scene], str]:
    def see(scene: Scene) -> str:
        station = scene.station
        if station is None or not station.is_known:
            return ""
        detail = look(scene, key, station)
        return f"{station.name}, {detail}" if detail else ""

    return see


def _station_fault(scene: Scene, key: str, station: StationState) -> str:
    return _faulty(scene, key, scene.at, station.key)


def _station_overdue(scene: Scene, key: str, station: StationState) -> str:
    return _overdue(scene, key, station.key)


def _day(scene: Scene, at: datetime) -> str:
    zone = ZoneInfo(scene.room.time_zone)
    return day_words(at.astimezone(zone).date(), scene.at.astimezone(zone).date())


def _light_path(scene: Scene, _: str, station: StationState) -> str:
    fitted_at = scene.fitted_at(station.key, *LIGHT_PATH)
    last = station.readings[-1] if station.readings else None
    is_new = last is not None and fitted_at is not None and last.at < fitted_at
    return f"fitted {_day(scene, fitted_at)}" if is_new and fitted_at is not None else ""


def _station_held(scene: Scene, _: str, station: StationState) -> str:
    holds = (hold for hold in station.hold.holds if scene.has_begun(hold.since_at))
    is_faulty = _station_fault(scene, "interlock", station) != ""
    apart = (hold.reason for hold in holds if hold.cause != GUARD or not is_faulty)
    return next(apart, "")  # a hold by a fault that still stands is told as that fault


def _set_aside(_: Scene, __: str, station: StationState) -> str:
    last = station.readings[-1] if station.readings else None
    aside = {one.reading.entry for one in course_of(station).aside}
    return "measure again" if last is not None and last.entry in aside else ""


def _instrument_overdue(scene: Scene, state: InstrumentState) -> str:
    """Its certificate of that time had run out; nothing where it has none, nor a day."""
    certificate = state.certificate_at(scene.at)
    duty = scene.duty(CALIBRATION)[0]
    due_on = certificate.next_on(duty.every_days) if certificate is not None else None
    here = scene.at.astimezone(ZoneInfo(scene.room.time_zone)).date()
    if due_on is None or duty.is_stopped:
        return ""
    is_over = (here - due_on).days > duty.grace_days
    return f"{state.name}, due {day_words(due_on, here)}" if is_over else ""


def _instrument_aside(scene: Scene, state: InstrumentState) -> str:
    since_at = state.aside_since_at
    if since_at is None or not scene.has_begun(since_at):
        return ""
    return f"{state.name}, {state.aside_reason}"


OF_INSTRUMENTS: Mapping[str, Callable[[Scene, InstrumentState], str]] = {
    "instrument_overdue": _instrument_overdue,
    "instrument_aside": _instrument_aside,
}
"""What is seen of each instrument that an entry names."""


def _at_instruments(fault: str) -> Callable[[Scene], str]:
    def see(scene: Scene) -> str:
        found = (OF_INSTRUMENTS[fault](scene, state) for state in scene.instruments)
        return "; ".join(filter(None, found))

    return see


def _cover_fault(scene: Scene) -> str:
    guards = (hold.reason for hold in scene.holds() if hold.cause == GUARD)
    found = (_faulty(scene, "cover", scene.at, key) for key in scene.tanks)
    return next((reason for reason in (*guards, *found) if reason), "")


def _cover_overdue(scene: Scene) -> str:
    for key in scene.tanks:
        if detail := _overdue(scene, "cover", key):
            return detail
    return ""


def _held_by(*causes: str) -> Callable[[Scene], str]:
    def see(scene: Scene) -> str:
        return next((hold.reason for hold in scene.holds() if hold.cause in causes), "")

    return see


def lowered_flash(session: Session, room: RoomRow, tank: str) -> str:
    """What a flammable solvent that went into a slow bath makes of its flash point; else empty."""
    row = session.get(TankRow, (room.id, tank))
    base = SOLVENTS.get(row.solvent) if row is not None else None
    if row is None or base is None or not is_slow(base.key):
        return ""
    filled_at = from_us(row.fill_started_at_us)
    for one in mixed_into(session, room, tank, filled_at):
        quick = SOLVENTS.get(one.solvent)
        if quick is not None and quick.is_flammable:
            return _flash_words(base, quick, one.volume_l, row.volume_l)
    carried = carried_into(session, room, tank)
    return carried_words(session, room, carried) if carried and carried.is_flammable else ""


def may_light(session: Session, room: RoomRow, tank: str) -> bool:
    """Whether vapour over a tank's bath may catch fire at room temperature: by its solvent, as one
    that nobody knows may do, or by what went into it."""
    row = session.get(TankRow, (room.id, tank))
    if row is None:
        return False
    base = SOLVENTS.get(row.solvent)
    return base is None or base.is_flammable or lowered_flash(session, room, tank) != ""


def carried_flash_c(session: Session, room: RoomRow, tank: str) -> float | None:
    """The flash point that carry-over leaves a slow bath; None where there is none, it is not
    known, or another solvent was poured in: then nobody knows."""
    row = session.get(TankRow, (room.id, tank))
    if row is None or mixed_into(session, room, tank, from_us(row.fill_started_at_us)):
        return None
    carried = carried_into(session, room, tank)
    return carried.flash_c if carried is not None else None


def falling_flash(session: Session, room: RoomRow, tank: str) -> str:
    """What came over into a slow bath that does not make it flammable yet; else empty."""
    carried = carried_into(session, room, tank)
    is_told = carried is not None and carried.is_told and not carried.is_flammable
    return carried_words(session, room, carried) if carried and is_told else ""


def carried_words(session: Session, room: RoomRow, carried: Carried) -> str:
    """What came over into a slow bath, from where, and what it makes of its flash point."""
    about = "unknown" if carried.flash_c is None else f"about {carried.flash_c:.0f} °C, computed"
    rows = (session.get(TankRow, (room.id, key)) for key in carried.sources)
    names = ", ".join(f"{row.place} {row.name}" for row in rows if row is not None)
    how = f"carried over on parts from {names}" if names else "left in the tank at its fill"
    name = SOLVENTS[carried.solvent].name
    return (
        f"about {carried.percent:.1f} % {name} by mass, {how}, flash point {about} and not tested"
    )


def _flash_words(base: Solvent, quick: Solvent, volume_l: float | None, bath_l: float) -> str:
    if volume_l is None or bath_l <= 0:
        return f"{quick.name}, nobody knows how much: flash point unknown"
    quick_kg = volume_l * quick.density_g_ml(20.0, quick.usual_purity_percent)
    bath_kg = bath_l * base.density_g_ml(20.0, base.usual_purity_percent)
    percent = 100 * quick_kg / (quick_kg + bath_kg)
    flash_c = mixed_flash_c(base.key, quick.key, percent)
    about = "unknown" if flash_c is None else f"about {flash_c:.0f} °C, computed and not tested"
    return f"about {percent:.1f} % {quick.name} by mass, flash point {about}"


def _flash_lowered(scene: Scene) -> str:
    if scene.drums and all(drum.stream in ALL_MIXED for drum in scene.drums):
        return ""  # it goes where such a mixture belongs
    found = (lowered_flash(scene.session, scene.room, key) for key in scene.tanks)
    return next((words for words in found if words), "")


def _spoiled(scene: Scene) -> str:
    """A wrong solvent in the bath that is used, drained or moved; in a drum for it, it is safe."""
    for key in _baths_used(scene):
        found = spoiled_by(scene.session, scene.room, key)
        if scene.is_then:  # nobody had found it yet
            found = [one for one in found if one.at is not None and one.at <= scene.at]
        if not found or _is_kept_apart(scene, key):
            continue
        row = scene.session.get(TankRow, (scene.room_id, key))
        names = [SOLVENTS[one.solvent].name for one in found if one.solvent in SOLVENTS]
        what = ", ".join(dict.fromkeys(names)) or "nobody said which"
        return f"{row.name if row is not None else key}, {what}"
    return ""


def _baths_used(scene: Scene) -> tuple[str, ...]:
    """The tanks whose bath an act uses: of a swap the one that is emptied, or whose bath moves."""
    if scene.swap is None:
        return scene.tanks
    if scene.act == "move":
        return scene.tanks[1:]
    return scene.tanks[:1]


def _is_kept_apart(scene: Scene, tank: str) -> bool:
    """All drums of the act are for the spoiled bath of that tank."""
    drums = scene.drums
    return bool(drums) and all(takes_spoiled(scene.session, scene.room, one, tank) for one in drums)


def _heated(scene: Scene) -> str:
    for key in scene.tanks:
        build: TankBuildState | None = thing(scene.session, scene.room_id, BUILD, key)
        row = scene.session.get(TankRow, (scene.room_id, key))
        if build is None or row is None:
            continue  # nobody said
        source, solvent = _bath_then(scene, row)
        if is_allowed(scene.session, scene.room, row, build, solvent, source):
            continue  # a lead said why it may be used with this in it
        is_lowered = source != "" and lowered_flash(scene.session, scene.room, source) != ""
        carried_c = carried_flash_c(scene.session, scene.room, source) if source else None
        if words := hot_words(SOLVENTS.get(solvent), build, is_lowered, carried_c):
            return f"{row.name}, {words}"
    return ""


def _bath_then(scene: Scene, row: TankRow) -> tuple[str, str]:
    """The tank whose liquid stands in a tank after the act, empty where it is fresh; its solvent.

    A swap that is entered at once is judged by what it fills, not by what it takes out.
    """
    entry = scene.entry
    if scene.act == "fill" and scene.swap is not None and scene.swap.filled_tank == row.key:
        return "", scene.swap.solvent or row.solvent
    if not isinstance(entry, Swap) or entry.tank != row.key:
        return row.key, row.solvent
    if entry.from_tank:
        other = scene.session.get(TankRow, (scene.room_id, entry.from_tank))
        return entry.from_tank, other.solvent if other is not None else row.solvent
    return "", entry.solvent or row.solvent


def _unsigned(scene: Scene) -> str:
    begun = (one.started_at for one in scene.open_looks.values() if one.started_at is not None)
    return "sign it, or give it up" if any(map(scene.has_begun, begun)) else ""


# The whole room


def _room_fault(key: str) -> Callable[[Scene], str]:
    return lambda scene: _faulty(scene, key, scene.at)


def _room_overdue(key: str) -> Callable[[Scene], str]:
    return lambda scene: _overdue(scene, key)


def _too_much_here(scene: Scene) -> str:
    entry = scene.entry
    if isinstance(entry, StockReceived | OrderPlaced):
        more: dict[str, float] = {entry.item: _more_than_before(scene)}
        for one in scene.beside:
            if type(one) is type(entry):
                more[one.item] = more.get(one.item, 0.0) + one.quantity
        return too_much(scene.session, scene.room_id, scene.now, more)
    there = stored(scene.session, scene.room_id, scene.now)
    return f"{there.total_l:.0f} L of {there.limit_l:.0f} L" if there.is_over else ""


# Drums


def _not_known(scene: Scene, drum: DrumState) -> str:
    if drum.stream == "unknown" and _is_for_spoiled(scene, drum):
        return ""
    if drum.stream == "unknown":
        return "have it tested"
    return "it holds two waste streams by the log, have it tested" if drum.is_mixed else ""


def _is_for_spoiled(scene: Scene, drum: DrumState) -> bool:
    """What goes into it is a bath that nobody knows, alone in its drum."""
    used = _baths_used(scene)
    return bool(used) and all(
        spoiled_by(scene.session, scene.room, key)
        and takes_spoiled(scene.session, scene.room, drum, key)
        for key in used
    )


def _drum(check: Callable[[Scene, DrumState], str]) -> Callable[[Scene], str]:
    def see(scene: Scene) -> str:
        for drum in scene.drums:
            if detail := check(scene, drum):
                return f"{drum.name}, {detail}"
        return ""

    return see


def _wrong_stream(scene: Scene, drum: DrumState) -> str:
    held = STREAMS[drum.stream]
    if not held.is_liquid or drum.stream == "unknown":
        return ""
    entry = scene.entry
    if isinstance(entry, DrumTransfer):
        source = drum_of(scene.session, scene.room_id, entry.from_drum)
        is_apart = source is not None and source.stream != drum.stream
        other = other_own_drum(scene.session, scene.room_id, drum, source) if source else ""
        if other:
            return f"it holds {other}"
    else:
        poured = getattr(entry, "stream", None)
        is_apart = poured is not None and poured != drum.stream
        is_apart |= scene.solvent is not None and not fits_bath(drum.stream, scene.solvent)
        solvents = [scene.solvent] if scene.solvent is not None else []
        if other := other_own(scene.session, scene.room_id, drum, solvents):
            return f"it holds {other}"
    return f"it holds “{held.name}”" if is_apart else ""


def _no_liquid(scene: Scene, drum: DrumState) -> str:
    held, entry = STREAMS[drum.stream], scene.entry
    is_weighed = isinstance(entry, Pour) and weighed_kg(entry) is not None and not entry.swap
    is_weighed &= drum.stream != "wipes"
    if held.is_liquid or scene.solvent is None or is_weighed:
        return ""
    return f"it is for “{held.name}”"


def _over_limit(scene: Scene, drum: DrumState) -> str:
    entry, more_l = scene.entry, 0.0
    if isinstance(entry, Pour | DrumTransfer):
        more_l = entry.volume_l
    if isinstance(entry, StepDone) and drum.volume_l <= drum.fill_limit_l:
        return ""  # what the step pours is asked as a pour
    if drum.volume_l + more_l <= drum.fill_limit_l + 1e-6:
        return ""
    return f"{drum.volume_l + more_l:.1f} L, and {drum.fill_limit_l:.1f} L at most"


def _past_day(scene: Scene, drum: DrumState) -> str:
    """The drum had to be gone by then; of its own swap it was asked as the drum was chosen."""
    entry = scene.entry
    if isinstance(entry, Pour) and entry.swap:
        led: SwapState | None = thing(scene.session, scene.room_id, SWAP, entry.swap)
        if led is not None and led.answer("drum", "drum") == drum.key:
            return ""
    zone = ZoneInfo(scene.room.time_zone)
    clock = clock_at(scene.session, scene.room_id, drum, zone, scene.at)
    is_past = clock is not None and clock.days_left < 0
    return f"it had to leave by {day_words(clock.last_on)}" if is_past and clock else ""


def _shut(_: Scene, drum: DrumState) -> str:
    return "take another" if drum.is_closed and not drum.is_shipped else ""


def _closed_before(scene: Scene, drum: DrumState) -> str:
    is_shut = drum.is_closed and drum.closed_at is not None and drum.closed_at <= scene.at
    return _shut(scene, drum) if is_shut else ""


def _warm(scene: Scene) -> str:
    """A drum that takes something, leaves, or is emptied into another one."""
    entry = scene.entry
    emptied = entry.from_drum if isinstance(entry, DrumTransfer) else ""
    source = scene.drum(emptied) if emptied else None
    for drum in (*scene.drums, *([source] if source is not None else ())):
        if drum.is_warm:
            return f"{drum.name}, keep away from it"
    return ""


# The shelf


def _expired(scene: Scene) -> str:
    entry, zone = scene.entry, ZoneInfo(scene.room.time_zone)
    if isinstance(entry, StockReceived):
        here = entry.at.astimezone(zone).date()
        is_old = entry.expires_on is not None and entry.expires_on < here
        return f"good until {day_words(entry.expires_on)}" if is_old and entry.expires_on else ""
    if not isinstance(entry, StockUsed) or not entry.lot or entry.note.strip():
        return ""
    state: ItemState | None = thing(scene.session, scene.room_id, ITEM, entry.item)
    lot = state.lot(entry.lot) if state is not None else None
    end = lot.use_by(state.rules) if lot is not None and state is not None else None
    is_old = end is not None and end < min(entry.at, scene.now).astimezone(zone).date()
    return f"lot {entry.lot} was good until {day_words(end)}" if is_old and end else ""


def _lot_held(standing: str) -> Callable[[Scene], str]:
    """A lot that is held, taken for a bath; or a delivery of more of it."""

    def see(scene: Scene) -> str:
        entry = scene.entry
        if not isinstance(entry, StockUsed | StockReceived) or not entry.lot:
            return ""
        state: ItemState | None = scene.state(ITEM, entry.item)
        lot = state.held_lot(entry.lot) if state is not None else None  # used up as well
        return f"lot {lot.lot}, {lot.reason}" if lot and lot.standing == standing else ""

    return see


def _other_solvent(scene: Scene) -> str:
    if not isinstance(scene.entry, StockUsed) or scene.solvent is None:
        return ""
    state: ItemState | None = thing(scene.session, scene.room_id, ITEM, scene.entry.item)
    is_other = state is not None and state.solvent not in (None, scene.solvent)
    return state.name if state is not None and is_other else ""


DETECTORS: Mapping[str, Callable[[Scene], str]] = {
    "person_not_for_it": _person("ended"),
    "person_not_qualified": _person("not_yet"),
    "interlock_fault": _of_station("interlock", _station_fault),
    "interlock_overdue": _of_station("interlock", _station_overdue),
    "station_held": _of_station("", _station_held),
    "reading_set_aside": _of_station("", _set_aside),
    "light_path_new": _of_station("", _light_path),
    "meter_overdue": _room_overdue(LOOKS_OF_ROOM["meter_overdue"]),
    **{fault: _at_instruments(fault) for fault in OF_INSTRUMENTS},
    "cover_fault": _cover_fault,
    "cover_overdue": _cover_overdue,
    "tank_held": _held_by("incident", "lead"),
    "contents_unknown": _held_by(CONTENTS),
    "part_unsafe": _held_by("inspection"),
    "inspection_unsigned": _unsigned,
    "flash_lowered": _flash_lowered,
    "bath_spoiled": _spoiled,
    "tank_heated": _heated,
    "hood_fault": _room_fault(DUTIES_OF_ROOM["hood_fault"]),
    "hood_overdue": _room_overdue(LOOKS_OF_ROOM["hood_overdue"]),
    "eyewash_fault": _room_fault(DUTIES_OF_ROOM["eyewash_fault"]),
    "eyewash_overdue": _room_overdue(LOOKS_OF_ROOM["eyewash_overdue"]),
    "spill_kit_fault": _room_fault(DUTIES_OF_ROOM["spill_kit_fault"]),
    "spill_kit_overdue": _room_overdue(LOOKS_OF_ROOM["spill_kit_overdue"]),
    "storage_over_limit": _too_much_here,
    "drum_wrong_stream": _drum(_wrong_stream),
    "drum_no_liquid": _drum(_no_liquid),
    "drum_over_limit": _drum(_over_limit),
    "drum_warm": _warm,
    "drum_unsound": _drum(lambda _, drum: "found at its last check" if drum.is_unsound else ""),
    "drum_unknown": _drum(_not_known),
    "drum_quarantined": _drum(
        lambda _, drum: drum.quarantine_reason if drum.is_quarantined and not drum.is_warm else ""
    ),
    "drum_closed": _drum(_closed_before),
    "drum_past_day": _drum(_past_day),
    "drum_open": _drum(lambda _, drum: "" if drum.is_closed else "close it first"),
    "lot_expired": _expired,
    "lot_quarantined": _lot_held("quarantined"),
    "lot_withdrawn": _lot_held("withdrawn"),
    "lot_wrong_solvent": _other_solvent,
}
"""How each fault is seen in what an act uses: a detail in words where it is there, else nothing."""

ANSWERED: tuple[Answer, ...] = ("forbidden", "asked")
"""The answers that a door gives; what is told stands on the pages."""
