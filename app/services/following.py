"""What follows at the door from what is entered, by whichever way it comes in.

A report of a problem holds what it names, and again where it is opened again. A tank that is held
in the middle of its swap is asked about. A tick or a close of a swap that is taken back takes back
what followed from it: a fill that did not happen took nothing off the shelf. A sensor that a step
found damaged is looked at. What is moved out of a drum in quarantine stays in quarantine. A hold
that comes late is lifted by no release that knew nothing of it.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from uuid import uuid4

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.lot_keys import lot_key
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.checklists import SWAP, StepDone, SwapClosed, TankContents
from app.domain.roomlog.kinds.incidents import Incident, IncidentReopened
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    InstrumentPutBack,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.supplies import ITEM, LotHeld, LotReleased
from app.domain.roomlog.kinds.waste import DRUM, DrumChecked, DrumQuarantined, DrumTransfer
from app.domain.waste.drums import WARM, DrumState
from app.domain.waste.fitting import name_of
from app.services.authorship import entry_row
from app.services.entries import entry_of
from app.services.incidents.holding import (
    LONGEST_REASON,
    WAYS,
    holds_again,
    holds_of,
    is_released_since,
)
from app.services.swaps.asking import with_question
from app.services.swaps.inspected import findings
from app.services.swaps.under_way import Hand, questions_again, withdrawals
from app.services.then import rows_of
from app.store.instants import to_us
from app.store.tables import EntryRow
from app.store.things import thing

WITH_ACTS = (StepDone.kind, SwapClosed.kind)
"""Kinds that write what follows from them."""

HOLDS = (*(way.held.kind for way in WAYS.values()), LotHeld.kind, InstrumentSetAside.kind,
         DrumChecked.kind)  # fmt: skip
"""Kinds that hold something, and hold it anew where they are entered late."""
LONGEST_ID = 64

Placed = tuple[int, Entry]
"""An entry and its place among those given."""


def quarantine_of(
    session: Session, room_id: int, move: DrumTransfer, now: datetime, beside: Iterable[Entry] = ()
) -> list[Entry]:
    """The quarantine of a drum goes along with its contents: nobody has said that they are good.

    It may be entered just before, `beside` the move. It holds from the move, or from `now` where
    the other drum was released since by a lead who knew nothing of it.
    """
    source: DrumState | None = thing(session, room_id, DRUM, move.from_drum)
    reasons = [source.quarantine_reason] if source is not None and source.is_quarantined else []
    reasons += [
        one.reason
        for one in beside
        if isinstance(one, DrumQuarantined) and one.drum == move.from_drum and one.at <= move.at
    ]
    if not reasons:
        return []
    name = name_of(source) if source is not None else move.from_drum
    reason = f"From {name}: {'; '.join(reasons)}"[:LONGEST_REASON]
    is_new = not move.corrects  # the lead knew of one that is corrected
    is_late = is_new and is_released_since(session, room_id, DRUM, move.drum, move.at)
    at = now if is_late else move.at
    return [DrumQuarantined(at=at, by=move.by, drum=move.drum, reason=reason)]


def held_anew(
    session: Session, room_id: int, entry: Entry, now: datetime, taken: Collection[str] = ()
) -> list[Entry]:
    """A hold that is entered late, of before a release that knew nothing of it, holds from now on
    as well, under its own id, with which it is taken back; one that is corrected does not.

    `taken` are ids that are entered beside it.
    """
    if entry.corrects or entry.at >= now or not _is_let_go(session, room_id, entry):
        return []
    uid = _id_of_anew(entry.id)
    is_free = len(uid) <= LONGEST_ID and uid not in taken and not entry_row(session, room_id, uid)
    uid = uid if is_free else ""
    if isinstance(entry, DrumChecked):
        return [DrumQuarantined(at=now, id=uid, by=entry.by, drum=entry.drum, reason=WARM)]
    return [replace(entry, at=now, id=uid, entered_at=None)]


def _id_of_anew(uid: str) -> str:
    return f"{uid}.1"


def _is_let_go(session: Session, room_id: int, entry: Entry) -> bool:
    """It holds something that was let go after its time."""
    if isinstance(entry, DrumChecked):
        return bool(entry.is_warm) and is_released_since(
            session, room_id, "drum", entry.drum, entry.at
        )
    if isinstance(entry, InstrumentSetAside):  # at one instant it comes last
        return _has_after(
            session, room_id, (INSTRUMENT, entry.instrument), InstrumentPutBack, entry.at
        )
    if isinstance(entry, LotHeld):
        rows = rows_of(session, room_id, ITEM, entry.item)
        later = (entry_of(row) for row in rows if row.at_us >= to_us(entry.at))
        key = lot_key(entry.lot)
        return any(isinstance(one, LotReleased) and lot_key(one.lot) == key for one in later)
    name = next((name for name, way in WAYS.items() if isinstance(entry, way.held)), "")
    return bool(name) and is_released_since(session, room_id, name, getattr(entry, name), entry.at)


def _has_after(
    session: Session, room_id: int, key: tuple[str, str], kind: type[Entry], at: datetime
) -> bool:
    rows = rows_of(session, room_id, *key)
    return any(row.kind == kind.kind and row.at_us > to_us(at) for row in rows)


def followed(
    session: Session, room_id: int, fresh: Sequence[Placed], now: datetime
) -> list[Placed]:
    """Entries with what follows from each, which has its place."""
    beside = [entry for _, entry in fresh]
    found: list[Placed] = []
    for place, entry in fresh:
        ids = [one.id for one in beside]
        held: list[Entry] = [entry, *held_anew(session, room_id, entry, now, ids)]
        if isinstance(entry, Incident):
            held += holds_of(session, room_id, entry, beside, now)
        if isinstance(entry, IncidentReopened):
            held += holds_again(session, room_id, entry, now)
        if isinstance(entry, Withdrawal):
            held += _taken_back_with(session, room_id, entry, beside)
        if isinstance(entry, DrumTransfer):
            before = [one for _, one in found]
            held += quarantine_of(session, room_id, entry, now, before)
        if isinstance(entry, StepDone):
            held += findings(session, room_id, entry, beside)  # outlives the tick
        held = with_question(session, room_id, held)
        found += [(place, one if one.id else replace(one, id=uuid4().hex)) for one in held]
    return found


def _taken_back_with(
    session: Session, room_id: int, word: Withdrawal, beside: Sequence[Entry]
) -> list[Entry]:
    """What followed from a tick, a close or a late hold that is taken back, but for what is taken
    back beside it; of a close also the question what is in its tanks."""
    row = entry_row(session, room_id, word.withdraws)
    if row is None or row.voided_by is not None or row.kind not in (*WITH_ACTS, *HOLDS):
        return []
    gone = {one.withdraws for one in beside if isinstance(one, Withdrawal)}
    hand = Hand(word.at, word.by, word.note)
    taken = entry_of(row)
    if not isinstance(taken, StepDone | SwapClosed):
        anew = _held_with(session, room_id, row)
        return [] if gone.issuperset(anew) else withdrawals(session, room_id, anew, hand)
    found = [
        one
        for one in withdrawals(session, room_id, taken.wrote or (), hand)
        if isinstance(one, Withdrawal) and one.withdraws not in gone
    ]
    if isinstance(taken, SwapClosed) and not any(isinstance(x, TankContents) for x in beside):
        state: SwapState | None = thing(session, room_id, SWAP, taken.swap)
        return [*found, *(questions_again(state, word.at, word.by) if state is not None else ())]
    return list(found)


def _held_with(session: Session, room_id: int, row: EntryRow) -> list[str]:
    """The id of what a hold that was entered late holds anew; none where it does not."""
    anew = entry_row(session, room_id, _id_of_anew(row.uid))
    is_of_it = anew is not None and anew.kind in HOLDS and anew.recorded_at_us == row.recorded_at_us
    return [anew.uid] if anew is not None and is_of_it and anew.voided_by is None else []
