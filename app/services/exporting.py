"""Handing a room's whole log out: as JSON Lines, or as one table."""

import csv
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

from sqlmodel import col, select

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.lines import to_line
from app.domain.roomlog.rows import row_of, titles
from app.services.entries import entry_of
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import EntryRow

PAGE = 2000


def log_lines(store: Store, room_id: int) -> Iterator[str]:
    """Every entry as a line of JSON with its break, corrected and withdrawn ones too.

    They come in the order in which they were recorded, so that each stands behind what it
    corrects, and an import into an empty room gives the same log.
    """
    for entry in recorded(store, room_id):
        yield to_line(entry) + "\n"


def log_table(store: Store, room_id: int) -> Iterator[str]:
    """The same entries as lines of a table of comma-separated values, its titles first."""
    writer = csv.writer(_Lines(), lineterminator="\r\n")
    yield writer.writerow(titles())
    for entry in recorded(store, room_id):
        yield writer.writerow(row_of(entry))


def in_blocks(lines: Iterator[str]) -> Iterator[str]:
    """The same text in pieces of many lines: each piece that is sent costs a change of threads."""
    while block := "".join(islice(lines, PAGE)):
        yield block


class _Lines:
    """What `csv.writer` writes to: hands each line back."""

    def write(self, line: str) -> Any:
        return line


def recorded(store: Store, room_id: int) -> Iterator[Entry]:
    """Every entry of the room in the order of recording, read a page at a time.

    Entries are only ever added behind, so that pages fit together although each is read in a
    session of its own: whoever takes the log slowly holds no connection meanwhile.
    """
    last = 0
    while rows := _page_after(store, room_id, last):
        for row in rows:
            yield entry_of(row)
        last = rows[-1].id or 0


def _page_after(store: Store, room_id: int, last: int) -> Sequence[EntryRow]:
    with reading(store) as session:
        return session.exec(
            select(EntryRow)
            # The sum keeps an index of the room from being taken, and sorted for each page.
            .where(EntryRow.room_id + 0 == room_id, col(EntryRow.id) > last)
            .order_by(col(EntryRow.id))
            .limit(PAGE)
        ).all()
