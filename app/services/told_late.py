"""What is asked of an act that is entered late, beside a fault that began or ended since.

A fault that stood then and stands now is answered as its cell says (services/harm). Where it began
only later, by what is told, whoever enters it says so by name; where it has ended since, the same.
What a tablet kept while nobody could reach it was done, though a hold stood that it knew nothing
of: that is asked too, and never refused, since the record of it would be lost.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import moment_words
from app.domain.errors import Doubt, FieldError
from app.domain.harm.acts import OF_KIND
from app.domain.harm.faults import FAULTS
from app.domain.harm.late import (
    BEGAN,
    DONE,
    DONE_BEFORE,
    DONE_UNDER,
    WAYS_LATE,
    before_words,
    under_words,
)
from app.domain.harm.matrix import Cell, cells_of
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.duties import DUTY
from app.domain.roomlog.kinds.incidents import HOLD, INCIDENT
from app.domain.roomlog.kinds.inspections import INSPECTION
from app.domain.roomlog.kinds.instruments import INSTRUMENT
from app.domain.roomlog.kinds.qualifications import QUALIFICATIONS
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.kinds.waste import DRUM, DrumTransfer
from app.services.authorship import entry_row
from app.services.entries import entry_of
from app.services.harm import ANSWERED, DETECTORS, DUTIES_OF_ROOM, OF_USE, Scene, scene_of
from app.services.incidents.doubts import spoiled_by
from app.services.then import rows_of
from app.store.acting import has_waited
from app.store.instants import from_us
from app.store.tables import RoomRow

YES = {
    DONE_BEFORE: "Yes, it was before that: store it",
    DONE_UNDER: "Yes, it happened then: store it",
}
TOLD = ("drum_closed", "drum_unsound", "inspection_unsigned", "person_not_for_it")
"""Faults whose detail says no more than how they began."""
INSTANT = timedelta(microseconds=1)
NO = {DONE_BEFORE: "No, it was later", DONE_UNDER: "No, change the time"}


@dataclass(frozen=True)
class Crossing:
    """A fault that stands on one side only of what is told late: it began later, or has ended."""

    cell: Cell
    question: str
    scene: Scene
    detail: str

    @property
    def since_at(self) -> datetime:
        """When the fault began, as its books tell; the entry's own time where they do not."""
        entry, until = self.scene.entry, self.scene.now
        times = sorted({at for at in _times(self.scene, self.cell.fault) if at <= until})
        if self.question == DONE_UNDER:
            earlier = [at for at in times if at <= entry.at]
            began = (at for at in reversed(earlier) if not self._is_there(at - INSTANT))
        else:
            began = (at for at in times if at > entry.at and self._is_there(at))
        return next(began, entry.at)

    def _is_there(self, at: datetime) -> bool:
        then = replace(self.scene, seen_at=at, is_then=True)
        return bool(DETECTORS[self.cell.fault](then))

    @property
    def doubt(self) -> Doubt:
        """The question, with its two answers."""
        words = before_words if self.question == DONE_BEFORE else under_words
        fault, scene = self.cell.fault, self.scene
        since, done = (_when(scene, at) for at in (self.since_at, scene.entry.at))
        message = words(fault, scene.act, since, done, "" if fault in TOLD else self.detail)
        way = WAYS_LATE.get(fault, FAULTS[fault].way)
        ways = (way,) if self.question == DONE_BEFORE else ()
        return Doubt(message, self.question, ways, (YES[self.question], NO[self.question]))


def doubts(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[Doubt]:
    """What is asked of an entry that tells of a time before now.

    A correction is asked where it brings the entry to another side of a fault than it was on.
    """
    found = list(_crossings(session, room, entry, now))
    if entry.corrects and found:
        row = entry_row(session, room.id or 0, entry.corrects)
        old = entry_of(row) if row is not None else None
        known = {
            (one.cell.fault, one.question)
            for one in (_crossings(session, room, old, now) if old is not None else ())
        }
        found = [one for one in found if (one.cell.fault, one.question) not in known]
    return [one.doubt for one in found]


def was_done(entry: Entry) -> bool:
    """It waited on a tablet that nobody could reach: whoever did it could not know of a hold."""
    act = OF_USE.get(entry.purpose or "", "") if isinstance(entry, StockUsed) else ""
    return has_waited() and not entry.corrects and (act or OF_KIND.get(type(entry))) in DONE


def unnamed(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """That nobody says so: what was done before a fault began bears a name."""
    if entry.by.strip() or entry.corrects or entry.at >= now:
        return []
    for one in _crossings(session, room, entry, now):
        if one.question == DONE_BEFORE:
            message = f"{one.doubt} Enter who says so."
            return [FieldError("by", message, DONE_BEFORE)]
    return []


def _crossings(session: Session, room: RoomRow, entry: Entry, now: datetime) -> Iterator[Crossing]:
    scene = scene_of(session, room, entry, now) if entry.at < now else None
    if scene is None:
        return
    # One look at the room each, in which all faults read the same books.
    before, later = replace(scene, is_then=True), replace(scene, seen_at=now)
    for cell in cells_of(scene.act):
        is_of_lot = FAULTS[cell.fault].thing == "lot"
        is_apart = isinstance(entry, StockUsed) and not is_of_lot
        if cell.fault not in BEGAN or cell.answer not in ANSWERED or is_apart:
            continue
        look = DETECTORS[cell.fault]
        then, here = look(before), look(scene)
        if scene.is_passed(cell.fault):
            continue
        if then and here:
            if cell.answer == "forbidden" and was_done(entry):
                yield Crossing(cell, DONE_UNDER, scene, then)
            continue
        if detail := look(later):
            yield Crossing(cell, DONE_BEFORE, scene, detail)
        elif then:
            yield Crossing(cell, DONE_UNDER, scene, then)


def _times(scene: Scene, fault: str) -> Iterator[datetime]:
    """When something was entered in the books that tell of a fault."""
    for kind, key in _books(scene, fault):
        for row in rows_of(scene.session, scene.room_id, kind, key, scene.now):
            yield from_us(row.at_us)


def _books(scene: Scene, fault: str) -> Iterator[tuple[str, str]]:
    entry, of = scene.entry, FAULTS[fault].thing
    if fault == "bath_spoiled":
        found = (spoiled_by(scene.session, scene.room, key) for key in scene.tanks)
        yield from ((INCIDENT, one.key) for some in found for one in some)
    elif fault == "inspection_unsigned":
        yield from ((INSPECTION, key) for key in scene.open_looks)
    elif of == "tank":
        yield from ((HOLD, key) for key in scene.tanks)
        yield DUTY, "cover"
    elif of == "station":
        yield STATION, entry.station
        yield DUTY, "interlock"
    elif of == "drum":
        yield from ((DRUM, key) for key in scene.drum_keys())
        if isinstance(entry, DrumTransfer):
            yield DRUM, entry.from_drum
    elif of == "room":
        yield DUTY, DUTIES_OF_ROOM[fault]
    elif of == "lot":
        yield ITEM, entry.item
    elif of == "instrument":
        yield from ((INSTRUMENT, key) for key in scene.instrument_keys())
    else:
        yield QUALIFICATIONS, QUALIFICATIONS


def _when(scene: Scene, at: datetime) -> str:
    """A time of today, or a day and time."""
    zone = ZoneInfo(scene.room.time_zone)
    local = at.astimezone(zone)
    if local.date() == scene.now.astimezone(zone).date():
        return f"at {local:%H:%M}"
    return f"on {moment_words(at, zone)}"
