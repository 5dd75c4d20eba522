"""Keeping the roll-ups of costs in step with the log, in the transaction that changes it.

New entries move only their own parts on, from the state that each was left in. A late, corrected or
withdrawn one has its part followed from the end of the week before it until the state at a week's
end is again the one that was kept. What all lines rest on (rates, solvents) changes them from then
on. The result is that of reading the whole log again.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any, ClassVar

from sqlalchemy import bindparam, delete, update
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Entry
from app.domain.spend.cost_folds import COSTED, JOB, PartName, parts_of
from app.domain.spend.price_book import Basis, first_change
from app.services.baths.states import first_of_baths
from app.services.changes import Changes, Progress
from app.services.entries import START, Place, after, entry_of, place_of
from app.services.projecting import Write
from app.services.spend.basis import basis_after, basis_from, basis_text, whole_basis
from app.services.spend.calendar import calendar_of
from app.services.spend.following import FORMAT, Follower
from app.services.spend.jobs import keep_jobs
from app.services.spend.washes import keep_parts, keep_washes, rebuild_parts
from app.store.engine import Store
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
TABLES = (SpendHeadRow, SpendLineRow, SpendPartsRow, SpendStateRow, SpendWashRow, SpendWeekRow)
PAGE = 5000


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
