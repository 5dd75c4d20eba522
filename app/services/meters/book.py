"""The instruments of a room: which there are, what an entry was taken with, what is refused."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.curing.stations import StationState
from app.domain.errors import FieldError, NotFound
from app.domain.instruments import INSTRUMENTS
from app.domain.meters.book import ANEMOMETER, InstrumentState
from app.domain.meters.sorts import NAMED_AS
from app.domain.roomlog.kinds import Entry, Reading
from app.domain.roomlog.kinds.curing import STATION, Irradiance
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentPutBack,
    InstrumentSetAside,
    figure_problems,
)
from app.services.entries import entry_of
from app.store.queries import last_entries
from app.store.tables import RoomRow, TankRow
from app.store.things import thing, things

Measuring = Reading | Irradiance | DutyDone
NOT_A_KEY = "new"  # the page of a new one


def instruments(session: Session, room_id: int) -> Mapping[str, InstrumentState]:
    """The instruments of a room by their keys, retired ones too."""
    found: Mapping[str, InstrumentState] = things(session, room_id, INSTRUMENT)
    return {key: one for key, one in found.items() if one.is_known}


def find_instrument(session: Session, room_id: int, key: str) -> InstrumentState:
    """The instrument of that key.

    Raises:
        NotFound: there is none.
    """
    state: InstrumentState | None = thing(session, room_id, INSTRUMENT, key)
    if state is None or not state.is_known:
        raise NotFound(f"There is no instrument “{key[:64]}” in this room.")
    return state


def offered(session: Session, room_id: int, method: str = "") -> list[InstrumentState]:
    """The instruments here that readings by a method may be taken with; without one, of light."""
    return [
        one
        for one in instruments(session, room_id).values()
        if one.is_here and (one.what.method == method if method else one.what.is_of_light)
    ]


def thermometers(session: Session, room_id: int, method: str) -> list[InstrumentState]:
    """Those here that the temperature of readings by a method may be read from."""
    fields = INSTRUMENTS[method].fields if method in INSTRUMENTS else {}
    return [
        one
        for one in instruments(session, room_id).values()
        if one.is_here and one.what.is_named("thermometer", method, fields)
    ]


def anemometers(session: Session, room_id: int) -> list[InstrumentState]:
    """Those here that the air at a hood may be measured with."""
    known = instruments(session, room_id).values()
    return [one for one in known if one.is_here and one.sort == ANEMOMETER]


def chosen(session: Session, room_id: int, entry: Entry) -> Entry:
    """What is said, with each instrument that it was measured with where the room has just one.

    A correction keeps what it says. Where the room has none, or several, nothing is added.
    """
    if not isinstance(entry, Measuring) or entry.corrects:
        return entry
    known = instruments(session, room_id)
    said = {}
    for named_as in _open_names(entry):
        here = fits(known, entry, named_as)
        if len(here) == 1:
            said[named_as] = here[0].key
    return replace(entry, **said) if said else entry  # type: ignore[arg-type]


def fits(
    known: Mapping[str, InstrumentState], entry: Measuring, named_as: str = "instrument"
) -> list[InstrumentState]:
    """The instruments that were here then and that a field of an entry may name."""
    here = (one for one in known.values() if one.is_here_at(entry.at))
    return [one for one in here if one.may_be(named_as, entry)]


def unnamed(known: Mapping[str, InstrumentState], entry: Entry) -> tuple[str, ...]:
    """The fields that name no instrument though several fit: nobody knows which to trust."""
    if not isinstance(entry, Measuring):
        return ()
    return tuple(one for one in _open_names(entry) if len(fits(known, entry, one)) > 1)


def _open_names(entry: Measuring) -> list[str]:
    """The fields by which an entry may name an instrument and does not."""
    return [one for one in NAMED_AS if getattr(entry, one, "") is None]


def last_used(
    session: Session, room_id: int, tank: str = "", station: str = "", named_as: str = "instrument"
) -> str:
    """Key of the instrument that was read last at a tank or a station; empty where none was."""
    if station:
        state: StationState | None = thing(session, room_id, STATION, station)
        read = [one.instrument for one in (state.readings if state else ()) if one.instrument]
        return read[-1] if read else ""
    rows = last_entries(session, room_id, tank, Reading.kind)
    keys = (getattr(entry_of(row), named_as, None) for row in rows)
    return next((key for key in keys if key), "")


def measured_with(session: Session, room_id: int, entry: Measuring) -> list[FieldError]:
    """Why an entry cannot have been measured with the instruments it names."""
    named = ((one, getattr(entry, one, None)) for one in NAMED_AS)
    said = ((one, _why_not(session, room_id, entry, one, key)) for one, key in named if key)
    return [FieldError(one, message) for one, message in said if message]


def _why_not(session: Session, room_id: int, entry: Measuring, named_as: str, key: str) -> str:
    state: InstrumentState | None = thing(session, room_id, INSTRUMENT, key)
    if state is None or not state.is_known:
        return f"There is no instrument “{key}” in this room."
    if not state.is_here_at(entry.at):
        word = "was added later" if state.is_here else "is retired"
    elif state.may_be(named_as, entry):
        return ""
    elif isinstance(entry, Reading) and state.of_tank not in ("", entry.tank):
        word = "is built into another tank"
    else:
        word = f"does not show this ({state.what.called})"
    return f"{state.name} {word}. Choose another {named_as}."


def instrument_problems(
    session: Session, room: RoomRow, entry: Entry, _: datetime
) -> list[FieldError]:
    """Why an entry about an instrument is refused; empty where it may be stored."""
    assert room.id is not None
    known = instruments(session, room.id)
    key: str = entry.instrument  # type: ignore[attr-defined]
    state = known.get(key)
    if isinstance(entry, InstrumentAdded):
        return _new_problems(session, room.id, entry, known)
    if state is None:
        return [FieldError("instrument", f"There is no instrument “{key}” in this room.")]
    if state.added_at is not None and entry.at < state.added_at:
        return [FieldError("at", f"{state.name} was added later than this.")]
    if isinstance(entry, InstrumentCalibrated) and state.retired_at is None:
        return figure_problems(state.sort, entry)
    word = _in_the_way(state, entry)
    return [FieldError("instrument", f"{state.name} {word}.")] if word else []


def _in_the_way(state: InstrumentState, entry: Entry) -> str:
    """Why an instrument as it stands is not set aside, put back or retired; empty where it is."""
    is_aside = state.aside_since_at is not None
    if state.retired_at is not None:
        return "is retired"
    if isinstance(entry, InstrumentSetAside) and is_aside:
        return "is already set aside"
    return "is not set aside" if isinstance(entry, InstrumentPutBack) and not is_aside else ""


def _new_problems(
    session: Session, room_id: int, entry: InstrumentAdded, known: Mapping[str, InstrumentState]
) -> list[FieldError]:
    if entry.instrument in known:
        return [FieldError("instrument", "There is already an instrument with this key.")]
    if entry.instrument == NOT_A_KEY:
        return [FieldError("instrument", "“new” cannot be a key. Choose another.")]
    found = []
    name = entry.name.casefold()
    if any(one.is_here and one.name.casefold() == name for one in known.values()):
        message = f"There is already an instrument “{entry.name[:40]}”. Give this one another name."
        found.append(FieldError("name", message))
    if entry.of_tank is not None and session.get(TankRow, (room_id, entry.of_tank)) is None:
        found.append(FieldError("of_tank", f"There is no tank “{entry.of_tank}” in this room."))
    return found
