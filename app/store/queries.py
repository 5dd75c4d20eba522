"""What the pages ask of a room: one function a question, each a few indexed statements."""

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from sqlalchemy import func
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.baths.evidence import LACKS, Lack
from app.domain.roomlog.kinds.site import ARCHIVE
from app.domain.swaps import BathOutlook, QueuedSwap, queue
from app.store.instants import from_us, maybe_from_us, to_us
from app.store.tables import CourseRow, EntryRow, PersonRow, ResinRow, RoomRow, TankRow, ThingRow

NEEDS_READING_AFTER = timedelta(days=7)
WIDE_SHARE = 0.5  # of the limit: where the likely range is wider, a figure says little
WIDE_SHARE_WHEN_OLD = 0.2
LOW_SHARE = 0.3  # of the volume to the upper mark, where no lower mark is known


@dataclass(frozen=True)
class FanPoint:
    """The forecast saturation at an instant, mass percent."""

    at: datetime
    p05: float
    p50: float
    p95: float


@dataclass(frozen=True)
class TankView:
    """A tank as pages show it. Saturations are mass percent.

    Attributes:
        flags: what is said of its estimate; those of `lacks` blank its forecast.
        forecast_due_at: since when its forecast is to be made anew: what it says of days is as of
            `forecast_at`, before the last entries. None where it is of now.
        swap: its place in the queue of swaps.
        needs_reading: the estimate is old or too wide to plan by.
    """

    key: str
    place: int
    name: str
    is_retired: bool
    started_at: datetime
    capacity_l: float
    min_l: float | None
    solvent: str
    fresh_purity_percent: float
    pair: str | None
    fill: int
    fill_started_at: datetime
    washes_since_fill: int
    life_days: float | None
    life_washes: int | None
    limit_percent: float
    limit_basis: str
    limit_entered: float
    stop_percent: float
    stop_basis: str
    stop_entered: float
    mean_percent: float
    p05_percent: float
    p95_percent: float
    tomorrow_percent: float | None
    volume_l: float
    resin_g: float
    solvent_density_g_ml: float
    resin_density_g_ml: float
    estimated_at: datetime
    flags: tuple[str, ...]
    last_entry_kind: str | None
    last_entry_at: datetime | None
    last_reading_at: datetime | None
    last_wash_at: datetime | None
    swap_started_at: datetime | None
    limit_is_passed: bool
    limit_passed_at: datetime | None
    limit_p10_at: datetime | None
    limit_p50_at: datetime | None
    limit_p90_at: datetime | None
    limit_chance: float
    stop_is_passed: bool
    stop_p50_at: datetime | None
    forecast_at: datetime
    forecast_due_at: datetime | None
    stored_fan: str
    swap: QueuedSwap
    needs_reading: bool

    @cached_property
    def fan(self) -> tuple[FanPoint, ...]:
        """The forecast, day by day; read only where it is drawn, since boards need it not."""
        return tuple(FanPoint(from_us(at), *rest) for at, *rest in json.loads(self.stored_fan))

    @property
    def is_apparent(self) -> bool:
        """Only density speaks: water taken up would look the same."""
        return "apparent" in self.flags

    @property
    def is_too_early(self) -> bool:
        """No day can be named for it yet: neither its forecast nor a life of its bath gives one."""
        return bool(self.lacks) and self.swap.due_at is None

    @property
    def lacks(self) -> tuple[Lack, ...]:
        """What is missing before its forecast may name a day; empty where nothing is."""
        return tuple(flag for flag in LACKS if flag in self.flags)

    @property
    def is_nearly_empty(self) -> bool:
        """It holds too little to wash in: less than half of what its lower mark asks for."""
        lowest_l = LOW_SHARE * self.capacity_l if self.min_l is None else self.min_l
        return self.volume_l < lowest_l / 2

    def of_limit(self, percent: float) -> float:
        """A saturation in percent of the tank's first limit."""
        return 100 * percent / self.limit_percent


