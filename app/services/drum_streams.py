"""What went into a drum, whatever it is said to hold now: a lead says anew what that is, and a
drum of which nobody knows it keeps the hazards of all that went in."""

from sqlmodel import Session

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import DRUM, Drum, DrumChanged, DrumTransfer, Pour
from app.domain.solvents import SOLVENTS
from app.domain.waste.drums import DRUM_BOOK, DrumState
from app.services.authorship import entry_row
from app.services.entries import entry_of
from app.services.mixed_drums import solvents_in
from app.services.then import rows_of
from app.store.things import thing

MOST_STEPS = 8  # from drum to drum; a chain that is longer says unknown


def is_said_anew(session: Session, room_id: int, entry: Entry) -> bool:
    """Whether an entry gives a drum that holds something another stream."""
    if not isinstance(entry, Drum | DrumChanged):
        return False
    state: DrumState | None = thing(session, room_id, DRUM, entry.drum)
    if state is None or state.is_empty:
        return False
    row = entry_row(session, room_id, entry.corrects) if entry.corrects else None
    old = entry_of(row) if row is not None else None
    was = getattr(old, "stream", None) if old is not None else state.stream
    return entry.stream != was if old is not None else entry.stream not in (None, was)


def streams_in(
    session: Session,
    room_id: int,
    key: str,
    steps: int = MOST_STEPS,
    before: str = "",
    known: dict[tuple[str, int], list[str]] | None = None,
) -> list[str]:
    """The streams of all that went into a drum since it was last empty, what it is said to hold
    first; each once. `before` is the id of the entry up to which its book is read."""
    if steps == 0:
        return ["unknown"]
    known = {} if known is None else known  # each move is followed once
    state, found = DrumState(key), list[str]()
    for entry in map(entry_of, rows_of(session, room_id, DRUM, key)):
        if entry.id == before:
            break
        was, state = state, DRUM_BOOK.apply(state, entry)
        if state.is_empty:
            found = []
            continue
        found += [] if was.is_empty else [was.stream]
        found += [state.stream, *_of(session, room_id, key, entry, steps, known)]
    return list(dict.fromkeys((state.stream, *found)))


def _of(
    session: Session,
    room_id: int,
    key: str,
    entry: Entry,
    steps: int,
    known: dict[tuple[str, int], list[str]],
) -> list[str]:
    """What an entry says that it put in."""
    if isinstance(entry, DrumTransfer) and entry.drum == key:
        if (entry.id, steps) not in known:
            known[entry.id, steps] = streams_in(
                session, room_id, entry.from_drum, steps - 1, entry.id, known
            )
        return known[entry.id, steps]
    if not isinstance(entry, Pour):
        return []
    baths = solvents_in(session, room_id, entry.tank, entry.at) if entry.tank else set[str]()
    of_baths = [SOLVENTS[one].waste.key if one in SOLVENTS else "unknown" for one in sorted(baths)]
    return [*([entry.stream] if entry.stream else []), *of_baths]
