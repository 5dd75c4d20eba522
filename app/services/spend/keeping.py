"""Keeping the roll-ups of costs in step with the log, in the transaction that changes it.

New entries move only their own parts on, from the state that each was left in. A late, corrected or
withdrawn one has its part followed from the end of the week before it until the state at a week's
end is again the one that was kept. What all lines rest on (rates, solvents) changes them from then
on. The result is that of reading the whole log again.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, delete, update
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.spend.basis import Basis, first_change
from app.domain.spend.parts import COSTED, JOB, PartName, parts_of
from app.services.entries import START, Place, after, entry_of, place_of
from app.services.spend.basis import basis_after, basis_from, basis_text, whole_basis
from app.services.spend.calendar import calendar_of
from app.services.spend.following import Follower
from app.services.spend.jobs import keep_jobs
from app.services.spend.washes import Progress, keep_parts, keep_washes, rebuild_parts
from app.store.spend_tables import (
    SpendHeadRow,
    SpendLineRow,
    SpendPartsRow,
    SpendStateRow,
    SpendWashRow,
    SpendWeekRow,
)
from app.store.tables import EntryRow, RoomRow

HEADS: Any = SpendHeadRow.__table__  # type: ignore[attr-defined]
HEAD_OF = HEADS.select().where(HEADS.c.room_id == bindparam("room_id"))
FORMAT = "5"
TABLES = (SpendHeadRow, SpendLineRow, SpendPartsRow, SpendStateRow, SpendWashRow, SpendWeekRow)
SOME = 400
PAGE = 5000


@dataclass(frozen=True)
class Changes:
    """What a write changes: entries that count from now on, and those that no longer do."""

    news: Sequence[Entry]
    gone: Sequence[tuple[Place, Entry]]


def keep_spend(
    session: Session, room: RoomRow, entries: Sequence[Entry], bath_place: Place | None
) -> None:
    """Bring the roll-ups up to date with entries that were just recorded.

    `bath_place` is the earliest place at which the estimates may have changed.
    """
    assert room.id is not None
    head = session.execute(HEAD_OF, {"room_id": room.id}).first()
    if head is None or (head.format, head.time_zone) != (FORMAT, room.time_zone):
        rebuild_spend(session, room)
        return
    changes = _changes(session, room.id, entries)
    before, calendar = basis_from(head.basis), calendar_of(room.time_zone)
    changed = [*changes.news, *(entry for _, entry in changes.gone)]
    basis = basis_after(session, room.id, before, changed)
    follower = Follower(session, room.id, calendar, basis)
    first = _rewound(follower, before, basis)
    jobs = _follow(session, room.id, follower, changes, first)
    if first is not None:
        jobs |= _replay(session, room.id, follower, calendar.start_us(first))
    keep_jobs(follower, jobs)
    follower.sum_up()
    place = keep_washes(session, room.id, calendar, place_of(head), bath_place)
    keep_parts(session, room.id, calendar, changes.news, [entry for _, entry in changes.gone])
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
            room_id=room.id, format=FORMAT, time_zone=room.time_zone, basis=basis_text(basis),
            **vars(place),
        )
    )  # fmt: skip
    session.flush()


def _changes(session: Session, room_id: int, entries: Sequence[Entry]) -> Changes:
    targets = {
        target
        for entry in entries
        if (target := entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects)
    }
    news = [entry for entry in entries if entry.id not in targets]
    older = sorted(targets - {entry.id for entry in entries})
    gone = [(place_of(row), entry_of(row)) for row in _rows(session, room_id, older)]
    return Changes(news, gone)


def _rows(session: Session, room_id: int, uids: Sequence[str]) -> Iterator[EntryRow]:
    for start in range(0, len(uids), SOME):
        some = uids[start : start + SOME]
        yield from session.exec(
            select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        )


def _places(session: Session, room_id: int, ids: Iterable[str]) -> dict[str, Place]:
    uids, found = sorted(ids), dict[str, Place]()
    for start in range(0, len(uids), SOME):
        some = uids[start : start + SOME]
        query = select(EntryRow.uid, EntryRow.moment_us, EntryRow.rank, EntryRow.sequence)
        query = query.where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        found |= {uid: Place(*place) for uid, *place in session.exec(query)}
    return found


def _rewound(follower: Follower, before: Basis, basis: Basis) -> int | None:
    """Drop all lines that no longer have their basis; the first week of them."""
    moment = first_change(before, basis)
    return None if moment is None else follower.rewind(moment)


def _follow(
    session: Session, room_id: int, follower: Follower, changes: Changes, first: int | None
) -> set[str]:
    """Move each part on by what is its own, before a week; the jobs that are to be done anew."""
    jobs: set[str] = set()
    own: list[tuple[Entry, PartName]] = []
    for entry in changes.news:
        for part in parts_of(entry):
            if part[0] == JOB:
                jobs.add(part[1])
            else:
                own.append((entry, part))
    places = _places(session, room_id, {entry.id for entry, _ in own})
    news: dict[PartName, list[tuple[Place, Entry]]] = {}
    gone: dict[PartName, list[Place]] = {}
    for entry, part in own:
        if first is None or follower.week_of(places[entry.id]) < first:
            news.setdefault(part, []).append((places[entry.id], entry))
    for place, entry in changes.gone:
        for part in parts_of(entry):
            if part[0] == JOB:
                jobs.add(part[1])
            elif first is None or follower.week_of(place) < first:
                gone.setdefault(part, []).append(place)
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
