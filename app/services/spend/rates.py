"""Rates, other costs and what-if cases: what may be said, checked where it is said."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.money import digits_of
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList
from app.domain.spend.prices import NAMES, CaseState, PricesState
from app.services import door
from app.services.door import Recorded
from app.services.entries import counting_of_kind
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import thing, things

AMOUNTS = {
    kind: names
    for kind, each in KINDS.items()
    if (names := [name for name, spec in each.specs().items() if spec.type == "money"])
}
"""The fields of money of each kind of entry that has some."""


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
    currency = prices_of(session, room_id).currency
    for entry in counting_of_kind(session, room_id, PriceList.kind):
        assert isinstance(entry, PriceList)
        if entry.currency and entry.currency != currency:
            continue  # the books refused it
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
    store: Store, room: str, entry: PriceList, now: datetime, submission: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Store rates.

    Raises:
        FieldErrors: another currency than the room's: what was entered is not converted.
    """

    return door.enter(store, room, [entry], now, submission, confirmed=confirmed)


def currency_problems(
    session: Session, room: RoomRow, entry: PriceList, _: datetime
) -> list[FieldError]:
    """Why the room's currency does not become that of a price list: no amount is converted."""
    assert room.id is not None
    before = room.currency
    after = prices_of(session, room.id).currency or entry.currency or ""
    if entry.currency and after != entry.currency:
        return [FieldError("currency", _counts_in(after))]
    if after == before or not has_amounts(session, room.id, {entry.corrects}):
        return []
    if before:
        return [FieldError("currency", _counts_in(before))]
    if digits_of(after) == digits_of(before):
        return []
    digits = {0: "no decimals", 3: "three decimals", 4: "four decimals"}[digits_of(after)]
    message = (
        f"{after} has {digits}, but this room holds amounts that were entered without a currency,"
        " with two: they would be read as others. Take them back first, or set up another room."
    )
    return [FieldError("currency", message)]


def _counts_in(currency: str) -> str:
    return (
        f"This room counts in {currency}, and its amounts are not converted."
        " Another currency needs another room."
    )


def has_amounts(session: Session, room_id: int, but: Collection[str] = ()) -> bool:
    """Whether an entry that counts, but for some, says an amount."""
    found = counting_of_kind(session, room_id, *AMOUNTS)
    return any(
        getattr(entry, name) is not None
        for entry in found if entry.id not in but for name in AMOUNTS[entry.kind]
    )  # fmt: skip
