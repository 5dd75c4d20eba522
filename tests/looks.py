"""The looks around a swap, answered in one go: for tests that walk a whole swap."""

from collections.abc import Mapping
from datetime import datetime

from sqlmodel import Session

from app.domain.inspections.conditions import asked
from app.domain.roomlog.kinds.inspections import InspectionClosed, InspectionStarted
from app.services.acts.inspections import look_at, new_key
from app.services.door import Recorded
from app.services.inspections.reading import positions_of
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM

NOBODY = [{"component": "none", "part": "impeller", "name": "none"}]


def answers_of(
    store: Store, tank: str, look: str, *yes: str, other: str = "no"
) -> Mapping[str, Mapping[str, str]]:
    """An answer to each question of a look, `yes` to those of these keys."""
    with Session(store.reader) as session:
        parts = positions_of(session, find_room(session, ROOM).id or 0, tank=tank, station="")
    return {
        part.key: {q.key: "yes" if q.key in yes else other for q in asked(part.part, look)}
        for part in parts
    }


def look_round(
    store: Store, tank: str, look: str, at: datetime, *yes: str, other: str = "no", by: str = "Wren"
) -> Recorded:
    """Somebody looks at all parts of a tank and signs; nothing is found but `yes`."""
    key = new_key()
    begun = InspectionStarted(at=at, by=by, inspection=key, tank=tank, look=look, positions=NOBODY)
    signed = InspectionClosed(at=at, by=by, inspection=key)
    said = answers_of(store, tank, look, *yes, other=other)
    return look_at(store, ROOM, begun, said, signed, NOW, None)
