"""Holding what a file tells against what the room has: what is new, changed, there already, gone.

A line without an id is known again by what happened to which thing at which instant; of several
that are alike in this, equal ones first, then the others in their order. A line that says otherwise
than when it was last brought in becomes a correction. What somebody corrected here meanwhile stays
as long as the file says what it said.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.lines import to_line, to_mapping
from app.services.entries import entry_of, stored_ids
from app.services.importing.chains import target_of
from app.services.importing.slots import (
    MADE_HERE,
    Identity,
    Slot,
    differences,
    gone,
    identity_of,
    stored,
)

SHOWN_CHANGES = 50


@dataclass(frozen=True)
class Change:
    """A line that says otherwise than what the room has.

    Attributes:
        was, now: the entry as it counts, and as the file has it.
        names: of what differs.
        by_hand: who corrected it here since it was brought in; empty where nobody did.
    """

    line: int
    was: Entry
    now: Entry
    names: tuple[str, ...]
    by_hand: str = ""

    def values(self) -> Iterator[tuple[str, str, str]]:
        """Name by name, what was and what will be."""
        was, now = to_mapping(self.was), to_mapping(self.now)
        for name in self.names:
            yield name, _shown(was.get(name)), _shown(now.get(name))


def _shown(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)


@dataclass
class Matched:
    """What a file comes to.

    Attributes:
        entries: by line, what is to be stored.
        refused: by line, why it cannot be.
        changed_lines: those that correct what the room has.
        unchanged: how many say what the room has.
        gone: entries that came with the file before, and are no longer in it.
        changes: the first of the changes.
    """

    entries: dict[int, Entry] = field(default_factory=dict)
    refused: dict[int, FieldError] = field(default_factory=dict)
    changed_lines: set[int] = field(default_factory=set)
    unchanged: int = 0
    gone: int = 0
    changes: list[Change] = field(default_factory=list)
    met: list[Slot] = field(default_factory=list)
    again: dict[str, str] = field(default_factory=dict)

    @property
    def told(self) -> frozenset[str]:
        """Ids of what the room has already that the file tells of."""
        return frozenset(row.uid for slot in self.met for row in slot.versions)

    def leave(self, slot: Slot) -> None:
        """A line that says what is there already."""
        self.unchanged += 1
        self.met.append(slot)

    def correct(self, line: int, entry: Entry, slot: Slot) -> None:
        """A line that says otherwise than what counts."""
        row = slot.current
        names = differences(row, entry)
        text = to_line(replace(entry, id="", corrects=row.uid))
        uid = MADE_HERE + sha256(text.encode()).hexdigest()[:24]
        now = replace(entry, id=uid, corrects=row.uid)
        self.entries[line] = now
        self.changed_lines.add(line)
        self.met.append(slot)
        if len(self.changes) < SHOWN_CHANGES:
            is_by_hand = row.id > slot.brought.id
            who = (row.by or "somebody") if is_by_hand else ""
            self.changes.append(Change(line, entry_of(row), now, names, who))

    def add(self, line: int, entry: Entry) -> None:
        """A line that is new."""
        self.entries[line] = entry


def matched(session: Session, room_id: int, entries: dict[int, Entry]) -> Matched:
    """What the lines of a file come to in the room as it stands."""
    lines = _named(entries)
    known = stored(session, room_id, list(lines.values()))
    found = Matched()
    groups: dict[Identity, list[tuple[int, Entry]]] = {}
    for line, entry in lines.items():
        if not entry.id:
            groups.setdefault(identity_of(entry), []).append((line, entry))
    for line, entry, uid, slot in _by_ids(session, room_id, lines, known.by_uid):
        if slot is None:
            if uid != entry.id:
                found.again[entry.id] = uid
            found.add(line, entry)
        else:
            _by_id(found, line, entry, uid, slot)
    fresh: list[tuple[int, Entry]] = []
    for identity, rows in groups.items():
        fresh += _by_identity(found, rows, known.by_identity.get(identity, []))
    for line, entry in _with_ids(session, room_id, fresh, found):
        found.add(line, entry)
    _follow_new_ids(found)
    kinds = {entry.kind for entry in lines.values()}
    found.gone = gone(session, room_id, found.met, kinds) if found.met else 0
    return found


def _named(entries: dict[int, Entry]) -> dict[int, Entry]:
    """Give corrections and withdrawals without an id one that the same line gets again."""
    seen: Counter[str] = Counter()
    named = {}
    for line, entry in entries.items():
        if not entry.id and target_of(entry):
            text = to_line(entry)
            seen[text] += 1
            digest = sha256(f"{seen[text]} {text}".encode()).hexdigest()
            entry = replace(entry, id=f"{MADE_HERE}{digest[:24]}")  # noqa: PLW2901
        named[line] = entry
    return named


def _by_ids(
    session: Session, room_id: int, lines: dict[int, Entry], known: dict[str, Slot]
) -> Iterable[tuple[int, Entry, str, Slot | None]]:
    """Each line with an id, the id that stands for it here, and what the room has under that.

    What was taken back with its import is entered anew under the next number.
    """
    waiting = [(line, entry, entry.id) for line, entry in lines.items() if entry.id]
    number = 1
    while waiting:
        number += 1
        undone = []
        for line, entry, uid in waiting:
            slot = known.get(uid)
            if slot is not None and slot.is_undone:
                undone.append((line, entry, f"{entry.id[:58]}.{number}"))
            else:
                yield line, entry, uid, slot
        waiting = undone
        known = stored(session, room_id, [replace(e, id=uid) for _, e, uid in waiting]).by_uid


def _by_id(found: Matched, line: int, entry: Entry, uid: str, slot: Slot) -> None:
    """A line whose id the room has."""
    own = next(row for row in slot.versions if row.uid == uid)
    if own.kind != entry.kind:
        message = f"The room has a {own.kind} with the id “{entry.id}”."
        found.refused[line] = FieldError("id", message)
    elif not differences(own, entry) or slot.says(entry):
        found.leave(slot)
    elif isinstance(entry, Withdrawal):
        message = f"The room has a withdrawal with the id “{entry.id}” with different values."
        found.refused[line] = FieldError("id", message)
    elif slot.is_withdrawn:
        message = f"“{entry.id}” was withdrawn here. To enter it again, give the line another id."
        found.refused[line] = FieldError("id", message)
    else:
        found.correct(line, entry, slot)


def _by_identity(
    found: Matched, rows: Sequence[tuple[int, Entry]], slots: Sequence[Slot]
) -> list[tuple[int, Entry]]:
    """Lines that tell of the same, against what the room has of it; those that are new."""
    free = [slot for slot in slots if not slot.is_undone]
    free.sort(key=lambda slot: (slot.is_withdrawn, slot.current.id))
    left = []
    for line, entry in rows:
        slot = next((slot for slot in free if slot.says(entry)), None)
        if slot is None:
            left.append((line, entry))
        else:
            free.remove(slot)
            found.leave(slot)
    others = [slot for slot in free if slot.is_brought and not slot.is_withdrawn]
    for (line, entry), slot in zip(left, others, strict=False):
        found.correct(line, entry, slot)
    return left[len(others) :]


def _with_ids(
    session: Session, room_id: int, fresh: Sequence[tuple[int, Entry]], found: Matched
) -> Iterable[tuple[int, Entry]]:
    """Give new lines ids made of what they tell of, and a number among those alike."""
    taken = {entry.id for entry in found.entries.values()}
    counts: Counter[Identity] = Counter()
    waiting: list[tuple[int, Entry]] = list(fresh)
    done: dict[int, Entry] = {}
    while waiting:
        for line, entry in waiting:
            identity = identity_of(entry)
            uid = ""
            while not uid or uid in taken:
                counts[identity] += 1
                uid = _id_of(identity, counts[identity])
            taken.add(uid)
            done[line] = replace(entry, id=uid)
        there = stored_ids(session, room_id, [done[line].id for line, _ in waiting])
        waiting = [(line, entry) for line, entry in waiting if done[line].id in there]
    return [(line, done[line]) for line, _ in fresh]


def _id_of(identity: Identity, number: int) -> str:
    kind, things, at_us = identity
    text = "|".join((kind, *things, str(at_us), str(number)))
    return MADE_HERE + sha256(text.encode()).hexdigest()[:24]


def _follow_new_ids(found: Matched) -> None:
    """Give what was taken back before its new id, and name it so where others act on it."""
    for line, entry in found.entries.items():
        changes: dict[str, Any] = {}
        if entry.id in found.again:
            changes["id"] = found.again[entry.id]
        name = "withdraws" if isinstance(entry, Withdrawal) else "corrects"
        if (target := target_of(entry)) in found.again:
            changes[name] = found.again[target]
        if changes:
            found.entries[line] = replace(entry, **changes)
