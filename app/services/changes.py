"""What a write changes: the entries that count from now on, and those that no longer do."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Entry, Withdrawal
from app.services.entries import Place, entry_of, place_of
from app.store.tables import EntryRow

SOME = 400

Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and of how much."""


@dataclass(frozen=True, slots=True)
class Told:
    """An entry, its place in the order of truth, and the number of its row."""

    place: Place
    entry: Entry
    id: int


@dataclass(frozen=True)
class Changes:
    """What a write changes.

    Attributes:
        news: entries that count from now on.
        void: entries that were replaced or taken back together with being said.
        gone: earlier entries that no longer count.
    """

    news: Sequence[Told] = ()
    void: Sequence[Told] = ()
    gone: Sequence[Told] = ()

    @property
    def entries(self) -> Iterator[Entry]:
        """All that are new or gone."""
        return (told.entry for some in (self.news, self.void, self.gone) for told in some)


def changes_of(session: Session, room_id: int, entries: Sequence[Entry]) -> Changes:
    """What entries that were just appended change."""
    by_id = {entry.id: entry for entry in entries}
    news: list[Told] = []
    void: list[Told] = []
    columns = (EntryRow.uid, EntryRow.id, EntryRow.voided_by, EntryRow.moment_us, EntryRow.rank,
               EntryRow.sequence)  # fmt: skip
    for some in _some(by_id):
        query = select(*columns).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))  # type: ignore[call-overload]
        for uid, number, voided_by, *place in session.exec(query):
            told = Told(Place(*place), by_id[uid], number)
            (news if voided_by is None else void).append(told)
    targets = dict.fromkeys(target for entry in entries if (target := target_of(entry)))
    gone = told_of(session, room_id, [uid for uid in targets if uid not in by_id])
    return Changes(news, void, gone)


def told_of(session: Session, room_id: int, uids: Iterable[str]) -> list[Told]:
    """The entries of these ids, whether they count or not."""
    found = []
    for some in _some(uids):
        query = select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        found += [Told(place_of(row), entry_of(row), row.id or 0) for row in session.exec(query)]
    return found


def target_of(entry: Entry) -> str:
    """The entry that one replaces or takes back; empty where it does neither."""
    return entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects


def _some(uids: Iterable[str]) -> Iterator[list[str]]:
    wanted = iter(uids)
    while some := list(islice(wanted, SOME)):
        yield some
