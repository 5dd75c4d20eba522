"""What is asked before something is stored, by whichever door; each question has a name."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.duties.book import CloseState
from app.domain.errors import Doubt
from app.domain.inspections.books import SoakState
from app.domain.plausible import (
    CLOSE_UNLIKE,
    PADS_IN_LIQUID,
    PURITY_UNLIKE,
    SOAK_SHORT,
    close_words,
    pads_words,
    purity_words,
    soak_words,
)
from app.domain.roomlog.kinds import Entry, Swap
from app.domain.roomlog.kinds.checklists import SWAP, StepDone
from app.domain.roomlog.kinds.duties import CLOSE, MonthClose
from app.domain.roomlog.kinds.inspections import SOAK, SoakEnded
from app.domain.roomlog.kinds.waste import Pour
from app.domain.waste.streams import STREAMS
from app.services import harm
from app.services.duties.due import moved_since
from app.services.waste import drum_of
from app.store.tables import RoomRow, TankRow
from app.store.things import thing


def doubts(
    session: Session,
    room: RoomRow,
    entries: Sequence[Entry],
    now: datetime,
    beside: Sequence[Entry] = (),
) -> tuple[Doubt, ...]:
    """What the harm matrix asks of entries, and which of their figures are unlikely."""
    found = list(harm.doubts(session, room, entries, now, beside))
    for entry in entries:
        look = _LOOKS.get(type(entry))
        if look is not None and not entry.corrects:
            found += look(session, room.id or 0, entry)
    return tuple({one.name: one for one in reversed(found)}.values())[::-1]


def _of(words: str, name: str, way: str) -> list[Doubt]:
    return [Doubt(words, name, (way,))] if words else []


def _purity(session: Session, room_id: int, tank: str, percent: Any) -> list[Doubt]:
    row = session.get(TankRow, (room_id, tank))
    if row is None or not isinstance(percent, int | float):
        return []
    words = purity_words(float(percent), row.fresh_purity_percent)
    return _of(words, PURITY_UNLIKE, "Read the label again: percent by mass.")


def _swap(session: Session, room_id: int, entry: Swap) -> list[Doubt]:
    if entry.swap is not None:
        return []  # asked at the step that filled it
    return _purity(session, room_id, entry.tank, entry.fresh_purity_percent)


def _step(session: Session, room_id: int, entry: StepDone) -> list[Doubt]:
    percent = (entry.answers or {}).get("fresh_purity_percent")
    state = thing(session, room_id, SWAP, entry.swap)
    if percent is None or state is None or entry.repeats:
        return []
    return _purity(session, room_id, state.filled_tank, percent)


def _close(session: Session, room_id: int, entry: MonthClose) -> list[Doubt]:
    state: CloseState | None = thing(session, room_id, CLOSE, entry.tank)
    if state is None or state.last is None:
        return []
    moved = moved_since(session, room_id, entry.tank, state.last.at)
    if moved.unstated:
        return []
    way = "Log the top-ups that are missing first."
    return _of(close_words(entry.added_l, moved.added_l), CLOSE_UNLIKE, way)


def _soak(session: Session, room_id: int, entry: SoakEnded) -> list[Doubt]:
    state: SoakState | None = thing(session, room_id, SOAK, entry.soak)
    if state is None or state.started_at is None:
        return []
    return _of(soak_words(entry.at - state.started_at), SOAK_SHORT, "Leave it in.")


def _taken_up(session: Session, room_id: int, entry: Pour) -> list[Doubt]:
    drum = drum_of(session, room_id, entry.drum) if entry.incident else None
    if drum is None or not drum.name or not STREAMS[drum.stream].is_liquid:
        return []
    way = "Take a bin of solids or wipes."
    return _of(pads_words(drum.name), PADS_IN_LIQUID, way)


_LOOKS: Mapping[type[Entry], Callable[[Session, int, Any], list[Doubt]]] = {
    Swap: _swap,
    StepDone: _step,
    MonthClose: _close,
    SoakEnded: _soak,
    Pour: _taken_up,
}
