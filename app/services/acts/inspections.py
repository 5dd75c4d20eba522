"""Inspections: started, answered part by part, decided, closed. Each step is one transaction.

A part that goes out of service holds its tank or station in the same transaction, whichever step
says so; what takes that back lets it go.
"""

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session, col, select

from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import INSPECTION_BOOK, InspectionState, Look
from app.domain.inspections.part import EMPTY
from app.domain.inspections.rules import answer_problems, judge
from app.domain.inspections.terms import VERDICT_NAMES
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.inspections import (
    LOOK_WORDS,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
)
from app.services import door
from app.services.acts.fitting_parts import use_of
from app.services.door import Recorded
from app.services.incidents.holds import sent
from app.services.inspections import holding, lifting
from app.services.inspections.checks import (
    MOST_PHOTOS,
    OPEN_HERE,
    closing_problems,
    decision_problems,
    photo_problems,
    said_problems,
)
from app.services.inspections.reading import find_look, inspections, positions_of, under_way
from app.services.swaps.looks import REFILLED, cloth_from
from app.services.swaps.under_way import local, open_swap
from app.store.engine import Store
from app.store.tables import EntryRow, RoomRow

TAKEN_BACK = "Taken back at the inspection"


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
        return [_begun(session, row.id, entry)]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)


def _begun(session: Session, room_id: int, entry: InspectionStarted) -> InspectionStarted:
    """The beginning of an inspection, with the positions that show something then."""
    where = (entry.tank or "", entry.station or "")
    for state in inspections(session, room_id, only_open=True):
        if (state.tank, state.station) == where:
            raise Conflict(OPEN_HERE)
    here = positions_of(session, room_id, tank=where[0], station=where[1])
    if not here:
        raise FieldErrors([FieldError("positions", "First set up the parts that sit here.")])
    when = entry.look or EMPTY
    found = [one for one in here if asked(one.part, when)]
    if not found:
        message = f"No part here shows anything {LOOK_WORDS[when]}."
        raise FieldErrors([FieldError("look", message)])
    listed = [{"component": one.key, "part": one.part, "name": one.name} for one in found]
    return replace(entry, positions=listed)


def look_at(
    store: Store, room: str, entry: InspectionStarted, answers: Mapping[str, Mapping[str, str]],
    signed: InspectionClosed, now: datetime, key: str | None, *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """One look at all parts of a tank at once: begun, answered, and signed where nothing is left.

    What takes a part out of service holds the tank in the same transaction. A finding that needs a
    photo leaves the look open, so that the photo and the signature follow on its pages.

    Raises:
        FieldErrors: a question is left out (field: position and question), or a cloth was looked at
            too early to say that it is dry.
        Conflict: an inspection is open there already.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        begun = _begun(session, row.id, entry)
        state: InspectionState = INSPECTION_BOOK.apply(InspectionState(begun.inspection), begun)
        found = [
            FieldError(f"{look.component}.{one.field}", one.message)
            for look in state.looks
            for one in answer_problems(look.part, answers.get(look.component, {}), look.when)
        ]
        entries: list[Entry] = [begun]
        for look in state.looks:
            given = {
                one.key: answers.get(look.component, {}).get(one.key, "")
                for one in asked(look.part, look.when)
            }
            said = InspectionAnswered(
                at=begun.at,
                by=begun.by,
                note=begun.note,
                inspection=begun.inspection,
                component=look.component,
                answers=given,
                look=begun.look,
                verdict=judge(look.part, given, look.when).verdict,
            )
            if not found:
                entries += holding.with_holds(session, row.id, state, said)
                state = INSPECTION_BOOK.apply(state, said)
        found += _too_early(session, row.id, state, begun)
        if found:
            raise FieldErrors(found)
        is_whole = not any(look.lacks_photo for look in state.looks)
        return [*entries, signed] if is_whole else entries

    more = {"answers": {name: dict(given) for name, given in answers.items()}}
    act = door.Act(decide, sent(entry) | more | {"second": signed.second})
    return door.enter(store, room, act, now, key, confirmed=confirmed)


def _too_early(
    session: Session, room_id: int, state: InspectionState, begun: InspectionStarted
) -> list[FieldError]:
    """A dry cloth says nothing yet; a wet one does at once."""
    swap = open_swap(session, room_id, state.tank) if state.when == REFILLED else None
    since = cloth_from(session, room_id, swap, state.tank) if swap is not None else None
    is_dry = all(look.verdict == "serviceable" for look in state.looks)
    if since is None or begun.at >= since or not is_dry:
        return []
    when = local(session, room_id, since)
    return [FieldError("at", f"Look again from {when} on: a slow leak needs ten minutes to show.")]


def answer(
    store: Store,
    room: str,
    entry: InspectionAnswered,
    photos: Sequence[InspectionPhoto],
    now: datetime,
    key: str | None,
    over: str | None = None,
) -> Recorded:
    """Store what was seen at a position, with its photos and the rule's verdict.

    The same answers, note and reason a second time store only what photos are new. `over` names
    the answers that the page showed: those of somebody else since then are not replaced unseen.

    Raises:
        FieldErrors: a question is left out, or somebody answered meanwhile.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, entry.inspection)
        look = find_look(state, entry.component)
        known = {one.key for one in asked(look.part, look.when)}
        answers = {name: value for name, value in entry.answers.items() if name in known}
        when = None if look.when == EMPTY else look.when
        said_now = replace(entry, answers=answers, look=when)
        if errors := said_problems(look, said_now):
            raise FieldErrors(errors)
        is_other = look.answers != answers or look.is_replaced
        if over is not None and over != look.last_entry and is_other:
            raise FieldErrors([_meanwhile(look)])
        fresh = [replace(one, look=when) for one in _fresh(look, photos)]
        judged = replace(said_now, verdict=judge(look.part, answers, look.when).verdict)
        if _is_said(look, judged):
            return fresh
        said = holding.with_holds(session, row.id, state, judged)
        if lifting.lifts(said, judged) and (
            found := lifting.change_problems(session, row.id, look, entry.by, now)
        ):
            raise FieldErrors(found)
        return [*said, *fresh]

    more = {"photos": [(one.photo, one.view) for one in photos]}
    return door.enter(store, room, door.Act(decide, sent(entry) | more, lifting.SETTLED), now, key)


