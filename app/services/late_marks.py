"""What the log says of an entry that came in after a hold: said to be before it, or done under it.

Worked out from the log alone, so it holds for every door, an import's as well: a file is refused
nothing, not even what it dates now. What was entered before anybody knew of the hold is no such
thing.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.calendar_words import moment_words
from app.domain.harm.acts import OF_KIND
from app.domain.harm.matrix import MATRIX
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import STATION, Cure, Irradiance
from app.domain.roomlog.kinds.duties import DUTY
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.instruments import INSTRUMENT
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.kinds.waste import DRUM
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.harm import ANSWERED, DUTIES_OF_ROOM
from app.services.then import rows_of
from app.store.imports import brought_by
from app.store.instants import from_us
from app.store.tables import EntryRow, LinkRow, RoomRow
from app.store.things import things

Book = tuple[str, str, str]
"""Kind and key of a thing, and the lot of it where only that one counts."""
FOLLOWED: Mapping[str, str] = {
    HOLD: "tank", STATION: "station", DRUM: "drum", INSTRUMENT: "instrument", ITEM: "lot",
}  # fmt: skip
"""The things that are held, and how the log calls them."""
HELD_AS: Mapping[str, str] = {
    DRUM: "quarantine of this drum", INSTRUMENT: "setting aside of this instrument",
}  # fmt: skip
"""What a hold is called where it is no hold by name."""

HOLDS_NOTHING: Mapping[str, Collection[str]] = {STATION: (Cure.kind, Irradiance.kind)}
"""Kinds that fill a book by the ten thousand and neither hold its thing nor let it go."""


@dataclass(frozen=True)
class Span:
    """A time during which something was held; `row` is the number of the row that says so."""

    since_at: datetime
    row: int
    until_at: datetime | None = None


def marks(session: Session, room: RoomRow, rows: Iterable[EntryRow]) -> dict[str, str]:
    """What is to be said of these rows by their ids; those of which nothing is are left out."""
    known: dict[Book, list[Span]] = {}
    rows, found = list(rows), {}
    at_once = [row.id or 0 for row in rows if row.recorded_at_us <= row.at_us]
    brought = brought_by(session, room.id or 0, at_once)
    for row in rows:
        if row.recorded_at_us <= row.at_us and row.id not in brought:
            continue  # its door refused it, or asked
        entry = entry_of(row)
        said = [
            _said(what, span, row, ZoneInfo(room.time_zone))
            for what, book in _books(entry)
            for span in _kept(session, room, book, known)
        ]
        if words := "; ".join(dict.fromkeys(filter(None, said))):
            found[row.uid] = words
    return found


def told_since(
    session: Session, room: RoomRow, kind: str, key: str, lot: str = ""
) -> list[EntryRow]:
    """The acts with a thing that were entered after a hold of it that they do not lie behind.

    The latest first; `kind` is that of a thing in FOLLOWED, `lot` one of an item.
    """
    held = [span for span in _spans(session, room, (kind, key, lot)) if span.until_at is None]
    if not held:
        return []
    acts = [StockUsed.kind] if kind == ITEM else [one.kind for one in OF_KIND]
    query = select(EntryRow).where(
        EntryRow.room_id == room.id, col(EntryRow.voided_by).is_(None),
        col(EntryRow.kind).in_(acts), col(EntryRow.id) > min(span.row for span in held),
    )  # fmt: skip
    if kind == HOLD:
        query = query.where(EntryRow.tank == key)
    else:
        query = query.join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id)).where(
            LinkRow.thing == kind, LinkRow.key == key
        )
    rows = session.exec(query.order_by(col(EntryRow.at_us).desc())).all()
    called = _hold_of(kind)
    said = marks(session, room, rows)
    return [row for row in rows if called in said.get(row.uid, "")]


@dataclass(frozen=True)
class Used:
    """A thing that is held, and what was entered of its use since.

    Attributes:
        kind, key: the thing; `lot` of an item.
        name: what it is called; empty of a tank.
        count: of the acts; `act` is the kind of the latest, done at `at`.
    """

    kind: str
    key: str
    lot: str
    name: str
    count: int
    act: str
    at: datetime


def used_though_held(session: Session, room: RoomRow) -> list[Used]:
    """What is held now, and was used since by what the log was told."""
    room_id = room.id or 0
    return kept(
        session, room_id, "used though held", room.version, lambda: list(_used(session, room))
    )


def _used(session: Session, room: RoomRow) -> Iterator[Used]:
    for kind, key, lot, name in _held_now(session, room.id or 0):
        if rows := told_since(session, room, kind, key, lot):
            last = rows[0]
            yield Used(kind, key, lot, name, len(rows), last.kind, from_us(last.at_us))


def _held_now(session: Session, room_id: int) -> Iterator[tuple[str, str, str, str]]:
    for kind in FOLLOWED:
        # A drum that has left the site in quarantine is still for a lead to settle.
        for key, state in things(session, room_id, kind, only_open=kind == HOLD).items():
            name = getattr(state, "name", "")
            if kind == ITEM:
                yield from ((kind, key, lot.lot, name) for lot in state.lots if lot.held)
            elif _HELD[kind](state, ""):
                yield kind, key, "", name


def _said(what: str, span: Span, row: EntryRow, zone: ZoneInfo) -> str:
    since = moment_words(span.since_at, zone)
    at, recorded_at = from_us(row.at_us), from_us(row.recorded_at_us)
    if span.row >= (row.id or 0):
        return ""
    if at < span.since_at <= recorded_at:
        return f"entered after the {what} of {since}, said to be from before it"
    is_under = span.since_at <= at and (span.until_at is None or at < span.until_at)
    return f"done during the {what} of {since}" if is_under else ""


def _books(entry: Entry) -> Iterator[tuple[str, Book]]:
    """The books that tell if something was held that an act uses, each with how it is called."""
    act = OF_KIND.get(type(entry), "")
    lot = getattr(entry, "lot", None) if isinstance(entry, StockUsed) else None
    if lot:
        yield _hold_of(ITEM), (ITEM, entry.item, lot)  # type: ignore[attr-defined]
    if not act:
        return
    for kind in (HOLD, STATION, DRUM, INSTRUMENT):
        name = FOLLOWED[kind]
        keys = [getattr(entry, one, None) for one in (name, f"from_{name}")]
        keys += getattr(entry, f"{name}s", None) or []
        yield from ((_hold_of(kind), (kind, key, "")) for key in keys if key)
    for fault, duty in DUTIES_OF_ROOM.items():
        if MATRIX[fault, act].answer in ANSWERED:
            yield f"fault of the {_called(duty)}", (DUTY, duty, "")


def _hold_of(kind: str) -> str:
    """What the hold of a kind of thing is called.

    >>> _hold_of(HOLD)
    'hold of this tank'
    """
    return HELD_AS.get(kind, f"hold of this {FOLLOWED[kind]}")


def _called(duty: str) -> str:
    return {"hood_look": "hood", "spill_kit": "spill kit or extinguisher"}.get(duty, duty)


def _kept(session: Session, room: RoomRow, book: Book, known: dict[Book, list[Span]]) -> list[Span]:
    if book not in known:
        known[book] = _spans(session, room, book)
    return known[book]


def _spans(session: Session, room: RoomRow, book: Book) -> list[Span]:
    kind, key, lot = book
    state, found = THINGS[kind].start(key), list[Span]()
    for row in rows_of(session, room.id or 0, kind, key, without=HOLDS_NOTHING.get(kind, ())):
        state = THINGS[kind].apply(state, entry_of(row))
        is_held, at = _HELD[kind](state, lot), from_us(row.at_us)
        is_open = bool(found) and found[-1].until_at is None
        if is_held and not is_open:
            found.append(Span(at, row.id or 0))
        elif is_open and not is_held:
            found[-1] = Span(found[-1].since_at, found[-1].row, at)
    return found


def _lot_is_held(state: Any, lot: str) -> bool:
    """Also once none of it is left: the use that took the last of it was one of a held lot."""
    return state.held_lot(lot) is not None


def _is_faulty(state: Any, _: str) -> bool:
    last = state.last("")
    return last is not None and last.is_fault


_HELD: Mapping[str, Callable[[Any, str], bool]] = {
    HOLD: lambda state, _: state.is_held,
    STATION: lambda state, _: state.hold.is_held,
    DRUM: lambda state, _: state.is_quarantined,
    INSTRUMENT: lambda state, _: state.aside_since_at is not None,
    ITEM: _lot_is_held,
    DUTY: _is_faulty,
}
