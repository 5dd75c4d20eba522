"""Rates, other costs and what-if cases: what may be said, checked where it is said."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList
from app.domain.spend.prices import CaseState, PricesState
from app.services.roomlog import Recorded, record_decided
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing, things


def prices_of(session: Session, room_id: int) -> PricesState:
    """The room's rates."""
    return thing(session, room_id, PRICES, PRICES) or PricesState()


def cases_of(session: Session, room_id: int) -> dict[str, CaseState]:
    """The kept what-if cases by key, the latest last."""
    return things(session, room_id, WHAT_IF, only_open=True)


def record_rates(
    store: Store, room: str, entry: PriceList, now: datetime, submission: str | None
) -> Recorded:
    """Store rates.

    Raises:
        FieldErrors: another currency than the room's: what was entered is not converted.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        known = prices_of(session, row.id).currency
        if entry.currency and known and entry.currency != known:
            message = (
                f"This room counts in {known}, and its amounts are not converted."
                " Another currency needs another room."
            )
            raise FieldErrors([FieldError("currency", message)])
        return [entry]

    fields = {name: getattr(entry, name) for name in entry.specs()}
    return record_decided(store, room, decide, {"rates": fields}, now, submission)
