"""A count of the shelf is stored in one go, where the books are still what was shown beside it."""

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    ITEM,
    StockCounted,
)
from app.domain.roomlog.lines import own_fields
from app.domain.supplies.state import ItemState
from app.services import door
from app.services.door import Recorded
from app.services.supplies.stock import SAME, stock_problems
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing


def record_count(
    store: Store,
    room: str,
    counts: Sequence[StockCounted],
    now: datetime,
    submission: str | None = None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Store a count of the shelf in one go, where the books are still what was shown beside it.

    Raises:
        FieldErrors: a count does not fit, or someone entered a movement since the differences were
            shown; `place` says which count.
        Conflict: the submission key was used for other content.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        for place, count in enumerate(counts):
            problems = stock_problems(session, row.id, count, now)
            state: ItemState | None = thing(session, row.id, ITEM, count.item)
            expected = count.expected
            if state and expected is not None and abs(state.on_hand - expected) > SAME:
                message = f"{state.name}: the books have changed since. Check again."
                problems = [*problems, FieldError("quantity", message)]
            if problems:
                raise FieldErrors(problems, place)
        return counts

    sent = [[count.by, own_fields(count)] for count in counts]
    act = door.Act(decide, {"count": sent})
    return door.enter(store, room, act, now, submission, confirmed=confirmed)
