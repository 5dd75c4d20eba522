"""What may be said of curing stations: checked against the room inside the transaction."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sqlmodel import Session

from app.domain.curing.dose import cure_today, dose_mj_cm2, is_in_band
from app.domain.curing.lamp import lamp
from app.domain.curing.stations import HoursAt, OutputReading, StationState
from app.domain.curing.trust import course_of, with_reading
from app.domain.errors import FieldError
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import (
    MARKED,
    STATION,
    Cure,
    CureRecipe,
    Irradiance,
    LampHours,
    ReadingAccepted,
    Relamped,
    Station,
    StationEntry,
)
from app.services.curing.stations import (
    recipe_then,
    station_then,
    stations,
    with_certificates,
)
from app.services.incidents.holds import lead_problems
from app.store.acting import has_waited
from app.store.things import thing

METER_TOLERANCE_H = 1.0  # meters count whole hours


def entry_problems(session: Session, room_id: int, entry: Entry) -> list[FieldError]:
    """What is wrong with an entry about a station or recipe, against the room as it stands."""
    if isinstance(entry, CureRecipe):
        return _recipe_problems(stations(session, room_id, only_open=True), entry)
    if not isinstance(entry, StationEntry):
        return []
    state: StationState | None = thing(session, room_id, STATION, entry.station)
    is_known = state is not None and state.is_known
    if isinstance(entry, Station):
        return _new_problems(entry, is_known)
    if state is not None:
        state = with_certificates(session, room_id, state)
    if state is None or not is_known:
        return [FieldError("station", f"There is no curing station “{entry.station}”.")]
    found = _hours_problems(state, entry)
    if isinstance(entry, Irradiance):
        found += _place_problems(state, entry)
    if isinstance(entry, Irradiance) and not is_in_band(state, entry.band_nm):
        message = (
            f"This station shines at {state.wavelength_nm:.0f} nm: a radiometer made for "
            f"{entry.band_nm:.0f} nm does not read its light. Use one of the same band."
        )
        found.append(FieldError("band_nm", message))
    if isinstance(entry, ReadingAccepted):
        found += _accepting_problems(session, room_id, state, entry)
    if isinstance(entry, Cure):
        found += _cure_problems(session, room_id, state, entry)
    return found


def _place_problems(state: StationState, entry: Irradiance) -> list[FieldError]:
    """Places that were read last time and are not now, where that would shorten cures unseen.

    The centre is the brightest place: alone it would promise a dose that the corners do not get.
    """
    last = state.readings[-1] if state.readings else None
    if last is None or entry.mean_mw_cm2 <= last.mean_mw_cm2 or entry.at < last.at:
        return []
    places = [place for place in MARKED[state.layout] if place in last.positions]
    missing = [place for place in places if place not in entry.at_positions]
    hours_h = state.hours_h if entry.hours_h is None else entry.hours_h
    reading = OutputReading(entry.at, hours_h, entry.at_positions)
    if not missing or with_reading(state, reading) is not None:
        return []
    named = ", ".join(place.replace("_", " ") for place in missing)
    message = (
        f"Read the same places as last time, including {named}. Without them the mean would look "
        "better than it is. Enter a dark place as 0. To read fewer places, change the station's "
        "settings."
    )
    return [FieldError(f"{missing[0]}_mw_cm2", message)]


def _accepting_problems(
    session: Session, room_id: int, state: StationState, entry: ReadingAccepted
) -> list[FieldError]:
    """A reading that is set aside, and a lead's word."""
    found = []
    if entry.reading not in {one.reading.entry for one in course_of(state).aside}:
        message = "This reading is no longer set aside. Reload the station's page."
        found.append(FieldError("reading", message))
    return found + lead_problems(session, room_id, entry.lead)


def _new_problems(entry: Station, is_known: bool) -> list[FieldError]:
    if is_known:
        return [FieldError("station", "A curing station already has this key.")]
    if entry.station == "new":
        return [FieldError("station", "“new” cannot be a key. Choose another.")]
    return []


def _hours_problems(state: StationState, entry: StationEntry) -> list[FieldError]:
    """Hours of one lamp run forwards, and no faster than the clock."""
    if isinstance(entry, Relamped):
        is_before = state.lamp_since_at is not None and entry.at < state.lamp_since_at
        message = "The lamp now in it was fitted later than this."
        return [FieldError("at", message)] if is_before else []
    meter, since = state.meter, state.lamp_since_at
    hours_h = entry.hours_h if isinstance(entry, LampHours | Irradiance) else None
    if hours_h is None or meter is None or (since is not None and entry.at < since):
        return []  # nothing read, or of a lamp before this one
    message = _meter_problem(meter, entry.at, hours_h)
    return [FieldError("hours_h", message)] if message else []


def _meter_problem(meter: HoursAt, at: datetime, hours_h: float) -> str:
    gained, passed = hours_h - meter.hours_h, (at - meter.at) / timedelta(hours=1)
    if passed < 0:
        return f"The meter showed {meter.hours_h:g} h later than this." if gained > 0 else ""
    if gained < 0:
        return (
            f"The meter showed {meter.hours_h:g} h before. Hours do not run backwards. If the "
            "lamp is new, enter the relamp first."
        )
    if gained > passed + METER_TOLERANCE_H:
        return f"That is {gained:g} h more than before, and only {passed:.0f} h have passed."
    return ""


def _cure_problems(
    session: Session, room_id: int, state: StationState, cure: Cure
) -> list[FieldError]:
    """By the lamp and the recipe that a cure was done with, and by what holds the station now."""
    recipe = recipe_then(session, room_id, cure)
    if recipe is None:
        message = "There is no cure recipe for this resin yet. Enter it first."
        return [FieldError("resin", message)]
    is_free = not state.hold.is_held_at(cure.at) or has_waited()  # the latter is asked (told_late)
    hold = HoldState() if is_free else state.hold
    state = replace(station_then(session, room_id, cure), hold=hold)
    today = cure_today(state, lamp(state, cure.at), recipe, cure.places)
    is_of_places = bool(cure.places) and not state.hold.is_held and today.seconds is None
    name = "places" if is_of_places and today.placement.spots else "station"
    return [FieldError(name, f"{state.name}: {reason}") for reason in today.refusals[:1]]


def _recipe_problems(known: Sequence[StationState], entry: CureRecipe) -> list[FieldError]:
    """A dose that no station could deliver with a new lamp in its longest exposure."""
    able = {
        station.name: dose_mj_cm2(output, 60 * min(station.longest_minutes, longest))
        for station in known
        if (output := course_of(station).new_mw_cm2) is not None
        for longest in [entry.longest_minutes or station.longest_minutes]
    }
    dose = entry.dose_mj_cm2
    if dose is None:
        dose = 60 * (entry.reference_minutes or 0) * (entry.reference_mw_cm2 or 0)
    if not able or dose <= max(able.values()):
        return []
    best = max(able, key=lambda name: able[name])
    message = (
        f"No station here can deliver this dose. The most is {able[best]:,.0f} mJ/cm², from {best} "
        "with a new lamp at its longest exposure. Is the unit right? 1 J/cm² is 1000 mJ/cm²."
    )
    field = "dose_mj_cm2" if entry.dose_mj_cm2 is not None else "reference_minutes"
    return [FieldError(field, message)]