@dataclass(frozen=True)
class Board:
    """A room at a glance: its tanks in their order and the swaps to come."""

    tanks: tuple[TankView, ...]
    swaps: tuple[QueuedSwap, ...]

    def tank(self, key: str) -> TankView | None:
        """The tank of that key."""
        return next((tank for tank in self.tanks if tank.key == key), None)

    @property
    def days_as_of(self) -> datetime | None:
        """As of when its days are, where a forecast is to be made anew; None where all are of
        now."""
        return days_as_of(self.tanks)


def days_as_of(tanks: Iterable[TankView]) -> datetime | None:
    """The oldest forecast of tanks that is to be made anew and names a day; None without one."""
    due = (
        tank.forecast_at
        for tank in tanks
        if tank.forecast_due_at is not None and not tank.lacks and not tank.is_retired
    )
    return min(due, default=None)


def rooms(session: Session) -> Sequence[RoomRow]:
    """The rooms in use, by name."""
    gone = archived(session)
    return [room for room in every_room(session) if room.id not in gone]


def every_room(session: Session) -> Sequence[RoomRow]:
    """All rooms by name, archived ones too."""
    return session.exec(select(RoomRow).order_by(RoomRow.name)).all()


def rooms_with_tanks(session: Session) -> list[tuple[str, str]]:
    """Keys and names of the rooms in use that have a tank in use, by name."""
    query = select(TankRow.room_id).where(col(TankRow.is_retired).is_(False)).distinct()
    there = set(session.exec(query).all())
    return [(room.key, room.name) for room in rooms(session) if room.id in there]


def archived(session: Session) -> frozenset[int]:
    """The numbers of the rooms that are out of use."""
    found = select(ThingRow.room_id).where(ThingRow.thing == ARCHIVE, col(ThingRow.is_open))
    return frozenset(session.exec(found).all())


def board(session: Session, room_id: int, now: datetime, with_retired: bool = False) -> Board:
    """The room's tanks and queue as they stand at `now`."""
    # Plain rows: sixty mapped objects would take longer than the rest of the page.
    query = sql_select(*(col(getattr(TankRow, name)) for name in _COLUMNS)).where(
        col(TankRow.room_id) == room_id, col(TankRow.estimated_at_us) > 0
    )  # of a tank that is just being brought in nothing is known yet
    if not with_retired:
        query = query.where(col(TankRow.is_retired).is_(False))
    rows = session.execute(query.order_by(col(TankRow.place))).all()
    shown = [_shown(row) for row in rows]
    outlooks = [_outlook(row, values, now) for row, values in zip(rows, shown, strict=True)]
    swaps = queue(outlooks, now)
    by_tank = {swap.tank: swap for swap in swaps}
    views = (
        TankView(**values, swap=by_tank[row.key], needs_reading=_needs_reading(row, now))
        for row, values in zip(rows, shown, strict=True)
    )
    return Board(tuple(views), tuple(swaps))


def tank_names(session: Session, room_id: int) -> dict[str, str]:
    """The names of all tanks by key, retired ones too, in the order of their places."""
    query = sql_select(col(TankRow.key), col(TankRow.name)).where(col(TankRow.room_id) == room_id)
    return {row[0]: row[1] for row in session.execute(query.order_by(col(TankRow.place)))}


def resins(session: Session, room_id: int) -> Sequence[ResinRow]:
    """The room's resins by name."""
    return session.exec(
        select(ResinRow).where(ResinRow.room_id == room_id).order_by(ResinRow.name)
    ).all()


def people(session: Session, room_id: int, most: int = 12) -> list[str]:
    """Names entered in the room, the latest first."""
    query = select(PersonRow.name).where(PersonRow.room_id == room_id)
    return list(session.exec(query.order_by(col(PersonRow.last_at_us).desc()).limit(most)))


@dataclass(frozen=True)
class LedgerLine:
    """What entries of one kind, and for washes of one resin, did to the bath since its fill.

    Grams of resin, and grams of solvent evaporated.
    """

    kind: str
    resin: str | None
    count: int
    resin_in_g: float
    resin_out_g: float
    correction_g: float
    evaporated_g: float
    set_aside: int


