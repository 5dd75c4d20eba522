"""The sums of washes by week, tank, fill and resin, and of the parts that were weighed."""

import json
from collections.abc import Callable, Iterable
from typing import Any

from sqlalchemy import bindparam, delete, insert, tuple_
from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Entry, Wash
from app.services.entries import START, Place
from app.services.spend.calendar import Calendar
from app.store.instants import to_us
from app.store.spend_lines import add_up
from app.store.spend_tables import SpendPartsRow, SpendWashRow
from app.store.tables import CourseRow, EntryRow

LEAST_PERCENT = 0.2  # below it what parts drag out cannot be told from the resin in it
UG = 1_000_000
COURSE: Any = CourseRow.__table__  # type: ignore[attr-defined]
WASHES: Any = SpendWashRow.__table__  # type: ignore[attr-defined]
KEYS = ("week", "tank", "fill", "kind", "resin")
SUMS = ("count", "late", "resin_in_ug", "resin_out_ug", "evaporated_ug", "liquid_out_ug")
PAGE = 5000
PLACE = tuple(COURSE.c[name] for name in ("moment_us", "rank", "sequence"))
COURSE_AFTER = (
    sql_select(*PLACE, *(COURSE.c[name] for name in (
        "tank", "fill", "kind", "resin", "mean_before_percent", "limit_percent", "resin_in_g",
        "resin_out_g", "evaporated_g",
    )))
    .where(
        COURSE.c.room_id == bindparam("room_id"), COURSE.c.moment_us >= bindparam("moment_us"),
        tuple_(*PLACE) > tuple_(*(bindparam(each.name, type_=each.type) for each in PLACE)),
    )
    .order_by(*PLACE)
    .limit(PAGE)
)  # fmt: skip
COURSE_END = (
    sql_select(*PLACE)
    .where(COURSE.c.room_id == bindparam("room_id"))
    .order_by(*(each.desc() for each in PLACE))
    .limit(1)
)

Progress = Callable[[str, int, int], None]
Key = tuple[int, str, int, str, str]


def keep_washes(
    session: Session, room_id: int, calendar: Calendar, head: Place, first: Place | None,
    progress: Progress | None = None,
) -> Place:  # fmt: skip
    """Bring the sums up to the course of the estimates, which changed from `first` on.

    `head` is the place of the last entry in the sums; given back is where they stand now. Behind
    it the new is added; before it the sums of all weeks from its own on are taken anew.
    """
    if first is None:
        return head  # no estimate was worked out
    if first > head:
        since = Place(first.moment_us, first.rank, first.sequence - 1)
        found, head = _summed(session, room_id, calendar, since, head)
        _add(session, room_id, found)
    else:
        week = calendar.week_of(first.moment_us)
        since = Place(calendar.start_us(week), -1, 0)  # in front of all that the week holds
        session.execute(
            delete(WASHES).where(WASHES.c.room_id == room_id, WASHES.c.week >= week)
        )  # fmt: skip
        last = session.execute(COURSE_END, {"room_id": room_id}).first()
        head = Place(*last) if last else START  # what was taken back may have been the last
        found, head = _summed(session, room_id, calendar, since, head, progress)
        _insert(session, room_id, found)
    return head


def _summed(
    session: Session, room_id: int, calendar: Calendar, since: Place, head: Place,
    progress: Progress | None = None,
) -> tuple[dict[Key, list[int]], Place]:  # fmt: skip
    """The course behind a place, summed; and the place of its last entry, or `head`."""
    found: dict[Key, list[int]] = {}
    last = head
    rows = session.execute(COURSE_AFTER, {"room_id": room_id, **vars(since)}).all()
    done = 0
    while rows:
        for us, _, _, tank, fill, kind, resin, percent, limit, in_g, out_g, gone_g in rows:
            key = calendar.week_of(us), tank, fill, kind, resin or ""
            sums = found.get(key)
            if sums is None:
                sums = found[key] = [0] * len(SUMS)
            is_wash = kind == Wash.kind
            sums[0] += 1
            sums[1] += is_wash and limit is not None and percent > limit
            sums[2] += round(in_g * UG)
            sums[3] += round(out_g * UG)
            sums[4] += round(gone_g * UG)
            if is_wash and percent > LEAST_PERCENT:
                sums[5] += round(out_g * 100 / percent * UG)
        last, done = Place(*rows[-1][:3]), done + len(rows)
        if progress is not None:
            progress("Adding up washes", done, 0)
        if len(rows) < PAGE:
            break
        rows = session.execute(COURSE_AFTER, {"room_id": room_id, **vars(last)}).all()
    return found, last


def _add(session: Session, room_id: int, found: dict[Key, list[int]]) -> None:
    add_up(session, WASHES, SUMS, _rows(room_id, found))


def _insert(session: Session, room_id: int, found: dict[Key, list[int]]) -> None:
    if found:
        session.execute(insert(WASHES), _rows(room_id, found))


def _rows(room_id: int, found: dict[Key, list[int]]) -> list[dict[str, Any]]:
    return [
        {"room_id": room_id, **dict(zip(KEYS, key, strict=True)),
         **dict(zip(SUMS, sums, strict=True))}
        for key, sums in found.items()
    ]  # fmt: skip


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
    if not sums:
        return
    table: Any = SpendPartsRow.__table__  # type: ignore[attr-defined]
    rows = [
        {"room_id": room_id, "week": week, "washes": washes, "mass_ug": mass_ug}
        for week, (washes, mass_ug) in sums.items()
    ]
    add_up(session, table, ("washes", "mass_ug"), rows)
    if any(washes < 0 for washes, _ in sums.values()):
        session.execute(delete(table).where(table.c.room_id == room_id, table.c.washes == 0))


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
