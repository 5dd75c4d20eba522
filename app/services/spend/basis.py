"""What a room's lines of costs rest on, kept from write to write."""

from collections.abc import Iterable
from dataclasses import replace

from pydantic import TypeAdapter
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import ITEM, Item
from app.domain.spend.basis import Basis, Steps, solvent_steps
from app.domain.spend.prices import PRICES_BOOK, PricesState
from app.domain.things import fold
from app.services.entries import counting_of_kind, entry_of
from app.store.site import site
from app.store.tables import EntryRow, TankRow
from app.store.things import things

_BASIS: TypeAdapter[Basis] = TypeAdapter(Basis)


def basis_from(text: str) -> Basis:
    """The basis as it was kept."""
    return _BASIS.validate_json(text)


def basis_text(basis: Basis) -> str:
    """The basis as it is kept."""
    return _BASIS.dump_json(basis).decode()


def whole_basis(session: Session, room_id: int) -> Basis:
    """The basis from the log alone."""
    tanks = session.exec(select(TankRow.key).where(TankRow.room_id == room_id)).all()
    basis = _of_room(session, room_id, Basis())
    return replace(
        basis, prices=_prices(session, room_id), on_shelf=_on_shelf(session, room_id),
        tanks={tank: _steps(session, room_id, tank) for tank in tanks},
    )  # fmt: skip


def basis_after(session: Session, room_id: int, basis: Basis, changed: Iterable[Entry]) -> Basis:
    """The basis after entries that came or no longer count."""
    tanks, kinds = set(), set()
    for entry in changed:
        kinds.add(entry.kind)
        if isinstance(entry, Tank) or (isinstance(entry, Swap) and entry.solvent):
            tanks.add(entry.tank)
    now = _of_room(session, room_id, basis)
    if PriceList.kind in kinds:
        now = replace(now, prices=_prices(session, room_id))
    if Item.kind in kinds:
        now = replace(now, on_shelf=_on_shelf(session, room_id))
    if tanks:
        found = {tank: _steps(session, room_id, tank) for tank in tanks}
        now = replace(now, tanks={**now.tanks, **found})
    return now


def _of_room(session: Session, room_id: int, basis: Basis) -> Basis:
    limits = session.exec(
        select(TankRow.key, TankRow.limit_percent).where(TankRow.room_id == room_id)
    )
    minutes = site(session, room_id).swap_minutes
    return replace(basis, swap_minutes=minutes, limits=dict(limits.all()))


def _prices(session: Session, room_id: int) -> PricesState:
    entries = counting_of_kind(session, room_id, PriceList.kind)
    found: PricesState = fold(PRICES_BOOK, "prices", entries)
    return found


def _on_shelf(session: Session, room_id: int) -> frozenset[str]:
    items = things(session, room_id, ITEM).values()
    return frozenset(item.solvent for item in items if item.solvent)


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