def ledger(session: Session, room_id: int, tank: str, fill: int) -> list[LedgerLine]:
    """Why the number is what it is: the entries of one fill summed by kind and resin."""
    sums = (CourseRow.resin_in_g, CourseRow.resin_out_g, CourseRow.correction_g,
            CourseRow.evaporated_g)  # fmt: skip
    by = col(CourseRow.kind), col(CourseRow.resin)
    rows = session.execute(
        sql_select(*by, func.count(), *(func.sum(one) for one in sums))
        .where(col(CourseRow.room_id) == room_id, col(CourseRow.tank) == tank)
        .where(col(CourseRow.fill) == fill)
        .group_by(*by)
        .order_by(*by)
    )
    aside = set_aside(session, room_id, tank, fill)
    return [
        LedgerLine(kind, resin, count, came, left, moved, gone,
                   len(aside) if kind == "reading" else 0)
        for kind, resin, count, came, left, moved, gone in rows
    ]  # fmt: skip


@dataclass(frozen=True)
class CoursePoint:
    """The estimate after an entry; for a reading also what it measured. Mass percent."""

    entry_id: int
    at: datetime
    kind: str
    resin: str | None
    fill: int
    mean_before: float
    mean: float
    p05: float
    p95: float
    measured: float | None
    measured_sd: float | None
    is_set_aside: bool
    is_apparent: bool
    notes: tuple[str, ...]


def course(
    session: Session, room_id: int, tank: str, since: datetime, until: datetime, most: int = 200_000
) -> list[CoursePoint]:
    """The tank's estimates between two instants, in order."""
    rows = session.exec(
        select(CourseRow)
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank)
        .where(CourseRow.at_us >= to_us(since), CourseRow.at_us <= to_us(until))
        .order_by(col(CourseRow.at_us), col(CourseRow.sequence))
        .limit(most)
    )
    return [_course_point(row) for row in rows]


def loads_between(
    session: Session, room_id: int, tank: str, since: datetime, until: datetime
) -> list[tuple[datetime, float]]:
    """Time and resin in grams of each wash of a tank between two instants, in order."""
    rows = session.execute(
        sql_select(col(CourseRow.at_us), col(CourseRow.resin_in_g))
        .where(col(CourseRow.room_id) == room_id, col(CourseRow.tank) == tank)
        .where(col(CourseRow.kind) == "wash")
        .where(col(CourseRow.at_us) > to_us(since), col(CourseRow.at_us) < to_us(until))
        .order_by(col(CourseRow.at_us))
    )
    return [(from_us(at_us), grams) for at_us, grams in rows]


def set_aside(session: Session, room_id: int, tank: str, fill: int) -> list[CoursePoint]:
    """The readings of a fill that were set aside."""
    rows = session.exec(
        select(CourseRow)
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank, CourseRow.fill == fill)
        .where(col(CourseRow.is_set_aside).is_(True))
        .order_by(col(CourseRow.at_us))
    )
    return [_course_point(row) for row in rows]


def fill_starts(session: Session, room_id: int, tank: str, most: int = 20) -> list[datetime]:
    """When the tank's latest fills began, newest first."""
    rows = session.exec(
        select(func.min(CourseRow.at_us))
        .where(CourseRow.room_id == room_id, CourseRow.tank == tank)
        .group_by(col(CourseRow.fill))
        .order_by(col(CourseRow.fill).desc())
        .limit(most)
    )
    return [from_us(row) for row in rows]


def reject_counts(
    session: Session,
    room_id: int,
    since: datetime,
    band_percent: float,
    tanks: Collection[str] | None = None,
) -> tuple[dict[int, int], dict[int, int]]:
    """Washes and rejects since an instant, by number of the band of saturation they met; of all
    tanks, or of some."""
    band = func.floor(CourseRow.mean_before_percent / band_percent)
    counts: dict[str, dict[int, int]] = {"wash": {}, "reject": {}}
    rows = session.exec(
        select(CourseRow.kind, band, func.count())
        .where(CourseRow.room_id == room_id, CourseRow.at_us >= to_us(since))
        .where(col(CourseRow.kind).in_(("wash", "reject")))
        .where(*([] if tanks is None else [col(CourseRow.tank).in_(tanks)]))
        .group_by(CourseRow.kind, band)
    )
    for kind, index, count in rows:
        counts[kind][max(0, int(index))] = counts[kind].get(max(0, int(index)), 0) + count
    return counts["wash"], counts["reject"]


