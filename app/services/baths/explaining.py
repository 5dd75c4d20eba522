"""What is said of the last readings of a room's baths, one explanation a tank."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.baths.estimator import FLAG_OF, BathBelief, Explanation, RoomFilter
from app.domain.baths.explaining import Beside, Said, said
from app.domain.errors import FieldError, NotFound
from app.domain.roomlog.kinds import EXPLANATIONS, Entry, ExplanationDismissed
from app.domain.roomlog.lines import own_fields
from app.domain.solvents import solvent
from app.services.baths.states import load_filter
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.incidents.doubts import WRONG_SOLVENT
from app.store import queries
from app.store.log import find_entry
from app.store.queries import TankView
from app.store.tables import RoomRow, TankRow

EXPLAINING = frozenset({"reading_disagrees", *EXPLANATIONS} - {"slip"})
"""Flags that an explanation stands behind."""


def said_of(
    session: Session, room: RoomRow, tanks: Iterable[TankView], now: datetime
) -> dict[str, Said]:
    """By tank what is said of its readings now; the estimate is asked only where a flag says so.

    Nothing of a bath that a wrong solvent went into: no density tells what it holds.
    """
    doubted = tuple(
        tank for tank in tanks
        if not EXPLAINING.isdisjoint(tank.flags) and WRONG_SOLVENT not in tank.flags
    )  # fmt: skip
    if not doubted:
        return {}
    assert room.id is not None
    of_whom = doubted[0].key if len(doubted) == 1 else "all"
    return kept(
        session, room.id, f"explanations of {of_whom}",
        (room.version, tuple(tank.key for tank in doubted)),
        lambda: _said(session, room, doubted, now),
    )  # fmt: skip


def dismissal_problems(
    session: Session, room: RoomRow, entry: ExplanationDismissed, _: datetime
) -> list[FieldError]:
    """Only what is said of a tank can be dismissed: a page may have been open for long."""
    row = session.get(TankRow, (room.id, entry.tank))
    flag = FLAG_OF.get(entry.explanation, entry.explanation)
    if row is None or flag in row.flags.split(","):
        return []
    return [FieldError("explanation", "This is no longer in question. Nothing was changed.")]


def belief_now(session: Session, room: RoomRow, tank: str, now: datetime) -> BathBelief | None:
    """What is believed of a bath, with all its explanations; None of a tank not in the log."""
    state = load_filter(session, room)
    if tank not in state.tanks:
        return None
    return state.belief(tank, max(now, state.last_at or now))


def _said(
    session: Session, room: RoomRow, tanks: Iterable[TankView], now: datetime
) -> dict[str, Said]:
    state, found = load_filter(session, room), {}
    names = queries.tank_names(session, room.id or 0)
    for tank in tanks:
        if tank.key not in state.tanks:
            continue
        told = state.belief(tank.key, max(now, state.last_at or now)).said
        if told is not None:
            found[tank.key] = said(told, _beside(session, room, state, tank, told, names))
    return found


def _beside(
    session: Session, room: RoomRow, state: RoomFilter, tank: TankView, told: Explanation,
    names: Mapping[str, str],
) -> Beside:  # fmt: skip
    assert room.id is not None
    loads: list[tuple[datetime, float]] = []
    if told.readings and told.read_before_at is not None:
        window = told.read_before_at, told.readings[0].at
        loads = queries.loads_between(session, room.id, tank.key, *window)
    entry = _stored(session, room.id, told.entry)
    return Beside(
        tank=tank.key,
        names=names,
        zone=ZoneInfo(room.time_zone),
        loads=loads,
        liquid_g=1000 * tank.capacity_l * tank.solvent_density_g_ml,
        heel_share=state.settings.heel,
        stored={} if entry is None else own_fields(entry),
        stored_at=None if entry is None else entry.at,
        dries=not solvent(tank.solvent).dries_slowly,
    )


def _stored(session: Session, room_id: int, entry: str | None) -> Entry | None:
    """The entry that an explanation is about; None where it is about none."""
    if not entry:
        return None
    try:
        return entry_of(find_entry(session, room_id, entry))
    except NotFound:
        return None
