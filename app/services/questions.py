"""What is asked before something is stored, by whichever door; each question has a name."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.domain.builds import METAL, PLASTIC
from app.domain.checklists.filling import marks_of
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import left_in_clean
from app.domain.duties.book import CloseState
from app.domain.errors import Doubt, FieldError
from app.domain.inspections.books import SoakState
from app.domain.lot_keys import lot_key
from app.domain.plausible import unlikely
from app.domain.plausible.words import (
    CLOSE_UNLIKE,
    LEAKS_UNSEEN,
    MONTH_OVER,
    NOW_METAL,
    OTHER_LOT,
    OVERFULL,
    PADS_IN_LIQUID,
    PARTS_WET,
    PURITY_UNLIKE,
    RAISED_LIMIT,
    READING_UNLIKE,
    REJECT_UNLIKE,
    SOAK_SHORT,
    SOURCE_UNSAID,
    STILL_FULL,
    SWAP_BEGUN,
    WARM_DRUM,
    WASH_UNKNOWN,
    WASH_UNLOGGED,
    close_words,
    pads_words,
    purity_words,
    reading_words,
    reject_words,
    soak_words,
    source_words,
    still_full_words,
    unlogged_words,
    wet_words,
)
from app.domain.roomlog.kinds import Entry, Reading, Reject, Removal, Swap, Wash
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.checklists import SWAP, StepDone
from app.domain.roomlog.kinds.curing import Cure
from app.domain.roomlog.kinds.duties import CLOSE, MonthClose
from app.domain.roomlog.kinds.inspections import SOAK, SoakEnded
from app.domain.roomlog.kinds.part_lots import PartLot
from app.domain.roomlog.kinds.solvents import SolventLimit
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import (
    Drum,
    DrumChanged,
    DrumMoved,
    DrumOpened,
    PickupBooked,
    Pour,
)
from app.domain.solvent_limits import raised_words
from app.domain.solvents import SOLVENTS
from app.domain.solvents.purity import in_mass_percent
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import STREAMS, fits_bath
from app.services import harm, told_late
from app.services.appending import left_out
from app.services.authorship import entry_row
from app.services.baths.building import build_of
from app.services.baths.plausibility import preview_reading
from app.services.curing.stations import lots_washed, washed_after, with_figures
from app.services.duties.due import moved_since
from app.services.entries import entry_of
from app.services.figures import known_of
from app.services.part_lots.checks import lot_doubts
from app.services.part_of import is_of_swap
from app.services.swaps.drained import begun_words
from app.services.swaps.given_up import leak_words
from app.services.swaps.under_way import local
from app.services.waste import drum_of, overfull_words, rulebook
from app.services.waste_month import passed_limits
from app.store.instants import from_us
from app.store.tables import RoomRow, TankRow
from app.store.things import thing

LOOK = "Check the label, the mark or the scale again, and the unit."
SHOWN = 5  # sentences of one question


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
        found += told_late.doubts(session, room, entry, now)
        found += figures(session, room, entry)
        if isinstance(entry, Reading) and not _follows(entry, (*beside, *entries)):
            found += _reading(session, room, entry, now)
    return once_each(found + _months(session, room, entries, now))


def figures(session: Session, room: RoomRow, entry: Entry) -> list[Doubt]:
    """Which figures of an entry are unlikely, against lot, log and physics."""
    is_of_step = isinstance(entry, Pour | Removal | StockUsed | Swap)
    if is_of_step and is_of_swap(session, room.id or 0, entry):
        return []  # what a swap wrote: its steps were asked
    found = _seen(session, room, entry)
    known = known_of(session, room, entry)
    return found + [Doubt(one.words, one.name, (LOOK,)) for one in unlikely(entry, known)]


def _seen(session: Session, room: RoomRow, entry: Entry) -> list[Doubt]:
    """What the look at its kind finds odd; of a correction what it did not find before."""
    look, room_id = _LOOKS.get(type(entry)), room.id or 0
    if look is None or not entry.corrects:
        return [] if look is None else look(session, room_id, entry)
    row = entry_row(session, room_id, entry.corrects)
    if row is None or row.voided_by is not None or row.kind != entry.kind:
        return []  # said where it is stored
    with left_out(session, room, row):
        known = look(session, room_id, entry_of(row))
        return [one for one in look(session, room_id, entry) if one not in known]


def once_each(found: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """Each question once; of several entries its sentences one after another."""
    named: dict[str, list[Doubt]] = {}
    for one in found:
        same = named.setdefault(one.name, [])
        if one not in same:
            same.append(one)
    return tuple(_joined(name, some) for name, some in named.items())


def _joined(name: str, some: Sequence[Doubt]) -> Doubt:
    if len(some) == 1:
        return some[0]
    more = f" And {len(some) - SHOWN} more like it." if len(some) > SHOWN else ""
    return Doubt(" ".join(some[:SHOWN]) + more, name, some[0].ways, some[0].answers)


def _of(words: str, name: str, way: str) -> list[Doubt]:
    return [Doubt(words, name, (way,))] if words else []


def _purity(
    session: Session, room_id: int, tank: str, said: Mapping[str, Any], key: str | None
) -> list[Doubt]:
    """`said` holds the purity in one basis or the other; `key` is the solvent, or the tank's."""
    row = session.get(TankRow, (room_id, tank))
    liquid = SOLVENTS.get(key or (row.solvent if row else ""))
    given = [said.get(f"fresh_purity_{x}") for x in ("percent", "volume_percent")]
    by_mass, by_volume = (float(x) if isinstance(x, int | float) else None for x in given)
    if row is None or liquid is None:
        return []
    percent = in_mass_percent(liquid, by_mass, by_volume)
    if percent is None:
        return []
    words = purity_words(percent, row.fresh_purity_percent)
    return _of(words, PURITY_UNLIKE, "Read the label again, and choose by volume or by mass.")


