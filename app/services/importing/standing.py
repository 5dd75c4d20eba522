"""What is held here stays held: a file tells what was, and lifts nothing that applies now.

Time alone does not decide it. A release in a file may be dated after a hold and still know nothing
of it: the hold was entered late, or the clock behind the file is wrong. So what the file would
leave of each hold is worked out, and a line that takes one away does not fit. A lead releases on
the page of what is held. A hold that an import brought is lifted by a file that tells of both.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.errors import FieldError
from app.domain.folds import Key
from app.domain.holds import CONTENTS
from app.domain.roomlog.history import moment, rank
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import HOLD, INCIDENT, PROBLEM_WORDS
from app.domain.roomlog.kinds.site import CREW
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.things import fold
from app.domain.waste.streams import STREAMS
from app.services.books import BOOKS
from app.services.changes import Told
from app.services.crew import namers, roles_of_namers
from app.services.entries import START, Place, entry_of
from app.services.importing.chains import target_of
from app.services.importing.slots import MADE_HERE, Parts
from app.store.instants import to_us
from app.store.naming import names_of_tanks
from app.store.tables import EntryRow
from app.store.things import thing

SOME = 400
STREAM = "stream"
"""What is in a drum in quarantine: a lead says it anew, after a test."""
BEHIND = 2**62  # a line of a file comes after what the room has of the same instant


def _of_hold(state: Any) -> dict[Any, str]:
    hold = getattr(state, "hold", state)
    mine = (one for one in hold.holds if one.cause != CONTENTS)  # an answer lifts that
    return {(one.since_at, one.cause, one.reason): one.reason for one in mine}


def _of_drum(state: Any) -> dict[Any, str]:
    if not state.is_quarantined:
        return {}
    stream = () if state.is_empty else (state.stream,)
    return {"quarantine": state.quarantine_reason} | {
        (STREAM, key): f"holds {STREAMS[key].name}" for key in stream
    }


def _of_lots(state: Any) -> dict[Any, str]:
    return {lot.lot: f"lot {lot.lot}, {lot.reason}" for lot in state.held_lots}


def _of_incident(state: Any) -> dict[Any, str]:
    is_open = bool(state.problem) and not state.is_closed
    return {"open": PROBLEM_WORDS[state.problem]} if is_open else {}


def _of_crew(state: Any) -> dict[Any, str]:
    return {roles_of_namers(state): ", ".join(namers(state))} if state.leads else {}


STANDING: Mapping[str, Callable[[Any], dict[Any, str]]] = {
    HOLD: _of_hold, STATION: _of_hold, DRUM: _of_drum, ITEM: _of_lots, INCIDENT: _of_incident,
    CREW: _of_crew,
}  # fmt: skip
"""What of a thing only a lead lifts, in words."""


@dataclass(frozen=True)
class Lift:
    """A line that takes a hold away, and what that hold is in words; none of a lead."""

    line: int
    error: FieldError
    words: str


def lifting(
    session: Session, room_id: int, entries: Mapping[int, Entry], told: Iterable[str]
) -> list[Lift]:
    """The lines of a file that would lift what is held here.

    A line that changes who is lead or manager is one too: they say what is lifted.

    Args:
        entries: by line, what is to be stored.
        told: ids of what the room has already that the file tells of again.
    """
    lines = _lines_of_things(session, room_id, entries)
    if not lines:
        return []
    tanks, again, parts = names_of_tanks(session, room_id), frozenset(told), Parts(session, room_id)
    found: list[Lift] = []
    for key, own in lines.items():
        state = thing(session, room_id, *key)
        if state is not None and STANDING[key[0]](state):
            name = tanks.get(key[1]) if key[0] == HOLD else getattr(state, "name", "")
            rows = list(BOOKS.source.after(session, room_id, key, START))
            book = _Book(key, name or "", rows, entries)
            found += book.lifts(state, own, again, parts)
    return found


def _lines_of_things(
    session: Session, room_id: int, entries: Mapping[int, Entry]
) -> dict[Key, list[int]]:
    before = targets(session, room_id, entries.values())
    found: dict[Key, list[int]] = {}
    for line, entry in entries.items():
        old = before.get(target_of(entry))
        for key in dict.fromkeys((*entry.things(), *(old.things() if old else ()))):
            if key[0] in STANDING:
                found.setdefault(key, []).append(line)
    return found


def targets(session: Session, room_id: int, entries: Iterable[Entry]) -> dict[str, Entry]:
    """What the room has of what these entries correct or withdraw, by id."""
    wanted = sorted({target for entry in entries if (target := target_of(entry))})
    found: dict[str, Entry] = {}
    for start in range(0, len(wanted), SOME):
        some = wanted[start : start + SOME]
        rows = session.exec(
            select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        )
        found |= {row.uid: entry_of(row) for row in rows}
    return found


@dataclass(frozen=True)
class _Book:
    """What the room has of one thing, and the lines of the file."""

    key: Key
    name: str
    rows: Sequence[Told]
    entries: Mapping[int, Entry]

    def lifts(
        self, state: Any, own: Sequence[int], told: frozenset[str], parts: Parts
    ) -> Iterator[Lift]:
        """The lines that take away what is held now."""
        standing = STANDING[self.key[0]]
        here = [row for row in self.rows if not is_of_file(row, told, parts)]
        alone = standing(self._fold(here, ()))
        kept = {name: words for name, words in standing(state).items() if name in alone}
        if not self._lost(kept, own):
            return
        left = list(own)
        for line in own:
            if lost := self._lost(kept, [line]):
                left.remove(line)
                yield self._lift(line, lost)
        if lost := self._lost(kept, left):  # only together
            yield from (self._lift(line, lost) for line in left)

    def _lost(self, kept: Mapping[Any, str], lines: Sequence[int]) -> list[str]:
        after = self._fold(self.rows, lines)
        still = STANDING[self.key[0]](after)
        lost = {name: words for name, words in kept.items() if name not in still}
        if self.key[0] == DRUM and after.is_empty:  # so its stream is said by nobody
            lost = {name: words for name, words in lost.items() if name == "quarantine"}
        return list(lost.values())

    def _fold(self, rows: Sequence[Told], lines: Sequence[int]) -> Any:
        """The thing after what counts of these rows and lines, in the order of truth."""
        said = [self.entries[line] for line in lines]
        gone = {target_of(entry) for entry in said}
        there = {row.entry.id: row.place for row in rows}
        placed = [(row.place, row.entry) for row in rows if row.entry.id not in gone]
        for entry in said:
            is_other = isinstance(entry, Withdrawal) or self.key not in entry.things()
            if is_other or entry.id in there or entry.id in gone:
                continue
            old = there.get(entry.corrects)
            sequence = old.sequence if old is not None else BEHIND
            placed.append((Place(to_us(moment(entry)), rank(entry), sequence), entry))
        placed.sort(key=lambda one: one[0])
        return fold(THINGS[self.key[0]], self.key[1], (entry for _, entry in placed))

    def _lift(self, line: int, lost: Sequence[str]) -> Lift:
        words = "; ".join(one.rstrip(".") for one in lost)
        if self.key[0] == CREW:
            message = f"This changes who is lead or manager here ({words}). One of them enters it."
            return Lift(line, FieldError("role", message, "a lead names a lead"), "")
        act = "closes it" if self.key[0] == INCIDENT else "releases it"
        is_word = isinstance(self.entries[line], Withdrawal)
        name = "withdraws" if is_word else "lot" if self.key[0] == ITEM else _FIELDS[self.key[0]]
        what = f"{self.name}, {words}" if self.name else words
        message = f"This lifts what applies now: {what}. A lead {act} on its page."
        return Lift(line, FieldError(name, message, "a file lifts no hold"), what)


_FIELDS = {HOLD: "tank", STATION: "station", DRUM: "drum", INCIDENT: "incident"}


def is_of_file(row: Told, told: frozenset[str], parts: Parts) -> bool:
    """An import brought it, and this file tells of it again."""
    uid = row.entry.id
    is_brought = uid.startswith(MADE_HERE) or parts.of(row.id)[0] is not None
    return uid in told and is_brought
