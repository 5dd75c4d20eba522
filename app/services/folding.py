"""Folding the book of a thing: from its last state, or from one that was kept before a place.

The states that are kept on the way stand closer together the younger they are, so that their
number grows with the logarithm of the book and a late entry folds little more than its own age.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.roomlog.kinds import Entry
from app.services.baths.checkpoints import superfluous
from app.services.entries import START, Place, after, before, entry_of, place_of
from app.store.tables import EntryRow, LinkRow, ThingCheckpointRow, ThingRow
from app.store.things import adapter

Named = tuple[str, str]
EVERY = 50  # entries between two states that are kept at first
MARKS_HELD = 256


@dataclass
class Run:
    """A thing on its way through its book: its state, where it stands, how many entries it took.

    Attributes:
        marks: the states on the way that are to be kept.
    """

    room_id: int
    named: Named
    state: Any
    place: Place = START
    entries: int = 0
    marks: list[tuple[int, Place, Any]] = field(default_factory=list)

    def take(self, pairs: Iterable[tuple[Place, Entry]]) -> None:
        """Take in entries, given in the order of truth."""
        apply = THINGS[self.named[0]].apply
        for place, entry in pairs:
            self.state = apply(self.state, entry)
            self.place = place
            self.entries += 1
            if self.entries % EVERY == 0:
                self.marks.append((self.entries, place, self.state))
                if len(self.marks) > MARKS_HELD:
                    self._thin_marks()

    def _thin_marks(self) -> None:
        counts = [(number, mark[0]) for number, mark in enumerate(self.marks)]
        dropped = set(superfluous(counts, self.entries))
        self.marks = [mark for number, mark in enumerate(self.marks) if number not in dropped]


def head(session: Session, room_id: int, named: Named) -> Run:
    """The run after the last entry that a thing has taken in."""
    row = session.get(ThingRow, (room_id, *named))
    return _begun(room_id, named) if row is None else _from(row, room_id, named)


def rewound(session: Session, room_id: int, named: Named, place: Place) -> Run:
    """The run at the last kept state before a place; those behind it are dropped."""
    run = last_before(session, room_id, named, place)
    drop_after(session, run, run.place)
    return run


def last_before(session: Session, room_id: int, named: Named, place: Place) -> Run:
    """The run at the last kept state before a place."""
    table = ThingCheckpointRow.__table__  # type: ignore[attr-defined]
    row = session.execute(
        table.select()
        .where(*_of(ThingCheckpointRow, room_id, named), before(ThingCheckpointRow, place))
        .order_by(col(ThingCheckpointRow.entries).desc())
        .limit(1)
    ).first()
    return _begun(room_id, named) if row is None else _from(row, room_id, named)


def drop_after(session: Session, run: Run, place: Place) -> None:
    """Drop the kept states of a run's thing behind a place."""
    table = ThingCheckpointRow.__table__  # type: ignore[attr-defined]
    of_thing = _of(ThingCheckpointRow, run.room_id, run.named)
    session.execute(delete(table).where(*of_thing, after(ThingCheckpointRow, place)))


def rest_of_book(session: Session, run: Run) -> Iterator[tuple[Place, Entry]]:
    """The entries behind a run that count, in the order of truth."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    query = (
        table.select()
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(
            *_of(LinkRow, run.room_id, run.named),
            after(LinkRow, run.place),
            col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )
    for row in session.execute(query):
        yield place_of(row), entry_of(row)


def keep(session: Session, run: Run) -> None:
    """Store a run as the thing's last state; a thing of which no entry counts is no more."""
    row = session.get(ThingRow, (run.room_id, *run.named))
    if run.entries == 0:
        if row is not None:
            session.delete(row)
        session.flush()
        return
    thing = THINGS[run.named[0]]
    values = {
        **vars(run.place), "is_open": thing.is_open(run.state), "entries": run.entries,
        "state": _json(run.named, run.state),
    }  # fmt: skip
    if row is None:
        row = ThingRow(room_id=run.room_id, thing=run.named[0], key=run.named[1], **values)
    for name, value in values.items():
        setattr(row, name, value)
    session.add(row)
    _keep_marks(session, run)
    session.flush()


def _keep_marks(session: Session, run: Run) -> None:
    """Store the states on the way, and drop all that stand closer than their age calls for."""
    if not run.marks:
        return
    of_thing = _of(ThingCheckpointRow, run.room_id, run.named)
    there = session.exec(select(ThingCheckpointRow.id, ThingCheckpointRow.entries).where(*of_thing))
    stored = [(key, count) for key, count in there if key is not None]
    new = {-number: mark for number, mark in enumerate(run.marks, 1)}
    counts = sorted([*stored, *((key, mark[0]) for key, mark in new.items())], key=lambda c: c[1])
    dropped = set(superfluous(counts, run.entries))
    if old := [key for key, _ in stored if key in dropped]:
        table = ThingCheckpointRow.__table__  # type: ignore[attr-defined]
        session.execute(delete(table).where(col(ThingCheckpointRow.id).in_(old)))
    rows = [
        {
            "room_id": run.room_id, "thing": run.named[0], "key": run.named[1],
            "entries": entries, **vars(place), "state": _json(run.named, state),
        }
        for key, (entries, place, state) in new.items()
        if key not in dropped
    ]  # fmt: skip
    if rows:
        session.execute(insert(ThingCheckpointRow), rows)
    run.marks.clear()


def _begun(room_id: int, named: Named) -> Run:
    return Run(room_id, named, THINGS[named[0]].start(named[1]))


def _from(row: Any, room_id: int, named: Named) -> Run:
    state = adapter(named[0]).validate_json(row.state)
    return Run(room_id, named, state, place_of(row), row.entries)


def _json(named: Named, state: Any) -> str:
    return adapter(named[0]).dump_json(state).decode()


def _of(table: Any, room_id: int, named: Named) -> tuple[Any, Any, Any]:
    return table.room_id == room_id, table.thing == named[0], table.key == named[1]
