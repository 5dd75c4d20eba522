"""What a room's lines of costs rest on, kept from write to write."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

from pydantic import TypeAdapter
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import Item
from app.domain.spend.costs import kept_since
from app.domain.spend.price_book import (
    PRICES_BOOK,
    Basis,
    Minutes,
    PricesState,
    Steps,
    solvent_steps,
    swap_minutes,
)
from app.domain.things import fold
from app.services.entries import counting_of_kind, entry_of
from app.store.tables import EntryRow, TankRow

_BASIS: TypeAdapter[Basis] = TypeAdapter(Basis)


@lru_cache(maxsize=16)
def basis_from(text: str) -> Basis:
    """The basis as it was kept; the same text gives the same one, which nothing changes."""
    return _BASIS.validate_json(text)


def basis_text(basis: Basis) -> str:
    """The basis as it is kept."""
    return _BASIS.dump_json(basis).decode()


def whole_basis(session: Session, room_id: int) -> Basis:
    """The basis from the log alone."""
    tanks = session.exec(select(TankRow.key).where(TankRow.room_id == room_id)).all()
    return replace(
        Basis(), swap_minutes=_swap_minutes(session, room_id),
        prices=_prices(session, room_id),
        on_shelf=_on_shelf(session, room_id),
        tanks={tank: _steps(session, room_id, tank) for tank in tanks},
    )  # fmt: skip


def basis_after(session: Session, room_id: int, basis: Basis, changed: Iterable[Entry]) -> Basis:
    """The basis after entries that came or no longer count.

    Only what their kinds can change is read.
    """
    tanks, kinds = set(), set()
    for entry in changed:
        kinds.add(entry.kind)
        if isinstance(entry, Tank) or (isinstance(entry, Swap) and entry.solvent):
            tanks.add(entry.tank)
    now = basis
    if SiteRules.kind in kinds:
        now = replace(now, swap_minutes=_swap_minutes(session, room_id))
    if PriceList.kind in kinds:
        now = replace(now, prices=_prices(session, room_id))
    if Item.kind in kinds:
        now = replace(now, on_shelf=_on_shelf(session, room_id))
    if tanks:
        found = {tank: _steps(session, room_id, tank) for tank in tanks}
        now = replace(now, tanks={**now.tanks, **found})
    return now


def _swap_minutes(session: Session, room_id: int) -> Minutes:
    return swap_minutes(counting_of_kind(session, room_id, SiteRules.kind))


def _prices(session: Session, room_id: int) -> PricesState:
    entries = counting_of_kind(session, room_id, PriceList.kind)
    found: PricesState = fold(PRICES_BOOK, "prices", entries)
    return found


def _on_shelf(session: Session, room_id: int) -> dict[str, datetime]:
    return kept_since(counting_of_kind(session, room_id, Item.kind))


def _steps(session: Session, room_id: int, tank: str) -> Steps:
    rows = session.exec(
        select(EntryRow)
        .where(
            EntryRow.room_id == room_id, EntryRow.tank == tank,
            col(EntryRow.kind).in_((Tank.kind, Swap.kind)), col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
    )  # fmt: skip
    return solvent_steps(entry_of(row) for row in rows)
