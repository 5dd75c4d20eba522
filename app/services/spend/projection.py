"""Keeping the roll-ups of costs in step with the log, in the transaction that changes it.

New entries move only their own parts on, from the state that each was left in. A late, corrected or
withdrawn one has its part followed from the end of the week before it until the state at a week's
end is again the one that was kept. What all lines rest on (rates, solvents) changes them from then
on. The result is that of reading the whole log again. Washes are summed by week, tank, fill and
resin from the course of the estimates.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import Any, ClassVar

from pydantic import TypeAdapter
from sqlalchemy import bindparam, delete, insert, tuple_, update
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Swap, Tank, Wash
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import Item
from app.domain.spend.cost_folds import COSTED, JOB, PartName, parts_of
from app.domain.spend.costs import kept_since
from app.domain.spend.price_book import (
    PRICES_BOOK,
    Basis,
    Minutes,
    PricesState,
    Steps,
    first_change,
    solvent_steps,
    swap_minutes,
)
from app.domain.things import fold
from app.services.baths.states import first_of_baths
from app.services.changes import Changes, Progress
from app.services.entries import START, Place, after, counting_of_kind, entry_of, place_of
from app.services.projecting import Write
from app.services.spend.cost_lines import FORMAT, Calendar, Follower, calendar_of, keep_jobs
from app.store.engine import Store
from app.store.instants import to_us
from app.store.spend.lines import add_up
from app.store.spend.tables import (
    SpendHeadRow,
    SpendLineRow,
    SpendPartsRow,
    SpendStateRow,
    SpendWashRow,
    SpendWeekRow,
)
from app.store.tables import CourseRow, EntryRow, RoomRow, TankRow

_BASIS: TypeAdapter[Basis] = TypeAdapter(Basis)

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
Key = tuple[int, str, int, str, str]
HEADS: Any = SpendHeadRow.__table__  # type: ignore[attr-defined]
HEAD_OF = HEADS.select().where(HEADS.c.room_id == bindparam("room_id"))
TABLES = (SpendHeadRow, SpendLineRow, SpendPartsRow, SpendStateRow, SpendWashRow, SpendWeekRow)


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


class Costs:
    """The roll-ups of costs, as one projection: what washes carried in is read from the course."""

    name: ClassVar[str] = "costs"
    needs: ClassVar[tuple[str, ...]] = ("baths",)

    def versions(self, room: RoomRow) -> Mapping[str, str]:
        """That of its lines and states; and the zone, whose weeks they are summed by."""
        return {"": f"{FORMAT} {room.time_zone}"}

    def move(self, write: Write) -> None:
        """Bring the roll-ups up to a write."""
        if self.name not in write.waiting:
            first = first_of_baths(write.changes)
            keep_spend(write.session, write.room, write.changes, first)

    def rebuild(
        self, session: Session, _store: Store, room: RoomRow, _kinds: Collection[str],
        _now: datetime, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Work the roll-ups out anew from the log and the estimates."""
        rebuild_spend(session, room, progress)


def keep_spend(session: Session, room: RoomRow, changes: Changes, bath_place: Place | None) -> None:
    """Bring the roll-ups up to date with what was just recorded.

    `bath_place` is the earliest place at which the estimates may have changed.
    """
    assert room.id is not None
    head = session.execute(HEAD_OF, {"room_id": room.id}).first()
    if head is None:
        rebuild_spend(session, room)
        return
    before, calendar = basis_from(head.basis), calendar_of(room.time_zone)
    news, gone = ([told.entry for told in some] for some in (changes.news, changes.gone))
    basis = basis_after(session, room.id, before, [*news, *gone])
    follower = Follower(session, room.id, calendar, basis)
    first = _rewound(follower, before, basis)
    jobs = _follow(follower, changes, first)
    if first is not None:
        jobs |= _replay(session, room.id, follower, calendar.start_us(first))
    keep_jobs(follower, jobs)
    follower.sum_up()
    place = keep_washes(session, room.id, calendar, place_of(head), bath_place)
    keep_parts(session, room.id, calendar, news, gone)
    now = {} if place == place_of(head) else vars(place)
    if basis != before:
        now = {**now, "basis": basis_text(basis)}
    if now:
        session.execute(update(HEADS).where(HEADS.c.room_id == room.id).values(now))


