"""Inspections: started, answered part by part, decided, closed. Each step is one transaction."""

import re
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.inspections.components import ComponentState
from app.domain.inspections.conditions import CONDITIONS
from app.domain.inspections.inspection import InspectionState, Look
from app.domain.inspections.rules import answer_problems, judge
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    INSPECTION,
    PARTS,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoMarked,
)
from app.domain.roomlog.kinds.supplies import StockUsed
from app.services.incidents.holds import lead_problems, sent
from app.services.roomlog import Recorded, record_decided
from app.services.supplies.stock import use_problems
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing, things

MOST_PHOTOS = 40  # of one position in one inspection
HOLD_REASON = 190  # characters


def components(session: Session, room_id: int) -> dict[str, ComponentState]:
    """The positions of the room that are set up and not retired, by key."""
    found = things(session, room_id, COMPONENT, only_open=True)
    return {key: state for key, state in found.items() if state.part}


def positions_of(
    session: Session, room_id: int, *, tank: str = "", station: str = ""
) -> list[ComponentState]:
    """The positions of a tank or of a station: impellers with what sits on them first."""
    found = components(session, room_id).values()
    here = [one for one in found if (one.tank, one.station) == (tank, station)]
    return sorted(here, key=_place)


def _place(one: ComponentState) -> tuple[bool, int, int, str]:
    number = re.search(r"\d+$", one.name)
    at_impeller = one.part in ("impeller", "washer", "o_ring")
    return (not at_impeller, int(number[0]) if number else 0, PARTS.index(one.part), one.name)


def inspections(
    session: Session, room_id: int, *, only_open: bool = False
) -> list[InspectionState]:
    """The room's inspections, the latest first."""
    found = things(session, room_id, INSPECTION, only_open=only_open).values()
    started = [state for state in found if state.started_at is not None]
    return sorted(started, key=lambda state: (state.started_at, state.key), reverse=True)


def find_inspection(session: Session, room_id: int, key: str) -> InspectionState:
    """The inspection of that key.

    Raises:
        NotFound: there is none, or its start was taken back.
    """
    state: InspectionState | None = thing(session, room_id, INSPECTION, key)
    if state is None or state.started_at is None:
        raise NotFound(f"There is no inspection “{key[:64]}” in this room.")
    return state


def find_look(state: InspectionState, component: str) -> Look:
    """The look at a position.

    Raises:
        NotFound: the inspection has no such position.
    """
    look = state.look(component)
    if look is None:
        raise NotFound("This inspection has no such part.")
    return look


def watched(session: Session, room_id: int) -> dict[str, list[ComponentState]]:
    """By tank: positions whose last look asks for another, or for a part not yet replaced."""
    found: dict[str, list[ComponentState]] = {}
    for state in components(session, room_id).values():
        if state.tank and state.is_watched:
            found.setdefault(state.tank, []).append(state)
    return found


def start(
    store: Store, room: str, entry: InspectionStarted, now: datetime, key: str | None
) -> Recorded:
    """Begin an inspection of all positions that the tank or station has.

    Raises:
        FieldErrors: no positions are set up there.
        Conflict: one is open there already.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        where = (entry.tank or "", entry.station or "")
        for state in inspections(session, row.id, only_open=True):
            if (state.tank, state.station) == where:
                raise Conflict("An inspection is open here already. Load the page again.")
        found = positions_of(session, row.id, tank=where[0], station=where[1])
        if not found:
            raise FieldErrors([FieldError("positions", "Set up first which parts sit here.")])
        listed = [{"component": one.key, "part": one.part, "name": one.name} for one in found]
        return [replace(entry, positions=listed)]

    return record_decided(store, room, decide, sent(entry), now, key)


def answer(
    store: Store,
    room: str,
    entry: InspectionAnswered,
    photos: Sequence[InspectionPhoto],
    now: datetime,
    key: str | None,
) -> Recorded:
    """Store what was seen at a position, with its photos and the rule's verdict.

    Raises:
        FieldErrors: a question is left out.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state = _open(session, row.id, entry.inspection)
        look = find_look(state, entry.component)
        if errors := answer_problems(look.part, entry.answers):
            raise FieldErrors(errors)
        there = {photo.photo for photo in look.photos}
        fresh = [one for one in _once(photos) if one.photo not in there]
        _check_count(look, fresh)
        asked = {one.key for one in CONDITIONS[look.part]}
        answers = {name: value for name, value in entry.answers.items() if name in asked}
        judged = replace(entry, answers=answers, verdict=judge(look.part, answers).verdict)
        return [judged, *fresh]

    more = {"photos": [one.photo for one in photos]}
    return record_decided(store, room, decide, sent(entry) | more, now, key)


