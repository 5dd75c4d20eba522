"""The rows that the room page shows: each tank's estimate, its forecast and what is next for it."""

from datetime import datetime, timedelta

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from app.domain.baths.estimator import BathBelief, RoomFilter
from app.domain.baths.estimator.facts import Limit
from app.domain.baths.evidence import lacks
from app.domain.baths.forecast.keeping import tanks_told
from app.domain.roomlog.kinds import (
    Reading,
    Reject,
    Removal,
    SolidsRemoved,
    Swap,
    SwapStarted,
    TopUp,
    Wash,
)
from app.domain.solvents import solvent
from app.services.baths.forecasts import forecast_of, stands_on, stood_on, take_forecast
from app.services.baths.states import head, hold
from app.services.baths.swap_levels import lay_over
from app.services.definitions import tank_definitions
from app.services.projecting import Run
from app.services.transaction import write
from app.store.across import on_one_server
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.instants import from_us, maybe_us, to_us
from app.store.observing import LEFT_AFTER
from app.store.sessions import reading
from app.store.tables import CourseRow, EntryRow, RoomRow, TankRow

STALE_AFTER = timedelta(hours=3)
BATH_KINDS = tuple(
    kind.kind for kind in (Wash, Reading, TopUp, Removal, SolidsRemoved, Swap, SwapStarted, Reject)
)


def define_tanks(session: Session, room_id: int) -> None:
    """Bring the rows in step with the tanks that are defined: added, named, taken out.

    A tank keeps the number that it was given first: numbers are painted on tanks.
    """
    definitions = tank_definitions(session, room_id)
    rows = {row.key: row for row in session.exec(select(TankRow).where(TankRow.room_id == room_id))}
    for key in rows.keys() - definitions.keys():
        session.delete(rows[key])
    last = max((row.place for row in rows.values()), default=0)
    for key, definition in definitions.items():
        row = rows.get(key)
        if row is None:
            last += 1
            row = TankRow(
                room_id=room_id, key=key, place=last,
                capacity_l=definition.capacity_l, solvent=definition.solvent,
            )  # fmt: skip
        row.name = definition.name
        row.is_retired = definition.is_retired
        row.started_at_us = to_us(definition.started_at)
        session.add(row)
    session.flush()


def refresh_tanks(
    session: Session,
    room: RoomRow,
    run: Run[RoomFilter],
    now: datetime,
    touched: set[str] | None = None,
    has_learned: bool = False,
    *,
    can_wait: bool = False,
) -> None:
    """Write the rows of the touched tanks, of all where `touched` is None, as they are at `now`.

    Where the room has learned from a reading, the estimates of its other tanks move as well.
    A forecast that can wait is noted as due where the last one may stand for a moment longer.
    """
    if run.place.moment_us > 0:
        now = max(now, from_us(run.place.moment_us))
    query = select(TankRow).where(TankRow.room_id == room.id)
    if touched is not None and not has_learned:
        query = query.where(col(TankRow.key).in_(touched))
    told = tanks_told(run.state)
    rows = session.exec(query).all()
    for row in rows:
        belief, stood = run.state.belief(row.key, now), stood_on(row)
        _take_belief(row, belief, now)
        row.flags = ",".join((*belief.flags, *lacks(run.state.habits[row.key], told)))
        if touched is None or row.key in touched:
            _take_facts(row, run.state, belief)
            _take_last_entry(session, room, row)
            if can_wait and stands_on(row) == stood:
                row.forecast_due_us = row.forecast_due_us or to_us(now)
                row.forecast_due_version = room.version
            else:
                _refresh_forecast(room, run, row, now)
            row.limit_passed_at_us = _passed_at_us(session, room, row)
            row.life_washes_at_us = maybe_us(_life_washes_end(run.state, row, now))
    assert room.id is not None
    lay_over(session, room.id, rows)


def refresh_levels(
    session: Session, store: Store, room: RoomRow, tanks: set[str], now: datetime
) -> None:
    """Bring the levels of tanks in step with their swaps, whose books have just moved on."""
    run = head(session, store, room) if tanks else None
    if run is None:
        return
    assert room.id is not None
    hold(store, room, run)  # the next entry moves it on
    now = max(now, from_us(run.place.moment_us)) if run.place.moment_us > 0 else now
    mine = TankRow.room_id == room.id, col(TankRow.key).in_(tanks)
    rows = [row for row in session.exec(select(TankRow).where(*mine)) if row.key in run.state.tanks]
    for row in rows:
        _take_belief(row, run.state.belief(row.key, now), now)
        session.add(row)
    lay_over(session, room.id, rows)


def refresh_stale(store: Store, now: datetime) -> None:
    """Work out again the forecasts that were made some hours ago, and those that are due and that
    nobody has made, on one server."""
    with on_one_server(store, "forecasts") as is_mine:
        if is_mine:
            _refresh_stale(store, now)


