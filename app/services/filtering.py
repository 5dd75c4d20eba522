"""What a list is narrowed down to by a key has to be there: a typing error is no empty list."""

from sqlmodel import Session, select

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import Resin, Tank
from app.services.litres.reading import has_account
from app.store.tables import EntryRow
from app.store.things import thing

KINDS = {"tank": Tank.kind, "resin": Resin.kind}


def require_named(
    session: Session, room_id: int, *, tank: str | None = None, resin: str | None = None,
    thing_named: tuple[str, str] | None = None, account: str | None = None,
) -> None:  # fmt: skip
    """Refuse a filter by what this room's log never set up; what is None or empty is not asked for.

    Raises:
        NotFound: as its own page and address answer (RFC 9110, 15.5.5).
    """
    for name, key in (("tank", tank), ("resin", resin)):
        if key and not _is_set_up(session, room_id, name, key):
            raise NotFound(f"There is no {name} “{key[:64]}” in this room.")
    if thing_named is not None and thing(session, room_id, *thing_named) is None:
        raise NotFound(f"There is no {thing_named[0]} “{thing_named[1][:64]}” in this room.")
    if account and not has_account(session, room_id, account):
        raise NotFound(f"There is no account “{account[:64]}” in this room's book.")


def _is_set_up(session: Session, room_id: int, name: str, key: str) -> bool:
    """By the log itself: what an import has just brought is not in the figures yet."""
    query = select(EntryRow.id).where(
        EntryRow.room_id == room_id, EntryRow.kind == KINDS[name], getattr(EntryRow, name) == key
    )
    return session.exec(query.limit(1)).first() is not None
