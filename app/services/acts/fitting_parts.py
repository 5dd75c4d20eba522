"""A new part is fitted: from the shelf where an item is named; its history starts again."""

import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.inspections.components import ComponentState
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import COMPONENT, ComponentReplaced
from app.domain.roomlog.kinds.supplies import StockUsed
from app.services import door
from app.services.door import Recorded
from app.services.incidents.holds import sent
from app.services.inspections.reading import find_inspection, find_look
from app.services.supplies.stock import use_problems
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing


def use_of(fitted: str) -> str:
    """The id of the entry that took the part of a fitting from the shelf."""
    return f"{fitted}.1"


def fit_part(
    store: Store, room: str, entry: ComponentReplaced, now: datetime, key: str | None
) -> Recorded:
    """Fit a new part, and take it off the shelf in the same transaction.

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
        fitted = replace(entry, id=uuid.uuid4().hex)
        if entry.item is None:
            return [fitted]
        use = StockUsed(
            id=use_of(fitted.id),
            at=entry.at, entered_at=entry.entered_at, by=entry.by, item=entry.item, quantity=1.0,
            purpose="inspection", lot=entry.lot, inspection=entry.inspection,
        )  # fmt: skip
        if problems := use_problems(session, row.id, use, now):
            named = ("item", "lot")
            raise FieldErrors(
                [FieldError(p.field if p.field in named else "item", p.message) for p in problems]
            )
        return [fitted, use]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)