def mark(store: Store, room: str, entry: PhotoMarked, now: datetime, key: str | None) -> Recorded:
    """Store the arrows and rings of a photo.

    Raises:
        NotFound: the position has no such photo.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        look = find_look(_open(session, row.id, entry.inspection), entry.component)
        if entry.photo not in {photo.photo for photo in look.photos}:
            raise NotFound("This part has no such photo in this inspection.")
        return [entry]

    return record_decided(store, room, decide, sent(entry), now, key)


def overrule(
    store: Store, room: str, entry: InspectionOverruled, now: datetime, key: str | None
) -> Recorded:
    """A lead decides otherwise than the rule.

    Raises:
        FieldErrors: no lead of the room says so, or nothing is decided yet.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        look = find_look(_open(session, row.id, entry.inspection), entry.component)
        errors = lead_problems(session, row.id, entry.lead)
        if not look.verdict:
            errors.append(FieldError("verdict", "Answer the questions first."))
        elif look.verdict == entry.verdict:
            errors.append(FieldError("verdict", "The rule says the same."))
        if errors:
            raise FieldErrors(errors)
        return [entry]

    return record_decided(store, room, decide, sent(entry), now, key)


def fit_part(
    store: Store, room: str, entry: ComponentReplaced, now: datetime, key: str | None
) -> Recorded:
    """Fit a new part: from the shelf where an item is named; its history starts again.

    Raises:
        FieldErrors: the shelf has none, or not of this lot.
        NotFound: there is no such position.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state: ComponentState | None = thing(session, row.id, COMPONENT, entry.component)
        if state is None or not state.part:
            raise NotFound("There is no such part position.")
        if entry.inspection:
            find_look(find_inspection(session, row.id, entry.inspection), entry.component)
        if entry.item is None:
            return [entry]
        use = StockUsed(
            at=entry.at, entered_at=entry.entered_at, by=entry.by, item=entry.item, quantity=1.0,
            purpose="inspection", lot=entry.lot, inspection=entry.inspection,
        )  # fmt: skip
        if problems := use_problems(session, row.id, use, now):
            named = ("item", "lot")
            raise FieldErrors(
                [FieldError(p.field if p.field in named else "item", p.message) for p in problems]
            )
        return [entry, use]

    return record_decided(store, room, decide, sent(entry), now, key)


def close(
    store: Store, room: str, entry: InspectionClosed, now: datetime, key: str | None
) -> Recorded:
    """Sign an inspection. A part out of service holds the tank in the same transaction.

    Raises:
        FieldErrors: a part was not looked at, a photo or a signature is missing.
        Conflict: it is closed already.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state = _open(session, row.id, entry.inspection)
        if errors := closing_problems(state, entry):
            raise FieldErrors(errors)
        entries: list[Entry] = [entry]
        if state.blocks_refill and state.tank:
            reason = "; ".join(state.reasons)[:HOLD_REASON]
            held = TankHeld(
                at=entry.at, entered_at=entry.entered_at, by=entry.by, tank=state.tank,
                reason=reason, cause="inspection", inspection=state.key,
            )  # fmt: skip
            entries.append(held)
        return entries

    return record_decided(store, room, decide, sent(entry), now, key)


def closing_problems(state: InspectionState, entry: InspectionClosed) -> list[FieldError]:
    """What is still missing before an inspection can be signed."""
    errors = []
    if state.left:
        names = ", ".join(look.name for look in state.left)
        errors.append(FieldError("parts", f"Not looked at yet: {names}."))
    bare = [look.name for look in state.looks if look.lacks_photo]
    if bare:
        errors.append(
            FieldError("parts", f"A photo, or why there is none, is missing: {', '.join(bare)}.")
        )
    if not entry.by.strip():
        errors.append(FieldError("by", "Say who signs."))
    elif entry.second and entry.second.strip().lower() == entry.by.strip().lower():
        errors.append(FieldError("second", "The second person is somebody else."))
    return errors


def new_key() -> str:
    """A key for something new."""
    return uuid.uuid4().hex[:12]


def _open(session: Session, room_id: int, key: str) -> InspectionState:
    state = find_inspection(session, room_id, key)
    if state.is_closed:
        raise Conflict("This inspection is closed. Start a new one.")
    return state


def _once(photos: Sequence[InspectionPhoto]) -> list[InspectionPhoto]:
    return list({one.photo: one for one in photos}.values())


def _check_count(look: Look, fresh: Sequence[InspectionPhoto]) -> None:
    if len(look.photos) + len(fresh) > MOST_PHOTOS:
        message = f"At most {MOST_PHOTOS} photos of one part. These were not stored."
        raise FieldErrors([FieldError("photos", message)])
