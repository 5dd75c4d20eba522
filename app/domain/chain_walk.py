"""Walking along the chain of a log: the first row that is not what was stored, in words."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.chain import Anchor, beginning, digest_after, marked_by

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Link:
    """What the chain keeps of a row: its number, its id, its digest."""

    number: int
    uid: str
    digest: bytes


@dataclass(frozen=True)
class Room:
    """What is known of a room's log besides its rows and links.

    Attributes:
        entries: how many the program has stored in it.
        number, digest: the end of the chain as it is kept.
        has_entry: whether a row with this id is in the room.
        has_link: whether the chain has a link to this id.
    """

    key: str
    entries: int
    number: int
    digest: bytes
    has_entry: Callable[[str], bool]
    has_link: Callable[[str], bool]


@dataclass(frozen=True)
class Walked:
    """How far a walk came: up to the end where nothing is wrong.

    Attributes:
        count: rows that are as they were stored.
        wrong: what is not, in words; empty where all is well.
        is_anchored: the log contains the anchor that was asked for; None where none was, or the
            walk did not come so far.
    """

    count: int
    wrong: str = ""
    is_anchored: bool | None = None


def walk(
    room: Room, rows: Iterable[Row], links: Iterable[Link], anchor: Anchor | None = None
) -> Walked:
    """Follow the chain from the first row on: rows in the order of their numbers in the database.

    Each row has the columns that are covered, and `voided_by`, the mark on it.
    """
    return _Walk(room, iter(rows), iter(links), anchor, beginning(room.key)).go()


@dataclass
class _Walk:
    room: Room
    rows: Iterator[Row]
    links: Iterator[Link]
    anchor: Anchor | None
    digest: bytes
    count: int = 0
    is_anchored: bool | None = None
    waiting: dict[str, str] = field(default_factory=dict)  # marked rows, by whom

    def go(self) -> Walked:
        while True:
            row, link = next(self.rows, None), next(self.links, None)
            if row is None and link is None:
                break
            if wrong := self._step(row, link):
                return Walked(self.count, wrong, self.is_anchored)
        return Walked(self.count, self._at_the_end(), self.is_anchored)

    def _step(self, row: Row | None, link: Link | None) -> str:
        """Take a row and its link in; what is wrong with them."""
        number = self.count + 1
        if link is None:
            assert row is not None
            return self._unlinked(row, number)
        if link.number != number:
            return self._gap(row, link, number)
        if row is None:
            return f"Entry {number:,} (id {link.uid}) was removed."
        if row["uid"] != link.uid:
            return self._mismatch(row, link)
        digest = digest_after(self.digest, number, row)
        if digest != link.digest:
            return f"Entry {number:,}, {_called(row)}, was changed after it was stored."
        self.digest, self.count = digest, number
        if self.anchor is not None and self.anchor.number == number:
            self.is_anchored = self.anchor.fits(digest)
        return self._marks(row)

    def _unlinked(self, row: Row, number: int) -> str:
        if number <= self.room.number:
            return f"The chain has lost its end: the digest of entry {number:,} was removed."
        return (
            f"An entry was inserted outside the program: {_called(row)}, "
            f"behind entry {number - 1:,}."
        )

    def _gap(self, row: Row | None, link: Link, number: int) -> str:
        if row is None or row["uid"] == link.uid:
            return f"Entry {number:,} was removed, and its digest with it."
        return f"The digest of entry {number:,}, {_called(row)}, was removed."

    def _mismatch(self, row: Row, link: Link) -> str:
        """Another row is where the one of the link should be."""
        is_there, is_linked = self.room.has_entry(link.uid), self.room.has_link(row["uid"])
        if is_there and is_linked:
            return f"Entry {link.number:,} was moved: in its place is {_called(row)}."
        if is_there:
            return (
                f"An entry was inserted outside the program: {_called(row)}, behind entry "
                f"{link.number - 1:,}."
            )
        if is_linked:
            return f"Entry {link.number:,} (id {link.uid}) was removed."
        return f"Entry {link.number:,} (id {link.uid}) was replaced: there is {_called(row)}."

    def _marks(self, row: Row) -> str:
        """Hold the mark on a row against the row that sets it."""
        if row["voided_by"] is not None:
            self.waiting[row["uid"]] = row["voided_by"]
        target = marked_by(row)
        if target is None:
            return ""
        by = self.waiting.pop(target, None)
        if by == row["uid"]:
            return ""
        return (
            f"The mark on the entry with id {target} was changed: entry {self.count:,}, "
            f"{_called(row)}, replaces or withdraws it."
        )

    def _at_the_end(self) -> str:
        if self.waiting:
            uid, by = next(iter(self.waiting.items()))
            return (
                f"The entry with id {uid} is marked as replaced or withdrawn by {by}, and no such "
                "entry says so."
            )
        missing = max(self.room.entries, self.room.number) - self.count
        if missing > 0:
            last = "The last entry was" if missing == 1 else f"The last {missing:,} entries were"
            return f"{last} removed, behind entry {self.count:,}."
        if (self.room.number, self.room.digest) != (self.count, self.digest):
            return (
                "The end of the chain was changed: its last digest is not that of the last entry."
            )
        return ""


def _called(row: Row) -> str:
    """What a row is known by, in a few words.

    >>> _called({"kind": "top_up", "at_us": 1_772_437_200_000_000, "uid": "t1"})
    'top up of 2026-03-02 07:40 UTC (id t1)'
    """
    try:
        at = f"{EPOCH + timedelta(microseconds=row['at_us']):%Y-%m-%d %H:%M} UTC"
    except OverflowError:
        at = "an impossible time"
    return f"{row['kind'].replace('_', ' ')} of {at} (id {row['uid']})"
