"""Why an entry about an inspection is refused: the same for pages and for programs.

A program that takes a part out of service sends the hold itself, before the answer that says so.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import DomainError, FieldError
from app.domain.inspections.inspection import INSPECTION_BOOK, InspectionState, Look
from app.domain.inspections.part import EMPTY, OUT
from app.domain.inspections.rules import answer_problems, judge
from app.domain.inspections.terms import VERDICT_NAMES
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    INSPECTION,
    LOOK_WORDS,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
)
from app.services.incidents.holds import lead_problems, second_problems
from app.services.inspections import holding
from app.services.inspections.reading import find_look, inspections, under_way
from app.store.tables import RoomRow
from app.store.things import thing

MOST_PHOTOS = 40  # of one position in one inspection
OPEN_HERE = "An inspection is already open here. Reload the page."
Problems = list[FieldError]


def inspection_problems(session: Session, room: RoomRow, entry: Any, _: datetime) -> Problems:
    """Why an entry about an inspection does not fit it as it stands; empty where it does."""
    assert room.id is not None
    try:
        return _CHECKS[type(entry)](session, room.id, entry)
    except DomainError as error:
        return [FieldError("inspection", str(error))]


def said_problems(look: Look, entry: InspectionAnswered) -> Problems:
    """Questions that are left out, and a verdict that is not the rule's."""
    found = answer_problems(look.part, entry.answers, look.when)
    rule = judge(look.part, entry.answers, look.when).verdict
    if (entry.look or EMPTY) != look.when:
        message = f"This inspection is {LOOK_WORDS[look.when]}. Send “{look.when}” as its look."
        found.append(FieldError("look", message))
    if not found and entry.verdict not in (None, rule):
        message = f"By these answers the rule says: {VERDICT_NAMES[rule].lower()}. Leave it out."
        found.append(FieldError("verdict", message))
    return found


def decision_problems(
    session: Session, room_id: int, look: Look, entry: InspectionOverruled
) -> Problems:
    """Why a lead's decision does not count."""
    errors = lead_problems(session, room_id, entry.lead)
    if not look.verdict:
        errors.append(FieldError("verdict", "Answer the questions first."))
    elif look.verdict == entry.verdict:
        errors.append(FieldError("verdict", "The rule already says that."))
    elif look.verdict == OUT:
        errors += second_problems(session, room_id, entry.second, entry.lead)
    return errors


def closing_problems(state: InspectionState, entry: InspectionClosed) -> Problems:
    """What is still missing before an inspection can be signed."""
    errors = []
    if state.left:
        names = ", ".join(look.name for look in state.left)
        errors.append(FieldError("parts", f"Not inspected yet: {names}."))
    bare = [look.name for look in state.looks if look.lacks_photo]
    if bare:
        errors.append(
            FieldError("parts", f"Add a photo, or say why there is none: {', '.join(bare)}.")
        )
    if not entry.by.strip():
        errors.append(FieldError("by", "Enter who signs."))
    elif entry.second and entry.second.strip().lower() == entry.by.strip().lower():
        errors.append(FieldError("second", "The second person must be somebody else."))
    return errors


def photo_problems(look: Look, entry: PhotoLabelled | PhotoMarked) -> Problems:
    """Only a photo of this look is labelled or marked."""
    if entry.photo in {photo.photo for photo in look.photos}:
        return []
    return [FieldError("photo", "This part has no such photo in this inspection.")]


def _started(session: Session, room_id: int, entry: InspectionStarted) -> Problems:
    if thing(session, room_id, INSPECTION, entry.inspection) is not None:
        return [FieldError("inspection", "An inspection already has this key.")]
    where = (entry.tank or "", entry.station or "")
    is_open = any(
        (state.tank, state.station) == where
        for state in inspections(session, room_id, only_open=True)
    )
    if is_open:
        return [FieldError("tank" if entry.tank else "station", "An inspection is open here.")]
    return []


def _answered(session: Session, room_id: int, entry: InspectionAnswered) -> Problems:
    state = under_way(session, room_id, entry.inspection)
    found = said_problems(find_look(state, entry.component), entry)
    return found or _unheld(session, room_id, state, entry)


def _overruled(session: Session, room_id: int, entry: InspectionOverruled) -> Problems:
    state = under_way(session, room_id, entry.inspection)
    found = decision_problems(session, room_id, find_look(state, entry.component), entry)
    return found or _unheld(session, room_id, state, entry)


def _unheld(session: Session, room_id: int, state: InspectionState, entry: Any) -> Problems:
    """A part goes out of service by this, and nothing holds its place yet."""
    after: InspectionState = INSPECTION_BOOK.apply(state, entry)
    if not holding.missing(session, room_id, after) or holding.is_held(session, room_id, after):
        return []
    kind, place = ("tank_held", "tank") if state.tank else ("station_held", "station")
    message = (
        f"This takes a part out of service. Send a {kind} of “{state.tank or state.station}” with "
        f"inspection “{state.key}” first, so that the {place} is out of use from now on."
    )
    return [FieldError("answers" if isinstance(entry, InspectionAnswered) else "verdict", message)]


def _photographed(session: Session, room_id: int, entry: InspectionPhoto) -> Problems:
    look = find_look(under_way(session, room_id, entry.inspection), entry.component)
    if len(look.photos) < MOST_PHOTOS:
        return []
    return [FieldError("photo", f"At most {MOST_PHOTOS} photos of one part.")]


def _at_photo(session: Session, room_id: int, entry: PhotoLabelled | PhotoMarked) -> Problems:
    look = find_look(under_way(session, room_id, entry.inspection), entry.component)
    return photo_problems(look, entry)


def _closed(session: Session, room_id: int, entry: InspectionClosed) -> Problems:
    state = under_way(session, room_id, entry.inspection)
    return closing_problems(state, entry) or [
        FieldError("inspection", error.message) for error in _unheld(session, room_id, state, entry)
    ]


def _replaced(session: Session, room_id: int, entry: ComponentReplaced) -> Problems:
    state = thing(session, room_id, COMPONENT, entry.component)
    if state is None or not state.part:
        return [FieldError("component", "There is no such part position.")]
    return []


_CHECKS: Mapping[type[Any], Callable[[Session, int, Any], Problems]] = {
    InspectionStarted: _started,
    InspectionAnswered: _answered,
    InspectionOverruled: _overruled,
    InspectionPhoto: _photographed,
    PhotoLabelled: _at_photo,
    PhotoMarked: _at_photo,
    InspectionClosed: _closed,
    ComponentReplaced: _replaced,
}
CHECKED: tuple[type[Any], ...] = tuple(_CHECKS)
