"""Corrections and withdrawals within a file: what they act on, and an order that lets them."""

from collections.abc import Mapping, Sequence

from sqlmodel import Session, col, select

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.store.tables import EntryRow

_PART = 500


def target_of(entry: Entry) -> str:
    """Id of the entry that this one replaces or withdraws, or empty."""
    return entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects


def in_order(entries: Sequence[Entry]) -> list[Entry]:
    """The same entries, each behind the one it corrects, otherwise in the order given."""
    by_id = {entry.id: entry for entry in entries if entry.id}
    done: set[int] = set()
    ordered: list[Entry] = []
    for entry in entries:
        chain = [entry]
        while (target := by_id.get(target_of(chain[-1]))) is not None and id(target) not in done:
            chain.append(target)
        for link in reversed(chain):
            if id(link) not in done:
                done.add(id(link))
                ordered.append(link)
    return ordered


def broken_links(
    entries: Mapping[int, Entry], session: Session, room_id: int
) -> list[tuple[int, FieldError]]:
    """Lines of corrections and withdrawals that cannot be carried out, with the reason."""
    by_id = {entry.id: entry for entry in entries.values() if entry.id}
    linked = {line: entry for line, entry in entries.items() if target_of(entry)}
    outside = {target_of(entry) for entry in linked.values()} - by_id.keys()
    stored = _stored(session, room_id, sorted(outside))
    found: list[tuple[int, FieldError]] = []
    taken: set[str] = set()
    for line, entry in linked.items():
        target = target_of(entry)
        inside = by_id.get(target)
        kind, is_void = (inside.kind, False) if inside else stored.get(target, ("", False))
        message = _trouble(entry, target, kind, is_void or target in taken)
        if not message and _is_circle(entry, by_id):
            message = "These corrections form a circle."
        if message:
            name = "withdraws" if isinstance(entry, Withdrawal) else "corrects"
            found.append((line, FieldError(name, message)))
        else:
            taken.add(target)
    return found


def _trouble(entry: Entry, target: str, kind: str, is_taken: bool) -> str:
    if not kind:
        return f"There is no entry “{target}” to correct."
    if is_taken:
        return f"The entry “{target}” has already been corrected or withdrawn."
    if isinstance(entry, Withdrawal):
        return "A withdrawal cannot be withdrawn." if kind == Withdrawal.kind else ""
    return f"A {kind} cannot become a {entry.kind}." if kind != entry.kind else ""


def _is_circle(entry: Entry, by_id: Mapping[str, Entry]) -> bool:
    seen = {id(entry)}
    following = by_id.get(target_of(entry))
    while following is not None:
        if id(following) in seen:
            return True
        seen.add(id(following))
        following = by_id.get(target_of(following))
    return False


def _stored(session: Session, room_id: int, ids: Sequence[str]) -> dict[str, tuple[str, bool]]:
    """Kind, and whether it is void already, of the entries that the room has."""
    found: dict[str, tuple[str, bool]] = {}
    for start in range(0, len(ids), _PART):
        query = select(EntryRow.uid, EntryRow.kind, EntryRow.voided_by).where(
            EntryRow.room_id == room_id, col(EntryRow.uid).in_(ids[start : start + _PART])
        )
        found |= {uid: (kind, by is not None) for uid, kind, by in session.exec(query)}
    return found