def _swap(session: Session, room_id: int, entry: Swap) -> list[Doubt]:
    return _purity(session, room_id, entry.tank, vars(entry), entry.solvent)


def _step(session: Session, room_id: int, entry: StepDone) -> list[Doubt]:
    state = thing(session, room_id, SWAP, entry.swap)
    if not entry.answers or state is None or entry.repeats:
        return []
    odd = _purity(session, room_id, state.filled_tank, entry.answers, state.solvent)
    return odd + _still_full(session, room_id, state, entry)


def _still_full(session: Session, room_id: int, state: SwapState, entry: StepDone) -> list[Doubt]:
    """The clean tank of a pair is filled again, and not all of its bath was moved out of it."""
    step, more_l = state.step(entry.step), (entry.answers or {}).get("filled_l")
    held_l = state.from_estimated_l
    row = session.get(TankRow, (room_id, state.filled_tank))
    is_fill = step is not None and step.role == "fill" and state.from_tank is not None
    known = [x for x in (more_l, held_l) if isinstance(x, int | float)]
    if not is_fill or row is None or len(known) < 2:
        return []
    left = left_in_clean(state, 0.0)
    left_l = max(0.0, known[1] - state.amount_l("move", "moved_l"))
    if left is not None and left.is_seen:
        left_l = left.litres
    words = still_full_words(f"{row.place} {row.name}", left_l, known[0], marks_of(state)[0])
    return _of(words, STILL_FULL, "Move the rest first, or fill less.")


def _close(session: Session, room_id: int, entry: MonthClose) -> list[Doubt]:
    state: CloseState | None = thing(session, room_id, CLOSE, entry.tank)
    if state is None or state.last is None:
        return []
    moved = moved_since(session, room_id, entry.tank, state.last.at)
    if moved.unstated:
        return []
    way = "Log the missing top-ups first."
    return _of(close_words(entry.added_l, moved.added_l), CLOSE_UNLIKE, way)


def _soak(session: Session, room_id: int, entry: SoakEnded) -> list[Doubt]:
    state: SoakState | None = thing(session, room_id, SOAK, entry.soak)
    if state is None or state.started_at is None:
        return []
    return _of(soak_words(entry.at - state.started_at), SOAK_SHORT, "Leave it in.")


def _poured(session: Session, room_id: int, entry: Pour) -> list[Doubt]:
    drum = drum_of(session, room_id, entry.drum)
    if drum is None or not drum.name or not STREAMS[drum.stream].is_liquid:
        return []
    if not entry.incident:
        return _unnamed(session, room_id, entry, drum)
    way = "Use a bin for solids or wipes."
    return _of(pads_words(drum.name), PADS_IN_LIQUID, way)


