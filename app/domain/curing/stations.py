"""A curing station as its entries leave it: settings, hours of the lamp, readings, relamps."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime, timedelta

from app.domain.curing.recipes import RecipeState, recipe_after
from app.domain.holds import HoldState, hold_after
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import (
    CURE_RECIPE,
    LEAST_MW_CM2,
    Cure,
    Irradiance,
    LampHours,
    ReadingAccepted,
    Relamped,
    Station,
    StationChanged,
)
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import StationHeld, StationReleased
from app.domain.things import Thing

RELAMP_PERCENT = 70.0  # usual end of life of a light source, L70; the room may set another
LONGEST_MINUTES = 60.0  # common practice, no source
MOST_READINGS = 200
MOST_DAYS = 90
USAGE_SPAN = timedelta(days=56)  # eight weeks: weekends count, an old habit does not
SHORTEST_USAGE = timedelta(days=5)


@dataclass(frozen=True)
class OutputReading:
    """A radiometer reading of the lamp.

    Attributes:
        hours_h: what the lamp had run by then.
        positions: irradiance in mW/cm2 by marked position.
        instrument: key of the meter it was taken with, where that is one of the room's.
        certificate: standard uncertainty of the meter by its certificate, as a share of what it
            shows; 0 where none counts.
    """

    at: datetime
    hours_h: float
    positions: Mapping[str, float]
    by: str = ""
    entry: str = ""
    radiometer: str = ""
    instrument: str = ""
    certificate: float = 0.0

    @property
    def mean_mw_cm2(self) -> float:
        """The mean over the positions measured."""
        return sum(self.positions.values()) / len(self.positions)

    @property
    def least_mw_cm2(self) -> float:
        """The weakest position."""
        return min(self.positions.values())

    @property
    def dark(self) -> tuple[str, ...]:
        """Positions without light."""
        return tuple(place for place, value in self.positions.items() if value < LEAST_MW_CM2)

    @property
    def uniformity(self) -> float | None:
        """Weakest over strongest position; None where one position was measured only."""
        if len(self.positions) < 2:
            return None
        return self.least_mw_cm2 / max(self.positions.values())


@dataclass(frozen=True)
class Relamp:
    """A lamp that was taken out: when, after how many hours."""

    at: datetime
    hours_h: float
    by: str = ""
    part: str = ""


@dataclass(frozen=True)
class HoursAt:
    """What the lamp had run at an instant."""

    at: datetime
    hours_h: float


@dataclass(frozen=True)
class LastCure:
    """The latest cure on the station."""

    at: datetime
    resin: str
    minutes: float
    lot: str
    is_too_soon: bool


@dataclass(frozen=True)
class AsideSpan:
    """How long a reading of the lamp was set aside: until it was settled or contradicted."""

    reading: str
    since_at: datetime
    until_at: datetime | None = None


@dataclass(frozen=True)
class StationState:
    """A curing station.

    Attributes:
        hours_h: of this lamp: the last meter reading and the cures since.
        meter: the last time somebody read the hour meter of this lamp.
        course: hours of this lamp, one point a day, the latest last.
        readings: of this lamp, the latest of them, oldest first.
        first_mw_cm2: mean of the first reading of this lamp.
        hold: why nothing is cured in it now, if so.
        new_mw_cm2: as entered; `new_output` falls back on the first reading.
        asides: when readings were set aside, of all its lamps, the latest of them, oldest first.
    """

    key: str
    name: str = ""
    source: str = "other"
    wavelength_nm: float = 0.0
    layout: str = "centre"
    light_sources: int | None = None
    chamber_temperature_c: float | None = None
    new_mw_cm2: float | None = None
    relamp_percent: float = RELAMP_PERCENT
    longest_minutes: float = LONGEST_MINUTES
    has_turntable: bool = False
    is_retired: bool = False
    lamp_since_at: datetime | None = None
    hours_h: float = 0.0
    meter: HoursAt | None = None
    course: tuple[HoursAt, ...] = ()
    readings: tuple[OutputReading, ...] = ()
    first_mw_cm2: float | None = None
    former_new_mw_cm2: float | None = None
    accepted: tuple[str, ...] = ()
    is_cut: bool = False
    relamps: tuple[Relamp, ...] = ()
    cures: int = 0
    last_cure: LastCure | None = None
    hold: HoldState = field(default_factory=HoldState)
    width_nm: float | None = None
    below_400_percent: float | None = None
    asides: tuple[AsideSpan, ...] = ()

    @property
    def is_known(self) -> bool:
        """It was set up: entries of a station that was withdrawn leave a state without it."""
        return bool(self.name)

    @property
    def new_output(self) -> float | None:
        """Mean output when new, in mW/cm2."""
        return self.new_mw_cm2 if self.new_mw_cm2 is not None else self.first_mw_cm2

    def hours_per_day(self, now: datetime) -> float | None:
        """How much the lamp ran a day over the last eight weeks; None where too little is known."""
        points = [point for point in self.course if now - USAGE_SPAN <= point.at <= now]
        if not points or points[-1].at - points[0].at < SHORTEST_USAGE:
            return None
        gained = points[-1].hours_h - points[0].hours_h
        days = max((now - points[0].at) / timedelta(days=1), 1.0)
        return max(gained, 0.0) / days


def station_after(state: StationState, entry: Entry) -> StationState:
    """The station after an entry; which of its readings count is judged elsewhere (`book`)."""
    match entry:
        case Station():
            state = _started(state, entry)
        case StationChanged():
            state = _set(state, entry)
        case Relamped():
            state = _relamped(state, entry)
        case LampHours():
            state = _metered(state, entry.at, entry.hours_h)
        case Irradiance():
            state = _measured(state, entry)
        case ReadingAccepted():
            state = replace(state, accepted=(*state.accepted, entry.reading))
        case Cure():
            state = _cured(state, entry)
        case StationHeld() | StationReleased() | DutyDone():
            state = replace(state, hold=hold_after(state.hold, entry))
    return state


def _started(state: StationState, entry: Station) -> StationState:
    fresh = replace(_set(StationState(state.key), entry), lamp_since_at=entry.at)
    return _metered(fresh, entry.at, entry.hours_h or 0.0)


def _set(state: StationState, entry: Station | StationChanged) -> StationState:
    given = {
        f.name: value
        for f in fields(StationState)
        if f.name not in ("key", "hours_h") and (value := getattr(entry, f.name, None)) is not None
    }
    return replace(state, **given)


def _metered(state: StationState, at: datetime, hours_h: float) -> StationState:
    moved = replace(state, hours_h=hours_h, meter=HoursAt(at, hours_h))
    return _with_point(moved, at)


def _with_point(state: StationState, at: datetime) -> StationState:
    """One point a day is enough to know the usage, and keeps the state small."""
    point = HoursAt(at, state.hours_h)
    kept = state.course
    if len(kept) > 1 and kept[-1].at.date() == at.date():
        kept = kept[:-1]
    return replace(state, course=(*kept, point)[-MOST_DAYS:])


def _relamped(state: StationState, entry: Relamped) -> StationState:
    old = Relamp(entry.at, state.hours_h, entry.by, entry.part or "")
    fresh = replace(
        state, relamps=(*state.relamps, old), readings=(), course=(), lamp_since_at=entry.at,
        new_mw_cm2=entry.new_mw_cm2, first_mw_cm2=None, cures=0, accepted=(), is_cut=False,
        former_new_mw_cm2=state.new_output,
    )  # fmt: skip
    return _metered(fresh, entry.at, entry.hours_h or 0.0)


def _measured(state: StationState, entry: Irradiance) -> StationState:
    if entry.hours_h is not None:
        state = _metered(state, entry.at, entry.hours_h)
    if entry.mean_mw_cm2 < LEAST_MW_CM2:
        return state
    reading = OutputReading(
        entry.at, state.hours_h, entry.at_positions, entry.by, entry.id, entry.radiometer or "",
        entry.instrument or "",
    )  # fmt: skip
    first = reading.mean_mw_cm2 if state.first_mw_cm2 is None else state.first_mw_cm2
    every = (*state.readings, reading)
    is_cut = state.is_cut or len(every) > MOST_READINGS
    return replace(state, readings=every[-MOST_READINGS:], first_mw_cm2=first, is_cut=is_cut)


def _cured(state: StationState, entry: Cure) -> StationState:
    last = LastCure(entry.at, entry.resin, entry.minutes, entry.lot or "", entry.is_too_soon)
    moved = replace(
        state, hours_h=state.hours_h + entry.minutes / 60, cures=state.cures + 1, last_cure=last
    )
    return _with_point(moved, entry.at)


RECIPE_BOOK = Thing(CURE_RECIPE, RecipeState, RecipeState, recipe_after)
