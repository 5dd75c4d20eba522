"""Taking an import back: what it brought no longer counts, what it changed is as it was.

Each entry is withdrawn, or corrected back, by an entry of its own, so that the history says what
happened. What the room's rules keep (a hold, a signature, what later entries need) stays, and so
does what somebody has corrected since.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlmodel import Session, col, select

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import Entry, Resin, Tank, Withdrawal
from app.services.catching_up import Clock
from app.services.changes import Progress
from app.services.entries import entry_of
from app.services.guards import FIRSTS, GUARDS, standing_problems
from app.services.importing.storing import Origin, Stored, store_in_slices
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.imports import find_import, parts_of
from app.store.sessions import reading
from app.store.tables import EntryRow

SOME = 500
GUARDED = {kind.kind for kind in (*GUARDS, *FIRSTS)}
DEFINED = {Tank.kind: "tank", Resin.kind: "resin"}
REASONS = 3


@dataclass
class Plan:
    """What taking an import back comes to.

    Attributes:
        words: the entries that do it, in the order in which they are stored.
        kept: how many entries stay, by why.
    """

    words: list[Entry] = field(default_factory=list)
    kept: Counter[str] = field(default_factory=Counter)

    @property
    def message(self) -> str:
        """What stays and why; empty where nothing does."""
        if not self.kept:
            return ""
        count = self.kept.total()
        found = [f"{why.rstrip('.')} ({n:,})" for why, n in self.kept.most_common(REASONS)]
        stays = "1 entry stays" if count == 1 else f"{count:,} entries stay"
        return f"{stays}: {'; '.join(found)}."


def undo(
    store: Store, room: str, token: str, by: str, clock: Clock, progress: Progress | None = None
) -> Stored:
    """Take an import back; one that broke off is gone on with.

    Raises:
        NotFound: there is no such import, or it was taken back before.
        Stopped, Conflict: as `store_in_slices`.
    """
    with reading(store) as session:
        row = find_room(session, room)
        assert row.id is not None
        found = find_import(session, row.id, token)
        if found is None or found.undoes is not None or found.state == "undone":
            raise NotFound("This import does not exist or has already been taken back.")
        plan = planned(session, row.id, found, by, clock())
    origin = Origin(
        name=found.name, by=by, digest=f"undo-{found.id}", undoes=found.id,
        kept=plan.kept.total(), message=plan.message,
    )  # fmt: skip
    return store_in_slices(store, room, plan.words, origin, clock, progress)


def planned(session: Session, room_id: int, found: ImportRow, by: str, now: datetime) -> Plan:
    """What taking an import back comes to, as the room stands."""
    plan = Plan()
    rows: dict[str, Any] = {}
    brought, voiders = set[str](), list[str]()
    assert found.id is not None
    for row in _brought(session, room_id, parts_of(session, found.id)):
        brought.add(row.uid)
        if row.kind == Withdrawal.kind:
            plan.kept["a withdrawal is not withdrawn"] += 1
        elif row.voided_by is None:
            rows[row.uid] = row
        else:
            voiders.append(row.voided_by)
    if corrected := _corrections(session, room_id, set(voiders) - brought, found.id):
        plan.kept["corrected since"] = corrected
    _leave_what_stands(session, room_id, rows, by, now, plan)
    _leave_what_is_needed(session, room_id, rows, plan)
    before = _replaced(session, room_id, [r.corrects for r in rows.values() if r.corrects])
    ordered = sorted(rows.values(), key=lambda row: (row.kind in DEFINED, -row.id))
    for row in ordered:
        old = before.get(row.corrects or "")
        if old is not None and old.uid not in brought:
            plan.words.append(replace(entry_of(old), id=_new_id(), corrects=row.uid))
        else:
            note = f"Import of {found.name} taken back"
            plan.words.append(Withdrawal(at=now, id=_new_id(), by=by, note=note, withdraws=row.uid))
    return plan


def _new_id() -> str:
    return uuid4().hex


def _brought(session: Session, room_id: int, parts: Iterable[tuple[int, int]]) -> Iterator[Any]:
    """The rows of entries that came with an import."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    for first, last in parts:
        query = table.select().where(table.c.room_id == room_id, table.c.id.between(first, last))
        yield from session.execute(query.order_by(table.c.id))


def _corrections(session: Session, room_id: int, uids: set[str], import_id: int) -> int:
    """How many of these entries correct others; what an earlier run took back is left out."""
    ours = select(ImportPartRow.first_id, ImportPartRow.last_id).join(
        ImportRow, col(ImportRow.id) == col(ImportPartRow.import_id)
    )
    parts = session.exec(ours.where(ImportRow.undoes == import_id)).all()
    count = 0
    for some in _in_parts(sorted(uids)):
        query = select(EntryRow.id, EntryRow.kind).where(
            EntryRow.room_id == room_id, col(EntryRow.uid).in_(some)
        )
        count += sum(
            kind != Withdrawal.kind
            and not any(first <= (number or 0) <= last for first, last in parts)
            for number, kind in session.exec(query)
        )
    return count


def _leave_what_stands(
    session: Session, room_id: int, rows: dict[str, Any], by: str, now: datetime, plan: Plan
) -> None:
    """Leave what the room's rules keep, until nothing more has to stay for what stays."""
    guarded = [uid for uid, row in rows.items() if row.kind in GUARDED]
    while True:
        gone, left = frozenset(rows), []
        for uid in guarded:
            word = Withdrawal(at=now, by=by, withdraws=uid)
            if problems := standing_problems(session, room_id, word, by, now, gone):
                left.append(uid)
                plan.kept[problems[0].message] += 1
        if not left:
            return
        for uid in left:
            del rows[uid]
            guarded.remove(uid)


def _leave_what_is_needed(session: Session, room_id: int, rows: dict[str, Any], plan: Plan) -> None:
    """Leave tanks and resins that other entries need."""
    for uid, row in list(rows.items()):
        name = DEFINED.get(row.kind)
        if name is None:
            continue
        query = select(EntryRow.uid).where(
            EntryRow.room_id == room_id, getattr(EntryRow, name) == getattr(row, name),
            col(EntryRow.voided_by).is_(None),
        )  # fmt: skip
        others = session.exec(query.limit(len(rows) + 1))
        if any(other not in rows for other in others):
            del rows[uid]
            plan.kept[f"Other entries need this {name}"] += 1


def _replaced(session: Session, room_id: int, uids: Sequence[str]) -> dict[str, Any]:
    """The rows of what the import's corrections replaced."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    found: dict[str, Any] = {}
    for some in _in_parts(sorted(set(uids))):
        query = table.select().where(table.c.room_id == room_id, table.c.uid.in_(some))
        found |= {row.uid: row for row in session.execute(query)}
    return found


def _in_parts(uids: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(uids), SOME):
        yield uids[start : start + SOME]