def _months(
    session: Session, room: RoomRow, entries: Sequence[Entry], now: datetime
) -> list[Doubt]:
    """Pours that take their month over the limit, each with those that come before it."""
    pours = [(one, _replaced(session, room, one)) for one in entries if isinstance(one, Pour)]
    way = "Book a pickup, or ask whoever answers for the site's waste."
    found = passed_limits(session, room, pours, now) if pours else []
    return [doubt for words in found for doubt in _of(words, MONTH_OVER, way)]


def _replaced(session: Session, room: RoomRow, entry: Pour) -> Pour | None:
    row = entry_row(session, room.id or 0, entry.corrects) if entry.corrects else None
    old = entry_of(row) if row is not None and row.voided_by is None else None
    return old if isinstance(old, Pour) else None


def _unnamed(session: Session, room_id: int, entry: Pour, drum: DrumState) -> list[Doubt]:
    """A pour that names neither its tank nor its stream may be of any solvent of the room."""
    if entry.tank or entry.stream:
        return []
    query = select(TankRow.solvent).where(
        TankRow.room_id == room_id, col(TankRow.is_retired).is_(False)
    )
    others = [one for one in sorted(set(session.exec(query))) if not fits_bath(drum.stream, one)]
    names = [SOLVENTS[one].name for one in others if one in SOLVENTS]
    words = source_words(drum.name, STREAMS[drum.stream].name, names)
    return _of(words, SOURCE_UNSAID, "Choose the tank it comes from.")


def _wash(session: Session, room_id: int, entry: Wash) -> list[Doubt]:
    words = begun_words(session, room_id, entry)
    begun = _of(words, SWAP_BEGUN, "Use another tank, or ask who is swapping it.")
    way = "Wipe the joints dry and look again ten minutes later."
    unseen = _of(leak_words(session, room_id, entry), LEAKS_UNSEEN, way)
    return [*begun, *unseen, *lot_doubts(session, room_id, entry)]


def _reject(session: Session, room_id: int, entry: Reject) -> list[Doubt]:
    row = session.get(TankRow, (room_id, entry.tank))
    if row is None:
        return []
    last_at = from_us(row.last_wash_at_us) if row.last_wash_at_us is not None else None
    words = reject_words(None if last_at is None else entry.at - last_at)
    return _of(words, REJECT_UNLIKE, "Choose the tank the parts came from.")


def _follows(reading: Reading, entries: Sequence[Entry]) -> bool:
    """Whether what comes with a reading changed its bath before it: no estimate has that yet."""
    return any(
        getattr(one, "tank", None) == reading.tank and one.at <= reading.at
        for one in entries
        if not isinstance(one, Reading)
    )


def _reading(session: Session, room: RoomRow, entry: Reading, now: datetime) -> list[Doubt]:
    """A reading beside the estimate, where the log goes no further than it."""
    row = session.get(TankRow, (room.id, entry.tank))
    last_us = row.last_entry_at_us if row is not None else None
    if row is None or entry.corrects or (last_us is not None and from_us(last_us) > entry.at):
        return []
    try:
        seen = preview_reading(session, room, entry, now)
    except FieldError:
        return []  # its instrument cannot tell: refused, or set aside, elsewhere
    far = reading_words(seen.measured.mass_percent, seen.expected_percent, seen.sd_percent)
    found = [*seen.measured.doubts, *([far] if far and not entry.of_fresh else [])]
    if entry.of_fresh:
        found = list(seen.doubts)
    return _of(" ".join(found), READING_UNLIKE, "Read the instrument again.")


def _overfull(session: Session, room_id: int, entry: Drum | DrumChanged) -> list[Doubt]:
    words = overfull_words(session, room_id, entry)
    return _of(words, OVERFULL, "Pump some out first, or correct the figure.")


def _changed(session: Session, room_id: int, entry: DrumChanged) -> list[Doubt]:
    drum = drum_of(session, room_id, entry.drum)
    was = drum.material if drum is not None else ""
    return _overfull(session, room_id, entry) + _metal(was, entry.material)