def touch_photo(
    store: Store, room: str, entry: PhotoLabelled | PhotoMarked, now: datetime, key: str | None
) -> Recorded:
    """Store what a photo shows, or its arrows and rings.

    Raises:
        NotFound: the position has no such photo.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        look = find_look(under_way(session, row.id, entry.inspection), entry.component)
        if errors := photo_problems(look, entry):
            raise NotFound(errors[0].message)
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)


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
        state = under_way(session, row.id, entry.inspection)
        look = find_look(state, entry.component)
        if errors := decision_problems(session, row.id, look, entry):
            raise FieldErrors(errors)
        return holding.with_holds(session, row.id, state, entry)

    return door.enter(store, room, door.Act(decide, sent(entry), lifting.SETTLED), now, key)


def take_back(
    store: Store, room: str, inspection: str, component: str, word: Withdrawal, key: str | None,
    lead: str = "", reason: str = "",
) -> Recorded:  # fmt: skip
    """Take back an answer, a photo, a lead's decision or a fitting, with what followed from it:
    the hold that it brought is let go, the part that it took lies on the shelf again. What lets a
    hold go is for whoever said it, soon after, else for a lead with a reason: theirs is the word.

    Raises:
        FieldErrors: it lets a hold go, and neither of them takes it back.
        NotFound: it was taken back before, or is none of this look's.
        Conflict: the inspection is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, inspection)
        look = find_look(state, component)
        mine = {look.entry, look.overrule_entry, look.replaced_entry} - {""}
        if word.withdraws not in mine | {photo.entry for photo in look.photos}:
            raise NotFound("This has already been taken back. Reload the page.")
        use = use_of(word.withdraws)
        put_back = [replace(word, withdraws=use)] if counts(session, row.id, use) else []
        signed = replace(word, by=lead, note=reason) if lead else word
        after = holding.without(session, row.id, state, signed)
        if lifting.lifts(after, signed) and (
            found := lifting.undo_problems(session, row.id, look, word, lead, reason)
        ):
            raise FieldErrors(found)
        return [*after, *put_back]

    content = {"take_back": word.withdraws, "by": word.by, "lead": lead, "reason": reason}
    return door.enter(store, room, door.Act(decide, content, lifting.SETTLED), word.at, key)


def close(
    store: Store, room: str, entry: InspectionClosed, now: datetime, key: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Sign an inspection. What is out of service and not held yet is held with it.

    Raises:
        FieldErrors: a part was not answered for, a photo or a signature is missing.
        Conflict: it is already closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, entry.inspection)
        if errors := closing_problems(state, entry):
            raise FieldErrors(errors)
        reasons = holding.missing(session, row.id, state)
        return [*holding.holds_for(state, reasons, entry), entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key, confirmed=confirmed)


def new_key() -> str:
    """A key for something new."""
    return uuid.uuid4().hex[:12]


def counts(session: Session, room_id: int, uid: str) -> bool:
    """Whether an entry of that id is in the log and was not taken back."""
    query = select(EntryRow.id).where(
        EntryRow.room_id == room_id, EntryRow.uid == uid, col(EntryRow.voided_by).is_(None)
    )
    return session.exec(query).first() is not None


def _meanwhile(look: Look) -> FieldError:
    if look.is_replaced:
        message = "A new part was fitted meanwhile. Answer for the new part, then save."
        return FieldError("answers", message)
    what = VERDICT_NAMES[look.decided].lower() if look.decided else "the answers were taken back"
    message = (
        f"{look.by or 'Somebody'} was here meanwhile: {what}. Check, then save yours if it is "
        "still right."
    )
    return FieldError("answers", message)


def _is_said(look: Look, entry: InspectionAnswered) -> bool:
    """The look has these answers, this note and this reason already."""
    if look.is_replaced:  # the same answers of a new part are a look of their own
        return False
    said = (entry.answers, entry.note, entry.no_photo or "")
    return bool(look.verdict) and said == (dict(look.answers), look.note, look.no_photo)


def _fresh(look: Look, photos: Sequence[InspectionPhoto]) -> list[InspectionPhoto]:
    """The photos that the look has not yet, each once.

    Raises:
        FieldErrors: they would be too many.
    """
    there = {photo.photo for photo in look.photos}
    fresh = [one for one in {one.photo: one for one in photos}.values() if one.photo not in there]
    if len(there) + len(fresh) > MOST_PHOTOS:
        message = f"At most {MOST_PHOTOS} photos of one part. These were not stored."
        raise FieldErrors([FieldError("photos", message)])
    return fresh
