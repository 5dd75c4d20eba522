"""Rates, other costs and what-if cases: what may be said, checked where it is said."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList
from app.domain.spend.prices import NAMES, CaseState, PricesState
from app.services import door
from app.services.door import Recorded
from app.services.entries import counting_of_kind
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing, things


def prices_of(session: Session, room_id: int) -> PricesState:
    """The room's rates."""
    return thing(session, room_id, PRICES, PRICES) or PricesState()


@dataclass(frozen=True)
class Change:
    """An entry of rates: since when, by whom, and each rate that it changed, before and after."""

    at: datetime
    entry: str
    by: str
    rates: tuple[tuple[str, float | None, float | None], ...]


def changes_of(session: Session, room_id: int) -> list[Change]:
    """How the rates came to be what they are, the newest first."""
    found: list[Change] = []
    known: dict[str, float | None] = dict.fromkeys(NAMES)
    for entry in counting_of_kind(session, room_id, PriceList.kind):
        given = {
            name: value or None for name in NAMES if (value := getattr(entry, name)) is not None
        }
        changed = tuple(
            (name, known[name], value) for name, value in given.items() if value != known[name]
        )
        known |= given
        if changed:
            found.append(Change(entry.at, entry.id or "", entry.by, changed))
    return found[::-1]


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

    return door.enter(store, room, [entry], now, submission)


def price_problems(
    session: Session, room: RoomRow, entry: PriceList, _: datetime
) -> list[FieldError]:
    """Another currency than the room's: what was entered is not converted."""
    assert room.id is not None
    known = prices_of(session, room.id).currency
    if not entry.currency or not known or entry.currency == known:
        return []
    message = (
        f"This room counts in {known}, and its amounts are not converted."
        " Another currency needs another room."
    )
    return [FieldError("currency", message)]
