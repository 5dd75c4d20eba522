"""The sums of washes by week, tank, fill and resin, and of the parts that were weighed."""

import json
from collections import Counter
from collections.abc import Iterable
from typing import Any

from sqlalchemy import delete, insert, tuple_, update
from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Entry, Wash
from app.domain.spend.basis import Basis
from app.services.entries import START, Place
from app.services.spend.calendar import Calendar
from app.store.instants import to_us
from app.store.spend_tables import SpendPartsRow, SpendWashRow
from app.store.tables import CourseRow, EntryRow

LEAST_PERCENT = 0.2  # below it what parts drag out cannot be told from the resin in it
UG = 1_000_000
COURSE: Any = CourseRow.__table__  # type: ignore[attr-defined]
WASHES: Any = SpendWashRow.__table__  # type: ignore[attr-defined]
KEYS = ("week", "tank", "fill", "kind", "resin")
SUMS = ("count", "late", "resin_in_ug", "resin_out_ug", "evaporated_ug", "liquid_out_ug")
PAGE = 5000

Key = tuple[int, str, int, str, str]


def keep_washes(
    session: Session, room_id: int, calendar: Calendar, head: Place, first: Place | None,
    bases: tuple[Basis, Basis],
) -> Place:  # fmt: skip
    """Bring the sums up to the course of the estimates, which changed from `first` on.

    `head` is the place of the last entry in the sums; given back is where they stand now. Behind
    it the new is added; before it the sums of all weeks from its own on are taken anew.
    """
    before, basis = bases
    if first is not None and first > head:
        found, head = _summed(session, room_id, calendar, head, first.moment_us, basis, first)
        _add(session, room_id, found)
    elif first is not None:
        week = calendar.week_of(first.moment_us)
        session.execute(
            delete(WASHES).where(WASHES.c.room_id == room_id, WASHES.c.week >= week)
        )  # fmt: skip
        since_us = calendar.start_us(week)
        found, head = _summed(session, room_id, calendar, START, since_us, basis, None)
        _insert(session, room_id, found)
    for tank, limit in basis.limits.items():
        if before.limits.get(tank, limit) != limit:
            _count_late(session, room_id, calendar, tank, limit)
    return head


def _summed(
    session: Session, room_id: int, calendar: Calendar, head: Place, since_us: int, basis: Basis,
    first: Place | None,
) -> tuple[dict[Key, list[int]], Place]:  # fmt: skip
    """The course from an instant, or a place, on, summed; and the place of its last entry."""
    found: dict[Key, list[int]] = {}
    columns = [COURSE.c[name] for name in (
        "moment_us", "rank", "sequence", "tank", "fill", "kind", "resin", "mean_before_percent",
        "resin_in_g", "resin_out_g", "evaporated_g",
    )]  # fmt: skip
    place = tuple_(COURSE.c.moment_us, COURSE.c.rank, COURSE.c.sequence)
    query = sql_select(*columns).where(COURSE.c.room_id == room_id, COURSE.c.moment_us >= since_us)
    if first is not None:
        query = query.where(place >= tuple_(*vars(first).values()))
    query = query.order_by(COURSE.c.moment_us, COURSE.c.rank, COURSE.c.sequence).limit(PAGE)
    limits, last = basis.limits, head
    rows = session.execute(query).all()
    while rows:
        for us, _, _, tank, fill, kind, resin, percent, in_g, out_g, gone_g in rows:
            key = calendar.week_of(us), tank, fill, kind, resin or ""
            sums = found.get(key)
            if sums is None:
                sums = found[key] = [0] * len(SUMS)
            is_wash = kind == Wash.kind
            sums[0] += 1
            sums[1] += is_wash and percent > limits.get(tank, percent)
            sums[2] += round(in_g * UG)
            sums[3] += round(out_g * UG)
            sums[4] += round(gone_g * UG)
            if is_wash and percent > LEAST_PERCENT:
                sums[5] += round(out_g * 100 / percent * UG)
        last = Place(*rows[-1][:3])
        if len(rows) < PAGE:
            break
        rows = session.execute(query.where(place > tuple_(*vars(last).values()))).all()
    return found, last