def _refresh_stale(store: Store, now: datetime) -> None:
    with reading(store) as session:
        stale = session.exec(
            select(TankRow.room_id)
            .where(
                or_(
                    col(TankRow.forecast_at_us) < to_us(now - STALE_AFTER),
                    col(TankRow.forecast_due_us) < to_us(now - LEFT_AFTER),
                )
            )
            .where(TankRow.is_retired.is_(False))  # type: ignore[attr-defined]
            .where(col(TankRow.room_id).not_in(select(BehindRow.room_id)))
            .distinct()
        ).all()
    for room_id in stale:
        _refresh_room(store, room_id, now)


def _refresh_room(store: Store, room_id: int, now: datetime) -> None:
    with reading(store) as session:
        key = session.exec(select(RoomRow.key).where(RoomRow.id == room_id)).one()
    with write(store, key) as session:
        room = session.exec(select(RoomRow).where(RoomRow.id == room_id).with_for_update()).one()
        run = head(session, store, room)
        if run is not None:
            refresh_tanks(session, room, run, now)
            hold(store, room, run)
            room.version += 1


def _refresh_forecast(room: RoomRow, run: Run[RoomFilter], row: TankRow, now: datetime) -> None:
    take_forecast(row, forecast_of(room, run, row.key, now), now)


def _take_facts(row: TankRow, room: RoomFilter, belief: BathBelief) -> None:
    facts = room.tanks[row.key]
    for name in ("capacity_l", "min_l", "solvent", "fill", "washes_since_fill",
                 "life_days", "life_washes"):  # fmt: skip
        setattr(row, name, getattr(facts, name))
    row.pair = None if facts.is_pair_found else facts.pair  # a swap of a pair needs a person's word
    row.fresh_purity_percent = (
        facts.fresh_purity_percent or solvent(facts.solvent).usual_purity_percent
    )
    row.fill_started_at_us = to_us(facts.fill_started_at)
    row.swap_started_at_us = maybe_us(facts.swap_started_at)
    row.limit_basis, row.limit_entered = _entered(facts.limit, belief.limit_percent)
    row.stop_basis, row.stop_entered = _entered(facts.stop, belief.stop_percent)


def _entered(limit: Limit, mass_percent: float) -> tuple[str, float]:
    """A limit's basis and figure as entered; one that was not entered in mass percent."""
    if limit.value is None:
        return "mass_percent", mass_percent
    return limit.basis, limit.value


def _take_belief(row: TankRow, belief: BathBelief, now: datetime) -> None:
    for name in ("mean_percent", "p05_percent", "p95_percent", "volume_l", "resin_g",
                 "solvent_density_g_ml", "resin_density_g_ml", "limit_percent",
                 "stop_percent"):  # fmt: skip
        setattr(row, name, float(getattr(belief, name)))
    row.last_reading_at_us = maybe_us(belief.last_reading_at)
    row.last_wash_at_us = maybe_us(belief.last_wash_at)
    row.estimated_at_us = to_us(now)


def _take_last_entry(session: Session, room: RoomRow, row: TankRow) -> None:
    last = session.exec(
        select(EntryRow.kind, EntryRow.at_us)
        .where(EntryRow.room_id == room.id, EntryRow.tank == row.key)
        .where(col(EntryRow.voided_by).is_(None), col(EntryRow.kind).in_(BATH_KINDS))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(1)
    ).first()
    row.last_entry_kind, row.last_entry_at_us = last if last else (None, None)


def _passed_at_us(session: Session, room: RoomRow, row: TankRow) -> int | None:
    """Since when the estimate of this fill has stood above its limit."""
    if not row.limit_is_passed:
        return None
    course = (
        (CourseRow.room_id == room.id) & (CourseRow.tank == row.key) & (CourseRow.fill == row.fill)
    )
    last_below = session.exec(
        select(func.max(CourseRow.at_us)).where(course, CourseRow.mean_percent < row.limit_percent)
    ).one()
    above = select(func.min(CourseRow.at_us)).where(course)
    if last_below is not None:
        above = above.where(CourseRow.at_us > last_below)
    return session.exec(above).one() or row.estimated_at_us


def _life_washes_end(room: RoomFilter, row: TankRow, now: datetime) -> datetime | None:
    """When the washes of the bath's life will be used up at the present rate."""
    if row.life_washes is None:
        return None
    left = row.life_washes - row.washes_since_fill
    if left <= 0:
        return now
    washes_per_day = room.habits[row.key].washes_per_day(now)
    days = left / washes_per_day if washes_per_day > 0 else float("inf")
    return now + timedelta(days=days) if days < 365 else None
