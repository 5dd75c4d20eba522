"""An instrument as its entries leave it: what it is, its certificates, whether it may be read."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from app.domain.meters.sorts import SORTS, Sort
from app.domain.roomlog.kinds import Entry, Reading
from app.domain.roomlog.kinds.curing import Irradiance
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    Certified,
    InstrumentAdded,
    InstrumentCalibrated,
    InstrumentPutBack,
    InstrumentRetired,
    InstrumentSetAside,
)
from app.domain.things import Thing, step_by_type

CERTIFICATES_KEPT = 60
ANEMOMETER = "anemometer"


@dataclass(frozen=True)
class Certificate:
    """What is taken off an instrument's readings, and how sure that is.

    Attributes:
        since_at: from when on readings go by it.
        entry: the entry that said it.
        offset: what it shows too much, in its unit; `uncertainty` the standard uncertainty of it.
        number: of the paper.
    """

    since_at: datetime
    entry: str = ""
    offset: float = 0.0
    uncertainty: float = 0.0
    number: str = ""
    calibrated_on: date | None = None
    due_on: date | None = None

    def next_on(self, every_days: int) -> date | None:
        """When it is due: on its own day, else so many days on; None where nobody said either."""
        if self.due_on is not None or self.calibrated_on is None:
            return self.due_on
        return self.calibrated_on + timedelta(days=every_days)


@dataclass(frozen=True)
class InstrumentState:
    """An instrument of the room.

    Attributes:
        of_tank: the tank it is built into; empty where it is moved about.
        certificates: oldest first.
        aside_since_at: since when it is set aside; None while it is in use.
        readings: how many entries name it.
    """

    key: str
    name: str = ""
    sort: str = ""
    serial: str = ""
    of_tank: str = ""
    added_at: datetime | None = None
    certificates: tuple[Certificate, ...] = ()
    aside_since_at: datetime | None = None
    aside_reason: str = ""
    retired_at: datetime | None = None
    readings: int = 0
    last_reading_at: datetime | None = None

    @property
    def is_known(self) -> bool:
        """It was added: entries of one that was withdrawn leave a state without it."""
        return bool(self.name) and self.sort in SORTS

    @property
    def is_here(self) -> bool:
        """It was added and not retired."""
        return self.is_known and self.retired_at is None

    @property
    def what(self) -> Sort:
        """What it is."""
        return SORTS[self.sort]

    @property
    def unit(self) -> str:
        """Of its offset and its uncertainty."""
        return self.what.unit if self.sort in SORTS else ""

    @property
    def certificate(self) -> Certificate | None:
        """The latest one."""
        return self.certificates[-1] if self.certificates else None

    def certificate_at(self, at: datetime) -> Certificate | None:
        """The one that readings of an instant go by; None before the first."""
        return next((one for one in self.certificates[::-1] if one.since_at <= at), None)

    def is_here_at(self, at: datetime) -> bool:
        """It was in the room at an instant."""
        is_added = self.is_known and self.added_at is not None and self.added_at <= at
        return is_added and (self.retired_at is None or at < self.retired_at)

    def may_take(self, entry: Reading | Irradiance | DutyDone) -> bool:
        """Whether what the entry says may have been measured with it."""
        if not self.is_known:
            return False
        if isinstance(entry, DutyDone):
            return self.sort == ANEMOMETER and entry.speed_m_s is not None
        if isinstance(entry, Irradiance):
            return self.what.is_of_light
        is_near = self.of_tank in ("", entry.tank)
        return is_near and self.what.shows(entry.method, entry.values)

    def may_be(self, named_as: str, entry: Reading | Irradiance | DutyDone) -> bool:
        """Whether that field of the entry may name it."""
        return self.is_known and self.what.named_as == named_as and self.may_take(entry)


def certificate_after(before: Certificate | None, entry: Certified) -> Certificate:
    """The certificate that an entry says; figures that it leaves out stay as they were."""
    old = before or Certificate(entry.at)
    said: InstrumentAdded | InstrumentCalibrated = entry  # type: ignore[assignment]
    return Certificate(
        since_at=entry.at,
        entry=entry.id,
        offset=old.offset if said.offset is None else said.offset,
        uncertainty=old.uncertainty if said.uncertainty is None else said.uncertainty,
        number=said.certificate or "",
        calibrated_on=said.calibrated_on,
        due_on=said.due_on,
    )


def _added(state: InstrumentState, entry: InstrumentAdded) -> InstrumentState:
    fresh = replace(
        state, name=entry.name, sort=entry.sort, serial=entry.serial or "",
        of_tank=entry.of_tank or "", added_at=entry.at, retired_at=None,
    )  # fmt: skip
    return _certified(fresh, entry)


def _set_aside(state: InstrumentState, entry: InstrumentSetAside) -> InstrumentState:
    return replace(state, aside_since_at=entry.at, aside_reason=entry.reason)


def _put_back(state: InstrumentState, _: InstrumentPutBack) -> InstrumentState:
    return replace(state, aside_since_at=None, aside_reason="")


def _retired(state: InstrumentState, entry: InstrumentRetired) -> InstrumentState:
    return replace(state, retired_at=entry.at, aside_since_at=None, aside_reason="")


def _read(state: InstrumentState, entry: Reading | Irradiance | DutyDone) -> InstrumentState:
    return replace(state, readings=state.readings + 1, last_reading_at=entry.at)


def _certified(state: InstrumentState, entry: Certified) -> InstrumentState:
    latest = certificate_after(state.certificate, entry)
    return replace(state, certificates=(*state.certificates, latest)[-CERTIFICATES_KEPT:])


_STEPS: Mapping[type[Entry], Callable[[InstrumentState, Any], InstrumentState]] = {
    InstrumentAdded: _added,
    InstrumentCalibrated: _certified,
    InstrumentSetAside: _set_aside,
    InstrumentPutBack: _put_back,
    InstrumentRetired: _retired,
    Reading: _read,
    Irradiance: _read,
    DutyDone: _read,
}


def _after(state: InstrumentState, entry: Entry) -> InstrumentState:
    return step_by_type(_STEPS, state, entry)  # type: ignore[no-any-return]


INSTRUMENT_BOOK = Thing(
    INSTRUMENT,
    InstrumentState,
    InstrumentState,
    _after,
    lambda state: state.retired_at is None,
    version=2,
)
Instruments = Mapping[str, InstrumentState]
"""Instruments of a room by their keys."""


def first_unchecked(
    states: Iterable[InstrumentState], checked_at: datetime | None, now: datetime
) -> InstrumentState | None:
    """The first instrument for baths that was there at an instant, came after the last check of
    them all against a known sample, and had no calibration of its own; None where none did, or
    nobody had checked yet."""
    new = [
        (one.added_at, one.key, one)
        for one in states
        if one.is_here_at(now) and one.what.method and one.added_at is not None
        and checked_at is not None and checked_at < one.added_at
        and ((own := one.certificate_at(now)) is None or own.calibrated_on is None)
    ]  # fmt: skip
    first = min(new, key=lambda each: each[:2], default=None)
    return first[2] if first is not None else None