def rebuild_spend(session: Session, room: RoomRow, progress: Progress | None = None) -> None:
    """Work the roll-ups of a room out anew from its log and its estimates."""
    tell = progress or _untold
    assert room.id is not None
    for table in TABLES:
        session.execute(delete(table).where(col(table.room_id) == room.id))
    session.expire_all()
    calendar, basis = calendar_of(room.time_zone), whole_basis(session, room.id)
    follower = Follower(session, room.id, calendar, basis)
    keep_jobs(follower, _replay(session, room.id, follower, START.moment_us, tell))
    follower.sum_up()
    place = keep_washes(session, room.id, calendar, START, START, tell)
    rebuild_parts(session, room.id, calendar)
    session.add(
        SpendHeadRow(
            room_id=room.id, basis=basis_text(basis), **vars(place),
        )
    )  # fmt: skip
    session.flush()


def _rewound(follower: Follower, before: Basis, basis: Basis) -> int | None:
    """Drop all lines that no longer have their basis; the first week of them."""
    moment = first_change(before, basis)
    return None if moment is None else follower.rewind(moment)


def _follow(follower: Follower, changes: Changes, first: int | None) -> set[str]:
    """Move each part on by what is its own, before a week; the jobs that are to be done anew."""
    jobs: set[str] = set()
    news: dict[PartName, list[tuple[Place, Entry]]] = {}
    gone: dict[PartName, list[Place]] = {}
    for some, is_gone in ((changes.news, False), (changes.gone, True)):
        for told in some:
            jobs |= {part[1] for part in parts_of(told.entry) if part[0] == JOB}
            if first is not None and follower.week_of(told.place) >= first:
                continue  # all of these weeks is taken anew
            for part in follower.fold.concerns(told.entry):
                if is_gone:
                    gone.setdefault(part, []).append(told.place)
                else:
                    news.setdefault(part, []).append((told.place, told.entry))
    follower.follow(news, gone)
    return jobs


def _untold(_what: str, _done: int, _total: int) -> None:
    """Progress that nobody waits for."""


def _replay(
    session: Session, room_id: int, follower: Follower, since_us: int, tell: Progress = _untold
) -> set[str]:
    """Take all entries from an instant on; the jobs that are to be done anew."""
    jobs: set[str] = set()
    done = 0
    for page in _pages(session, room_id, since_us):
        news: dict[PartName, list[tuple[Place, Entry]]] = {}
        for place, entry in page:
            done += 1
            for part in parts_of(entry):
                if part[0] == JOB:
                    jobs.add(part[1])
                else:
                    news.setdefault(part, []).append((place, entry))
        follower.follow(news, {})
        tell("Adding up costs", done, 0)
    return jobs


def _pages(
    session: Session, room_id: int, since_us: int
) -> Iterator[Iterable[tuple[Place, Entry]]]:
    table = EntryRow.__table__  # type: ignore[attr-defined]
    query = (
        table.select()
        .where(
            table.c.room_id == room_id, table.c.kind.in_(COSTED), table.c.voided_by.is_(None),
            table.c.moment_us >= since_us,
        )
        .order_by(table.c.moment_us, table.c.rank, table.c.sequence)
        .limit(PAGE)
    )  # fmt: skip
    place = START
    while True:
        rows = session.execute(query.where(after(EntryRow, place))).all()
        yield [(place_of(row), entry_of(row)) for row in rows]
        if len(rows) < PAGE:
            return
        place = place_of(rows[-1])
