"""What a room has already of what a file tells: by its identity, or by the ids the file gives."""

import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from sqlmodel import Session, col, select

from app.domain.roomlog.identity import differing, identifying, known_values, things_of, values_of
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.instants import maybe_us, to_us
from app.store.tables import EntryRow

SOME = 400
MADE_HERE = "import-"  # how ids begin that an import gave to lines without one

Identity = tuple[str, tuple[str, ...], int]
TABLE: Any = EntryRow.__table__  # type: ignore[attr-defined]


def identity_of(entry: Entry) -> Identity:
    """What happened, to which thing, at which instant."""
    return entry.kind, things_of(entry), to_us(entry.at)


def differences(row: Any, entry: Entry) -> tuple[str, ...]:
    """The names of what an entry says otherwise than one that is stored."""
    header = {
        "at": (row.at_us, to_us(entry.at)),
        "by": (row.by, entry.by),
        "note": (row.note, entry.note),
        "entered_at": (row.entered_at_us, maybe_us(entry.entered_at)),
    }
    found = [name for name, (old, new) in header.items() if old != new]
    stored = known_values(row.kind, json.loads(row.fields))
    return (*found, *differing(stored, values_of(entry)))


@dataclass
class Slot:
    """One thing that happened, as the room knows it: an entry and all that corrected it.

    Attributes:
        versions: the rows, oldest first.
        brought: the last of them that an import brought, or brought back; else the first.
        import_ids: the imports that brought any of them.
        is_brought: an import brought it.
        is_withdrawn: it no longer counts.
        is_undone: it no longer counts because the import that brought it was taken back.
    """

    versions: list[Any]
    brought: Any
    import_ids: frozenset[int]
    is_brought: bool
    is_withdrawn: bool
    is_undone: bool

    @property
    def current(self) -> Any:
        """The last version."""
        return self.versions[-1]

    def says(self, entry: Entry) -> bool:
        """Whether an entry says what was brought in, or what counts now."""
        return not differences(self.brought, entry) or not differences(self.current, entry)


@dataclass
class Stored:
    """What a room has of what a file tells.

    Attributes:
        by_identity: what happened to the same thing at the same instant.
        by_uid: what has the ids of the file's lines.
    """

    by_identity: dict[Identity, list[Slot]] = field(default_factory=dict)
    by_uid: dict[str, Slot] = field(default_factory=dict)


class Parts:
    """Which import brought which entries."""

    def __init__(self, session: Session, room_id: int) -> None:
        query = (
            select(ImportPartRow.first_id, ImportPartRow.last_id, ImportRow.id, ImportRow.undoes)
            .join(ImportRow, col(ImportRow.id) == col(ImportPartRow.import_id))
            .where(ImportRow.room_id == room_id)
            .order_by(col(ImportPartRow.first_id))
        )
        self._rows = session.exec(query).all()
        self._firsts = [first for first, *_ in self._rows]

    def of(self, entry_id: int) -> tuple[int | None, bool]:
        """The import of an entry's number, None where there is none; whether it undid another."""
        place = bisect_right(self._firsts, entry_id) - 1
        if place >= 0 and entry_id <= self._rows[place][1]:
            _, _, import_id, undoes = self._rows[place]
            return import_id, undoes is not None
        return None, False


def stored(session: Session, room_id: int, entries: Sequence[Entry]) -> Stored:
    """What the room has of what these entries tell: of those without an id by their identity."""
    unnamed = {identity_of(entry) for entry in entries if not entry.id}
    named = [entry.id for entry in entries if entry.id]
    rows = {row.uid: row for row in _by_identity(session, room_id, unnamed)}
    found = {uid for uid in rows if _identity_of_row(rows[uid]) in unnamed}
    rows = {uid: rows[uid] for uid in found}
    by_uid = {row.uid: row for row in _by_uid(session, room_id, named)}
    rows |= by_uid
    _whole_chains(session, room_id, rows)
    parts = Parts(session, room_id)
    slots = _slots(rows, parts)
    answer = Stored(by_uid={uid: slots[uid] for uid in by_uid})
    seen: set[tuple[int, Identity]] = set()
    for uid in sorted(found, key=lambda uid: rows[uid].id):
        slot, identity = slots[uid], _identity_of_row(rows[uid])
        if (id(slot), identity) not in seen:
            seen.add((id(slot), identity))
            answer.by_identity.setdefault(identity, []).append(slot)
    return answer


