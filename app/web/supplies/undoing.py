"""Taking back in one go what one form stored: a whole count, an order, a delivery."""

from typing import Annotated

from fastapi import APIRouter, Path
from starlette.responses import RedirectResponse, Response

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import OrderPlaced, StockCounted, StockEntry
from app.services.acts.undoing import undo as undo_entries
from app.services.door import recorded_before
from app.services.entries import entry_of
from app.store.log import entries_of
from app.web.deps import Visit, VisitDep

router = APIRouter(prefix="/rooms/{room}/shelf")
MOST_AT_ONCE = 1000
Submission = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]


def stored_by(visit: Visit, submission: str) -> list[tuple[Entry, bool]]:
    """What a form stored about the shelf's stock, and whether it counts still."""
    done = recorded_before(visit.store, visit.room.key, submission)
    ids = () if done is None else done.ids[:MOST_AT_ONCE]
    rows = entries_of(visit.session, visit.room_id, ids)
    found = [(entry_of(row), row.voided_by is None) for row in rows]
    return [(entry, counts) for entry, counts in found if isinstance(entry, StockEntry)]


def undo_address(visit: Visit, submission: str) -> str:
    """Where what a form stored is taken back; empty where nothing of it counts any more."""
    if not any(counts for _, counts in stored_by(visit, submission)):
        return ""
    return visit.address("shelf", "take-back", submission)


@router.post("/take-back/{submission}")
def take_back(visit: VisitDep, submission: Submission) -> Response:
    """Withdraw all that a form stored and that still counts; a second time changes nothing."""
    stored = stored_by(visit, submission)
    if not stored:
        raise NotFound("There is nothing to take back.")
    if left := [entry.id for entry, counts in stored if counts]:
        undo_entries(
            visit.store, visit.room.key, left, visit.person, visit.now,
            lambda entry: isinstance(entry, StockEntry),
        )  # fmt: skip
    return RedirectResponse(_back(visit, stored[0][0]) + "?undone=1", 303)


def _back(visit: Visit, entry: Entry) -> str:
    """The page on which what was taken back stood; an order that was never placed has none."""
    order = getattr(entry, "order", None)
    if isinstance(entry, StockCounted):
        return visit.address("shelf")
    if isinstance(entry, OrderPlaced) or not order:
        return visit.address("shelf", "orders")
    return visit.address("shelf", "orders", order)