def _add(session: Session, room_id: int, found: dict[Key, list[int]]) -> None:
    if not found:
        return
    weeks = {key[0] for key in found}
    columns = [WASHES.c[name] for name in KEYS]
    query = sql_select(*columns).where(WASHES.c.room_id == room_id, WASHES.c.week.in_(weeks))
    if len(found) < len(SUMS):
        query = query.where(WASHES.c.tank.in_({key[1] for key in found}))
    there = {tuple(row) for row in session.execute(query)}
    for key in found.keys() & there:
        this = [column == value for column, value in zip(columns, key, strict=True)]
        more = zip(SUMS, found[key], strict=True)
        session.execute(
            update(WASHES)
            .where(WASHES.c.room_id == room_id, *this)
            .values({name: WASHES.c[name] + amount for name, amount in more})
        )
    _insert(session, room_id, {key: sums for key, sums in found.items() if key not in there})


def _insert(session: Session, room_id: int, found: dict[Key, list[int]]) -> None:
    rows = [
        {"room_id": room_id, **dict(zip(KEYS, key, strict=True)),
         **dict(zip(SUMS, sums, strict=True))}
        for key, sums in found.items()
    ]  # fmt: skip
    if rows:
        session.execute(insert(WASHES), rows)


def _count_late(
    session: Session, room_id: int, calendar: Calendar, tank: str, limit_percent: float
) -> None:
    """Count a tank's washes past its limit anew, all its weeks."""
    rows = session.execute(
        sql_select(COURSE.c.moment_us, COURSE.c.fill, COURSE.c.resin).where(
            COURSE.c.room_id == room_id, COURSE.c.tank == tank, COURSE.c.kind == Wash.kind,
            COURSE.c.mean_before_percent > limit_percent,
        )
    )  # fmt: skip
    late = Counter((calendar.week_of(us), fill, resin or "") for us, fill, resin in rows)
    theirs = WASHES.c.room_id == room_id, WASHES.c.tank == tank, WASHES.c.kind == Wash.kind
    session.execute(update(WASHES).where(*theirs, WASHES.c.late > 0).values(late=0))
    for (week, fill, resin), count in late.items():
        session.execute(
            update(WASHES)
            .where(*theirs, WASHES.c.week == week, WASHES.c.fill == fill, WASHES.c.resin == resin)
            .values(late=count)
        )


def keep_parts(
    session: Session, room_id: int, calendar: Calendar, news: Iterable[Entry],
    gone: Iterable[Entry],
) -> None:  # fmt: skip
    """Take washes that were logged with the mass of their parts into the sums, or out."""
    sums: dict[int, list[int]] = {}
    for sign, entries in ((1, news), (-1, gone)):
        for entry in entries:
            if isinstance(entry, Wash) and entry.mass_g is not None:
                own = sums.setdefault(calendar.week_of(to_us(entry.at)), [0, 0])
                own[0] += sign
                own[1] += sign * round(entry.mass_g * UG)
    for week, (washes, mass_ug) in sums.items():
        row = session.get(SpendPartsRow, (room_id, week))
        if row is None:
            row = SpendPartsRow(room_id=room_id, week=week, washes=0, mass_ug=0)
        row.washes += washes
        row.mass_ug += mass_ug
        if row.washes:
            session.add(row)
        elif row in session:
            session.delete(row)


def rebuild_parts(session: Session, room_id: int, calendar: Calendar) -> None:
    """Sum the mass of parts anew from the log."""
    sums: dict[int, list[int]] = {}
    query = sql_select(col(EntryRow.at_us), col(EntryRow.fields)).where(
        col(EntryRow.room_id) == room_id, col(EntryRow.kind) == Wash.kind,
        col(EntryRow.voided_by).is_(None),
    )  # fmt: skip
    for at_us, text in session.execute(query):
        if '"mass_g"' in text and (mass_g := json.loads(text).get("mass_g")) is not None:
            own = sums.setdefault(calendar.week_of(at_us), [0, 0])
            own[0] += 1
            own[1] += round(mass_g * UG)
    session.add_all(
        SpendPartsRow(room_id=room_id, week=week, washes=washes, mass_ug=mass_ug)
        for week, (washes, mass_ug) in sums.items()
    )