def gone(session: Session, room_id: int, matched: Iterable[Slot], kinds: set[str]) -> int:
    """How many entries of the imports that brought the matched ones the file does not tell of.

    Of what was brought in before imports were noted, those of the kinds that the file holds.
    """
    slots = list(matched)
    told = {row.uid for slot in slots for row in slot.versions}
    imports = sorted({number for slot in slots for number in slot.import_ids})
    is_counting = TABLE.c.room_id == room_id, TABLE.c.voided_by.is_(None)
    count = 0
    for number in imports:
        parts = select(ImportPartRow.first_id, ImportPartRow.last_id).where(
            ImportPartRow.import_id == number
        )
        for first, last in session.exec(parts).all():
            query = select(EntryRow.uid).where(
                *is_counting, TABLE.c.id.between(first, last), TABLE.c.kind != Withdrawal.kind
            )
            count += sum(uid not in told for uid in session.exec(query))
    if any(_is_of_old(slot, row) for slot in slots for row in slot.versions):
        older = select(EntryRow.uid, EntryRow.id).where(
            *is_counting, TABLE.c.kind.in_(kinds), TABLE.c.uid.like(f"{MADE_HERE}%")
        )
        noted = Parts(session, room_id)
        count += sum(
            uid not in told and noted.of(number or 0)[0] is None
            for uid, number in session.exec(older)
        )
    return count


def _is_of_old(slot: Slot, row: Any) -> bool:
    return not slot.import_ids and row.uid.startswith(MADE_HERE)


def _identity_of_row(row: Any) -> Identity:
    fields = json.loads(row.fields)
    return row.kind, tuple(str(fields.get(name)) for name in identifying(row.kind)), row.at_us


def _by_identity(session: Session, room_id: int, wanted: set[Identity]) -> Iterator[Any]:
    instants: dict[str, set[int]] = {}
    for kind, _, at_us in wanted:
        instants.setdefault(kind, set()).add(at_us)
    for kind, times in instants.items():
        for some in _in_parts(sorted(times)):
            query = TABLE.select().where(
                TABLE.c.room_id == room_id, TABLE.c.kind == kind, TABLE.c.at_us.in_(some)
            )
            yield from session.execute(query)


def _by_uid(session: Session, room_id: int, uids: Iterable[str]) -> Iterator[Any]:
    for some in _in_parts(uids):
        yield from session.execute(
            TABLE.select().where(TABLE.c.room_id == room_id, TABLE.c.uid.in_(some))
        )


def _in_parts(values: Iterable[Any]) -> Iterator[list[Any]]:
    left = iter(values)
    while some := list(islice(left, SOME)):
        yield some


def _whole_chains(session: Session, room_id: int, rows: dict[str, Any]) -> None:
    """Read what corrected or withdrew these rows, and what they corrected, as far as it goes."""
    while True:
        linked = {uid for row in rows.values() for uid in (row.corrects, row.voided_by) if uid}
        missing = sorted(linked - rows.keys())
        if not missing:
            return
        before = len(rows)
        rows |= {row.uid: row for row in _by_uid(session, room_id, missing)}
        if len(rows) == before:
            return


def _slots(rows: Mapping[str, Any], parts: Parts) -> dict[str, Slot]:
    """The slot of each row that tells of something."""
    found: dict[str, Slot] = {}
    for row in rows.values():
        if row.uid in found or (row.corrects and row.corrects in rows):
            continue
        versions, end = [row], rows.get(row.voided_by or "")
        while end is not None and end.corrects == versions[-1].uid:
            versions.append(end)
            end = rows.get(end.voided_by or "")
        slot = _slot(versions, end, parts)
        for version in versions:
            found[version.uid] = slot
    return found


def _slot(versions: list[Any], end: Any, parts: Parts) -> Slot:
    """`end` is the withdrawal behind the last version, if there is one."""
    origins = [parts.of(row.id) for row in versions]
    is_from = [number is not None or row.uid.startswith(MADE_HERE)
               for (number, _), row in zip(origins, versions, strict=True)]  # fmt: skip
    last = max((place for place, is_ in enumerate(is_from) if is_), default=0)
    return Slot(
        versions=versions,
        brought=versions[last],
        import_ids=frozenset(
            number for number, is_undo in origins if number is not None and not is_undo
        ),
        is_brought=any(is_from),
        is_withdrawn=versions[-1].voided_by is not None,
        is_undone=end is not None and parts.of(end.id)[1],
    )
