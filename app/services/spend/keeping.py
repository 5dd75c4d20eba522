"""Keeping the roll-ups of costs in step with the log, in the transaction that changes it.

New entries move only their own parts on, from the state that each was left in. A late, corrected or
withdrawn one has its part followed from the end of the week before it until the state at a week's
end is again the one that was kept. What all lines rest on (rates, solvents) changes them from then
on. The result is that of reading the whole log again.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import delete
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.spend.basis import Basis, first_change
from app.domain.spend.parts import COSTED, JOB, PartName, parts_of
from app.services.entries import START, Place, after, entry_of, place_of
from app.services.spend.basis import basis_after, basis_from, basis_text, whole_basis
from app.services.spend.calendar import calendar_of
from app.services.spend.following import Follower
from app.services.spend.jobs import keep_jobs
from app.services.spend.washes import keep_parts, keep_washes, rebuild_parts
from app.store.spend_lines import sum_weeks
from app.store.spend_tables import (
    SpendHeadRow,
    SpendLineRow,
    SpendPartsRow,
    SpendStateRow,
    SpendWashRow,
    SpendWeekRow,
)
from app.store.tables import EntryRow, RoomRow

FORMAT = "1"
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
    head = session.get(SpendHeadRow, room.id)
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
    sum_weeks(session, room.id, follower.touched)
    place = Place(head.moment_us, head.rank, head.sequence)
    place = keep_washes(session, room.id, calendar, place, bath_place, (before, basis))
    keep_parts(session, room.id, calendar, changes.news, [entry for _, entry in changes.gone])
    head.moment_us, head.rank, head.sequence = place.moment_us, place.rank, place.sequence
    if basis != before:
        head.basis = basis_text(basis)
    session.add(head)
    session.flush()


def rebuild_spend(session: Session, room: RoomRow) -> None:
    """Work the roll-ups of a room out anew from its log and its estimates."""
    assert room.id is not None
    tables = (SpendHeadRow, SpendLineRow, SpendPartsRow, SpendStateRow, SpendWashRow, SpendWeekRow)
    for table in tables:
        session.execute(delete(table).where(col(table.room_id) == room.id))
    session.expire_all()
    calendar, basis = calendar_of(room.time_zone), whole_basis(session, room.id)
    follower = Follower(session, room.id, calendar, basis)
    keep_jobs(follower, _replay(session, room.id, follower, START.moment_us))
    sum_weeks(session, room.id, follower.touched)
    place = keep_washes(session, room.id, calendar, START, START, (basis, basis))
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


def _places(session: Session, room_id: int, entries: Sequence[Entry]) -> dict[str, Place]:
    uids, found = [entry.id for entry in entries], dict[str, Place]()
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
    costed = [entry for entry in changes.news if entry.kind in COSTED]
    places = _places(session, room_id, costed)
    news: dict[PartName, list[tuple[Place, Entry]]] = {}
    gone: dict[PartName, list[Place]] = {}
    jobs: set[str] = set()
    for place, entry in [*((places[entry.id], entry) for entry in costed), *changes.gone]:
        is_news = entry.id in places
        for part in parts_of(entry):
            if part[0] == JOB:
                jobs.add(part[1])
            elif first is not None and follower.week_of(place) >= first:
                continue
            elif is_news:
                news.setdefault(part, []).append((place, entry))
            else:
                gone.setdefault(part, []).append(place)
    follower.follow(news, gone)
    return jobs


def _replay(session: Session, room_id: int, follower: Follower, since_us: int) -> set[str]:
    """Take all entries from an instant on; the jobs that are to be done anew."""
    jobs: set[str] = set()
    for page in _pages(session, room_id, since_us):
        news: dict[PartName, list[tuple[Place, Entry]]] = {}
        for place, entry in page:
            for part in parts_of(entry):
                if part[0] == JOB:
                    jobs.add(part[1])
                else:
                    news.setdefault(part, []).append((place, entry))
        follower.follow(news, {})
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