def last_entries(
    session: Session, room_id: int, tank: str, kind: str, most: int = 30
) -> Sequence[EntryRow]:
    """The latest entries of a kind that count, newest first; for 'same as last'."""
    return session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room_id, EntryRow.tank == tank, EntryRow.kind == kind)
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(most)
    ).all()


def _course_point(row: CourseRow) -> CoursePoint:
    return CoursePoint(
        row.entry_id, from_us(row.at_us), row.kind, row.resin, row.fill, row.mean_before_percent,
        row.mean_percent, row.p05_percent, row.p95_percent, row.measured_percent,
        row.measured_sd_percent, row.is_set_aside, row.is_apparent, tuple(json.loads(row.notes)),
    )  # fmt: skip


def _outlook(row: Any, shown: dict[str, Any], now: datetime) -> BathOutlook:
    life, washes_end_at = row.life_days, maybe_from_us(row.life_washes_at_us)
    if "few_wash_days" in shown["flags"] and washes_end_at and washes_end_at > now:
        washes_end_at = None  # it follows from how often the tank is used
    return BathOutlook(
        tank=row.key,
        limit_p10_at=shown["limit_p10_at"],
        limit_p50_at=shown["limit_p50_at"],
        limit_p90_at=shown["limit_p90_at"],
        limit_passed_at=shown["limit_passed_at"] if shown["limit_is_passed"] else None,
        stop_is_passed=shown["stop_is_passed"],
        life_days_end_at=None if life is None else shown["fill_started_at"] + timedelta(days=life),
        life_washes_end_at=washes_end_at,
        swap_started_at=shown["swap_started_at"],
    )


def _shown(row: Any) -> dict[str, Any]:
    """What the view takes from a row as it stands, instants as datetimes."""
    stored = dict(zip(_COLUMNS, row, strict=True))
    values = {name: stored[name] for name in _KEPT}
    values |= {shown: maybe_from_us(stored[name]) for name, shown in _INSTANTS}
    values["flags"] = tuple(flag for flag in row.flags.split(",") if flag)
    values["stored_fan"] = row.fan
    if not set(values["flags"]).isdisjoint(LACKS):
        values |= _NOT_YET
    return values


# Of a bath that too little is known of: a forecast is worked out, and would be an assumption's.
_NOT_YET = {
    "stored_fan": "[]", "tomorrow_percent": None, "limit_is_passed": False,
    "limit_passed_at": None, "limit_p10_at": None, "limit_p50_at": None, "limit_p90_at": None,
    "limit_chance": 0.0, "stop_is_passed": False, "stop_p50_at": None,
}  # fmt: skip


def _instant(column: str) -> str:
    """The view's name of a column that holds an instant: it loses its unit."""
    name = column.removesuffix("_us")
    return name if name.endswith("_at") else f"{name}_at"


_COLUMNS = tuple(TankRow.model_fields)
_KEPT = tuple(name for name in _COLUMNS if name in TankView.__dataclass_fields__)
_INSTANTS = tuple(
    (name, _instant(name))
    for name in _COLUMNS
    if name.endswith("_us") and _instant(name) in TankView.__dataclass_fields__
)


def _needs_reading(row: Any, now: datetime) -> bool:
    if row.swap_started_at_us is not None or row.washes_since_fill == 0:
        return False
    last_us = max(row.last_reading_at_us or 0, row.fill_started_at_us)
    is_old = last_us < to_us(now - NEEDS_READING_AFTER)
    width_of_limit: float = (row.p95_percent - row.p05_percent) / row.limit_percent
    return width_of_limit > (WIDE_SHARE_WHEN_OLD if is_old else WIDE_SHARE)
