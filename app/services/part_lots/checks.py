"""What may be said of part lots: whether one can be released, and what is odd about a lot."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlmodel import Session, select

from app.domain.errors import Doubt, FieldError
from app.domain.part_lots.record import LotRecord
from app.domain.plausible.words import LOT_DONE, LOT_RESIN, LOT_UNKNOWN
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.curing import Cure
from app.domain.roomlog.kinds.part_lots import (
    BETWEEN,
    PartLot,
    PartLotEntry,
    PartLotRejected,
    PartLotReleased,
)
from app.services.incidents.holds import lead_problems
from app.services.part_lots.record import entries_of, record_of
from app.store.tables import EntryRow, RoomRow

NOBODY_KNOWS = "No entry names this lot. Check the label, or log its washes first."


def lot_problems(
    session: Session, room: RoomRow, entry: PartLotEntry, _: datetime
) -> list[FieldError]:
    """Why a word about a lot is refused: nobody knows it, or something in its chain is wrong."""
    if isinstance(entry, PartLot):
        return []
    record = record_of(session, room, entry.lot)
    if not record.steps:
        return [FieldError("lot", NOBODY_KNOWS)]
    if isinstance(entry, PartLotRejected):
        return []
    assert isinstance(entry, PartLotReleased)
    found = lead_problems(session, room.id or 0, entry.lead)
    return found + release_problems(record, entry)


def release_problems(record: LotRecord, entry: PartLotReleased) -> list[FieldError]:
    """What is wrong in the chain and not accepted by name."""
    left = [one for one in record.findings if one not in entry.concessions]
    if not left:
        return []
    message = (
        f"Not released: {BETWEEN.join(left)}. Correct the log, reject the lot, or accept each."
    )
    return [FieldError("accepted", message)]


def lot_doubts(session: Session, room_id: int, entry: Wash | Cure | PartLot) -> list[Doubt]:
    """What is odd about the lot of an entry, beside what the log has of it."""
    if not entry.lot:
        return []
    known = [one for one in entries_of(session, room_id, entry.lot) if one.id != entry.corrects]
    if isinstance(entry, Cure) and not known and not entry.corrects:
        return _of_nobody(session, room_id, entry.lot)
    return [*_of_resin(known, entry), *_of_order(known, entry)]


def _of_nobody(session: Session, room_id: int, lot: str) -> list[Doubt]:
    """A room that enters its lots does not cure one that it never heard of."""
    query = select(EntryRow.id).where(EntryRow.room_id == room_id, EntryRow.kind == PartLot.kind)
    if session.exec(query.limit(1)).first() is None:
        return []
    words = f"No wash and no entry names lot {lot}. Is the lot right?"
    return [Doubt(words, LOT_UNKNOWN, ("Check the label of the parts, or enter the lot first.",))]


def _of_resin(known: Sequence[Entry], entry: Wash | Cure | PartLot) -> list[Doubt]:
    resins = {one.resin for one in known if isinstance(one, Wash | Cure | PartLot)}
    if not resins or entry.resin in resins:
        return []
    words = f"Lot {entry.lot} is of another resin in the log. Is this the right lot and resin?"
    return [Doubt(words, LOT_RESIN, (LOOK,))]


def _of_order(known: Sequence[Entry], entry: Wash | Cure | PartLot) -> list[Doubt]:
    before = [one for one in known if one.at <= entry.at]
    words = [_DONE[type(one)] for one in before if type(one) in _DONE]
    if isinstance(entry, Wash) and not words and any(isinstance(one, Cure) for one in before):
        words = ["cured"]
    if not words or isinstance(entry, PartLot):
        return []
    text = f"Lot {entry.lot} is already {words[-1]}. Are these the same parts?"
    return [Doubt(text, LOT_DONE, (LOOK,))]


_DONE: Mapping[type[Entry], str] = {PartLotReleased: "released", PartLotRejected: "rejected"}
LOOK = "Check the label of the parts."
