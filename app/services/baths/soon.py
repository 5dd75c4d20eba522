"""Forecasts that wait: made after the commit that they follow from, once, the oldest first.

An entry notes in its own transaction that the forecast of its tank is due (`board.refresh_tanks`),
and is acknowledged. What is noted outlives the server. The paths are walked here with no lock
held; only what they say is stored under it, and only while nothing has touched the tank since.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.fold import BATHS
from app.domain.baths.forecast import Forecast
from app.services.baths.forecasts import forecast_of, take_forecast
from app.services.baths.states import baths_of, head, hold
from app.services.projecting import Run
from app.services.transaction import write_in_turn
from app.store.across import on_one_server
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.instants import from_us
from app.store.sessions import reading
from app.store.tables import RoomRow, TankRow

AT_ONCE = 4  # tanks between two writes: each takes as long as a page
TRIES = 3  # then within the write: somebody is at the same tank all the time


@dataclass(frozen=True)
class _Made:
    """Forecasts of some tanks at an instant, and what was due when they were begun."""

    key: str
    now: datetime
    due: Mapping[str, int]
    outlooks: Mapping[str, Forecast]


def make_due(store: Store, is_over: Callable[[], bool] = lambda: False) -> bool:
    """Make all forecasts that are due; whether some are left that another server is at."""
    while (rooms := _rooms_with_due(store)) and not is_over():
        if not sum(_make_in(store, room_id) for room_id in rooms if not is_over()):
            return True
    return False


def due(session: Session, room_id: int) -> dict[str, int]:
    """The tanks of a room whose forecast is due, the oldest first, each with the version at which
    it was last said to be."""
    query = (
        select(TankRow.key, TankRow.forecast_due_version)
        .where(TankRow.room_id == room_id, col(TankRow.forecast_due_us).is_not(None))
        .order_by(col(TankRow.forecast_due_us), col(TankRow.place))
    )
    return {key: version or 0 for key, version in session.exec(query)}


def _rooms_with_due(store: Store) -> list[int]:
    """The rooms where forecasts are due, the longest waiting first; a room that is being caught up
    with gets its forecasts at the end of that."""
    with reading(store) as session:
        query = (
            select(TankRow.room_id)
            .where(col(TankRow.forecast_due_us).is_not(None))
            .where(col(TankRow.room_id).not_in(select(BehindRow.room_id)))
            .group_by(col(TankRow.room_id))
            .order_by(func.min(TankRow.forecast_due_us))
        )
        return list(session.exec(query))


def _make_in(store: Store, room_id: int) -> int:
    """Make some of a room's forecasts, on one server; how many were stored."""
    with on_one_server(store, f"forecasts soon {room_id}") as is_mine:
        if not is_mine:
            return 0
        for _ in range(TRIES):
            made = _worked_out(store, room_id)
            if made is None or (count := _put_down(store, room_id, made)):
                return 0 if made is None else count
        return _make_within(store, room_id)


def _worked_out(store: Store, room_id: int) -> _Made | None:
    """Forecasts of the tanks that are due, of a state of its own; None where nothing is due."""
    with reading(store) as session:
        noted = dict(list(due(session, room_id).items())[:AT_ONCE])
        room = session.get(RoomRow, room_id)
        if not noted or room is None:
            return None
        # Read behind what is noted: it has all that those notes are about, or more.
        run = baths_of(room).head(session, room_id, BATHS)
    now = _instant(room, run)
    outlooks = {
        tank: forecast_of(room, run, tank, now) for tank in noted if tank in run.state.tanks
    }
    return _Made(room.key, now, noted, outlooks)


def _put_down(store: Store, room_id: int, made: _Made) -> int:
    """Store the forecasts of those tanks that nothing has touched since; how many they were."""
    with write_in_turn(store, made.key) as session:
        room = _held(session, room_id)
        rows = _rows(session, room_id, made.outlooks)
        still = [row for row in rows if row.forecast_due_version == made.due[row.key]]
        for row in still:
            take_forecast(row, made.outlooks[row.key], made.now)
            session.add(row)
        room.forecasts += bool(still)
        return len(still)


def _make_within(store: Store, room_id: int) -> int:
    """Make forecasts that are due while nobody else writes; how many they were."""
    with reading(store) as session:
        key = session.get_one(RoomRow, room_id).key
    with write_in_turn(store, key) as session:
        room = _held(session, room_id)
        run = head(session, store, room)
        noted = list(due(session, room_id))[:AT_ONCE]
        if run is None or not noted:
            return 0
        rows = [row for row in _rows(session, room_id, noted) if row.key in run.state.tanks]
        now = _instant(room, run)
        for row in rows:
            take_forecast(row, forecast_of(room, run, row.key, now), now)
            session.add(row)
        hold(store, room, run)
        room.forecasts += bool(rows)
        return len(rows)


def _held(session: Session, room_id: int) -> RoomRow:
    query = select(RoomRow).where(RoomRow.id == room_id).with_for_update()
    return session.exec(query.execution_options(populate_existing=True)).one()


def _rows(session: Session, room_id: int, tanks: Iterable[str]) -> Sequence[TankRow]:
    mine = TankRow.room_id == room_id, col(TankRow.key).in_(list(tanks))
    return session.exec(select(TankRow).where(*mine)).all()


def _instant(room: RoomRow, run: Run[RoomFilter]) -> datetime:
    """As of when: of the last write, as if they had been made with it."""
    return from_us(max(room.last_recorded_us or 0, run.place.moment_us))