def _moved(session: Session, room_id: int, entry: DrumMoved) -> list[Doubt]:
    return _warm(session, room_id, [entry.drum])


def _opened(session: Session, room_id: int, entry: DrumOpened) -> list[Doubt]:
    return _warm(session, room_id, [entry.drum])


def _booked(session: Session, room_id: int, entry: PickupBooked) -> list[Doubt]:
    return _warm(session, room_id, entry.drums)


def _warm(session: Session, room_id: int, keys: Sequence[str]) -> list[Doubt]:
    """A drum that reacts may burst in the hands of whoever carries it or fetches it."""
    found = [drum_of(session, room_id, key) for key in dict.fromkeys(keys)]
    names = ", ".join(drum.name or drum.key for drum in found if drum is not None and drum.is_warm)
    words = f"{names}: found warm, hissing or bulging. It may burst. Is it cold and quiet now?"
    way = "Keep away, keep others away, call the emergency number."
    return _of(words if names else "", WARM_DRUM, way)


def _built(session: Session, room_id: int, entry: TankBuild) -> list[Doubt]:
    return _metal(build_of(session, room_id, entry.tank).material, entry.material)


def _metal(was: str, now: str | None) -> list[Doubt]:
    """A thing that was plastic: as metal it may be filled without a lead's word."""
    words = "This was entered as plastic. Is it metal, so that a clamp on it leads charge away?"
    return _of(words if (was, now) == (PLASTIC, METAL) else "", NOW_METAL, "Check it by hand.")


def _cure(session: Session, room_id: int, entry: Cure) -> list[Doubt]:
    if entry.tank is not None and entry.washed_at is None:
        row = session.get(TankRow, (room_id, entry.tank))
        words = (
            f"When did these parts leave the wash in {row.name if row else entry.tank}? Without "
            "that, nobody knows whether they are dry. Solvent under the light leaves parts tacky "
            "and gives off vapour."
        )
        return _of(words, WASH_UNKNOWN, "Enter when they left the wash.")
    lots, full = lots_washed(session, room_id, entry), with_figures(session, room_id, entry)
    wet = wet_words(full.dried_minutes, full.dry_asked_minutes)
    odd = _of(wet, PARTS_WET, "Let them dry.") + lot_doubts(session, room_id, entry)
    odd += [] if wet else _unlogged(session, room_id, entry, full.dry_asked_minutes)
    if not lots or (entry.lot and lot_key(entry.lot) in map(lot_key, lots)):
        return odd
    here = f"this cure is of lot {entry.lot}" if entry.lot else "this cure names no lot"
    words = f"That wash was of lot {', '.join(lots)}, and {here}. Are these the same parts?"
    way = "Enter the lot of these parts, or choose the right wash."
    return _of(words, OTHER_LOT, way) + odd


def _unlogged(
    session: Session, room_id: int, entry: Cure, asked_minutes: float | None
) -> list[Doubt]:
    """Parts are said to be dry by a wash that nobody logged, and by the log they are wet."""
    last = washed_after(session, room_id, entry)
    if last is None or entry.washed_at is None:
        return []
    minutes = (entry.at - last.out_at).total_seconds() / 60
    said, logged = (local(session, room_id, at) for at in (entry.washed_at, last.out_at))
    words = unlogged_words(said, logged, last.tank_name, minutes, asked_minutes)
    return _of(words, WASH_UNLOGGED, "Enter when these parts left the wash.")


def _limit(session: Session, room_id: int, entry: SolventLimit) -> list[Doubt]:
    words = raised_words(entry, rulebook(session, room_id).rule_set)
    return _of(words, RAISED_LIMIT, "Enter the limit of your authority, from its own list.")


_LOOKS: Mapping[type[Entry], Callable[[Session, int, Any], list[Doubt]]] = {
    Swap: _swap,
    StepDone: _step,
    MonthClose: _close,
    SoakEnded: _soak,
    Reject: _reject,
    Wash: _wash,
    Cure: _cure,
    PartLot: lot_doubts,
    Drum: _overfull,
    DrumChanged: _changed,
    DrumMoved: _moved,
    DrumOpened: _opened,
    PickupBooked: _booked,
    TankBuild: _built,
    Pour: _poured,
    SolventLimit: _limit,
}
