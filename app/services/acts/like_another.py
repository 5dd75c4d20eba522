"""A new room that begins as another one is now: its tanks with their limits, and its resins."""

from collections.abc import Set
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry, Resin
from app.domain.roomlog.kinds.baths import Tank
from app.domain.solvents import SOLVENTS
from app.services.rooms import find_room
from app.store import queries
from app.store.queries import TankView

LIMITS = {"mass_percent": "percent", "volume_percent": "volume_percent", "g_per_l": "g_l"}


def like_another(session: Session, room: str, now: datetime, by: str) -> list[Entry]:
    """The entries that set up the tanks in use and the resins of a room anew, baths freshly filled.

    Raises:
        FieldErrors: of `start`: it is archived, has no tank in use, or one with a solvent that only
            it knows.
        NotFound: there is no such room.
    """
    found = find_room(session, room)
    assert found.id is not None
    if found.id in queries.archived(session):
        raise _refusal(f"“{found.name}” is archived. Choose another room.")
    tanks = [one for one in queries.board(session, found.id, now).tanks if not one.is_retired]
    if not tanks:
        raise _refusal(f"“{found.name}” has no tank in use. Choose another room.")
    listed = set(SOLVENTS)
    own = next((tank for tank in tanks if tank.solvent not in listed), None)
    if own is not None:
        raise _refusal(
            f"The solvent of {own.name} is only entered in “{found.name}”. Begin with no tank, "
            "then enter the solvent under Own solvents and add the tanks."
        )
    keys = {tank.key for tank in tanks}
    resins: list[Entry] = [
        Resin(
            at=now, by=by, resin=one.key, name=one.name, density_g_ml=one.density_g_ml,
            filled=one.is_filled or None, filler_percent=one.filler_percent,
        )
        for one in queries.resins(session, found.id)
    ]  # fmt: skip
    return [*resins, *(_anew(tank, keys, now, by) for tank in tanks)]


def _anew(tank: TankView, keys: Set[str], now: datetime, by: str) -> Tank:
    limits: dict[str, Any] = {
        f"limit_{LIMITS[tank.limit_basis]}": tank.limit_entered,
        f"stop_{LIMITS[tank.stop_basis]}": tank.stop_entered,
    }
    entry = Tank(
        at=now, by=by, tank=tank.key, name=tank.name, capacity_l=tank.capacity_l, min_l=tank.min_l,
        solvent=tank.solvent, pair=tank.pair if tank.pair in keys else None,
        life_days=tank.life_days, life_washes=tank.life_washes,
        fresh_purity_percent=tank.fresh_purity_percent,
        **limits,
    )  # fmt: skip
    # A solvent that is used as delivered takes no purity.
    return replace(entry, fresh_purity_percent=None) if entry.problems() else entry


def _refusal(message: str) -> FieldErrors:
    return FieldErrors([FieldError("start", message)])
