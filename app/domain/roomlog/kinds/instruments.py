"""The room's instruments: added, calibrated again, set aside, put back, retired.

An offset is what an instrument shows too much, and it is taken off; an uncertainty is a standard
one (a certificate's expanded uncertainty divided by its coverage factor, JCGM 100:2008, 6.2.1).
Both are in the unit of the instrument (`domain/meters/sorts`): those of a UV meter are percent of
what it shows.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.meters.sorts import SORT_WORDS, SORTS
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.life import Form, Page, Way

INSTRUMENT = "instrument"
MOST = 100.0
A_DAY = timedelta(days=1)  # a room east of Greenwich is a day ahead
UNCERTAINTY_HELP = "If the certificate gives an expanded uncertainty, divide it by its factor k."
DUE_HELP = "If empty: as often as the due list says, from the calibration on."


@dataclass(frozen=True, kw_only=True)
class Certified(Entry):
    """What a certificate says of an instrument; it moves the estimate of baths it reads."""

    instrument: str = spec("key", "Instrument", required=True, thing=INSTRUMENT)

    @property
    def calibrated_day(self) -> date | None:
        """When it was calibrated, as the entry says."""
        return getattr(self, "calibrated_on", None)

    def problems(self) -> list[FieldError]:
        """A calibration is past, and the next one comes after it."""
        found, day = [], self.calibrated_day
        due_on: date | None = getattr(self, "due_on", None)
        if day is not None and day > (self.at + A_DAY).date():
            found.append(FieldError("calibrated_on", "Enter the day it was calibrated, not later."))
        if due_on is not None and day is None:
            found.append(FieldError("calibrated_on", "Enter the day it was calibrated too."))
        if day is not None and due_on is not None and due_on <= day:
            found.append(FieldError("due_on", "The due day must be after the calibration."))
        return found


def figure_problems(sort: str, entry: Certified) -> list[FieldError]:
    """Figures that no instrument of that sort has: most likely another unit."""
    known = SORTS.get(sort)
    if known is None:
        return []
    return [
        FieldError(
            name,
            f"This is too much for a {known.called}: {known.most:g} {known.unit} at most. "
            f"Enter it in {known.unit}.",
        )
        for name in ("offset", "uncertainty")
        if (value := getattr(entry, name, None)) is not None and abs(value) > known.most
    ]


@dataclass(frozen=True, kw_only=True)
class InstrumentAdded(Certified):
    """An instrument comes into use in the room."""

    kind: ClassVar[str] = "instrument"
    summary: ClassVar[str] = "Instrument added"
    sentence: ClassVar[str] = "{by} added {name} to the instruments: {sort}[, {rest}]"
    reached: ClassVar[Way] = Page("/instruments/new")

    name: str = spec("text", "Name", required=True)
    sort: str = spec(
        "choice", "Type of instrument", choices=tuple(SORTS), words=SORT_WORDS, required=True
    )
    serial: str | None = spec("text", "Serial number")
    of_tank: str | None = spec(
        "key", "Tank it is built into", names="tank",
        help="Of an in-line sensor. If empty: it has no fixed place.",
    )  # fmt: skip
    offset: float | None = number(
        "Reads too high by", "", -MOST, MOST, counted_as=INSTRUMENT,
        help="From the certificate, in the unit above. Below zero: it reads too low. If empty: 0.",
    )  # fmt: skip
    uncertainty: float | None = number(
        "Standard uncertainty", "", 0, MOST, counted_as=INSTRUMENT,
        help=f"In the unit above. {UNCERTAINTY_HELP}",
    )  # fmt: skip
    certificate: str | None = spec("text", "Certificate number")
    calibrated_on: date | None = spec("day", "Calibrated on")
    due_on: date | None = spec("day", "Calibration due on", help=DUE_HELP)

    def problems(self) -> list[FieldError]:
        """Dates and figures fit together; only a sensor is built into a tank."""
        found = super().problems() + figure_problems(self.sort, self)
        if self.of_tank is not None and self.sort != "sensor":
            found.append(FieldError("of_tank", "Only an in-line sensor is built into a tank."))
        return found


@dataclass(frozen=True, kw_only=True)
class InstrumentCalibrated(Certified):
    """An instrument was calibrated again: its readings from then on go by the new certificate."""

    kind: ClassVar[str] = "instrument_calibrated"
    summary: ClassVar[str] = "Instrument calibrated"
    sentence: ClassVar[str] = "{by} entered a calibration of {instrument}[: {rest}]"
    reached: ClassVar[Way] = Form(
        at=INSTRUMENT, task="calibration", link="Calibrated again", rank=10,
        title="Calibration of {at}", heading="Calibration of {at}",
        about="Readings from this time on use the new figures. Earlier ones keep theirs.",
        rows=(("calibrated_on", "due_on"), ("offset", "uncertainty"), ("certificate",)),
        save="Save the calibration",
    )  # fmt: skip

    calibrated_on: date = spec("day", "Calibrated on", required=True)
    due_on: date | None = spec("day", "Calibration due on", help=DUE_HELP)
    offset: float | None = number(
        "Reads too high by", "", -MOST, MOST, counted_as=INSTRUMENT,
        help="Below zero: it reads too low. If empty: as before.",
    )  # fmt: skip
    uncertainty: float | None = number(
        "Standard uncertainty", "", 0, MOST, counted_as=INSTRUMENT,
        help=f"If empty: as before. {UNCERTAINTY_HELP}",
    )  # fmt: skip
    certificate: str | None = spec("text", "Certificate number")


@dataclass(frozen=True, kw_only=True)
class InstrumentEntry(LedgerEntry):
    """An entry about one instrument that changes no figure."""

    instrument: str = spec("key", "Instrument", required=True, thing=INSTRUMENT)


@dataclass(frozen=True, kw_only=True)
class InstrumentSetAside(InstrumentEntry):
    """An instrument is not to be read until it is put back."""

    kind: ClassVar[str] = "instrument_set_aside"
    summary: ClassVar[str] = "Instrument set aside"
    sentence: ClassVar[str] = "{by} set aside {instrument}: {reason}"
    reached: ClassVar[Way] = Form(
        at=INSTRUMENT, task="set-aside", link="Set aside", rank=20,
        title="Set aside {at}", heading="Set aside {at}",
        about="Nobody can log a reading with it until it is put back.", save="Set it aside",
        only_where="the instrument is in use",
    )  # fmt: skip

    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class InstrumentPutBack(InstrumentEntry):
    """An instrument that was set aside may be read again."""

    kind: ClassVar[str] = "instrument_put_back"
    summary: ClassVar[str] = "Instrument put back"
    sentence: ClassVar[str] = "{by} put {instrument} back into use: {reason}"
    reached: ClassVar[Way] = Form(
        at=INSTRUMENT, task="put-back", link="Put back", rank=21,
        title="Put back {at}", heading="Put {at} back into use",
        about="Check it against a known sample first.", save="Put it back",
        only_where="the instrument is set aside",
    )  # fmt: skip

    reason: str = spec("text", "What was done", required=True)


@dataclass(frozen=True, kw_only=True)
class InstrumentRetired(InstrumentEntry):
    """An instrument has left the room for good."""

    kind: ClassVar[str] = "instrument_retired"
    summary: ClassVar[str] = "Instrument retired"
    sentence: ClassVar[str] = "{by} retired {instrument}[: {reason}]"
    reached: ClassVar[Way] = Form(
        at=INSTRUMENT, task="retire", link="Retire", rank=30,
        title="Retire {at}", heading="Retire {at}",
        about="Its readings stay in the log as they are. It is no longer offered.",
        save="Retire it", only_where="the instrument is not retired",
    )  # fmt: skip

    reason: str | None = spec("text", "Reason")


CERTIFIED: tuple[type[Certified], ...] = (InstrumentAdded, InstrumentCalibrated)
KINDS_OF_INSTRUMENTS: tuple[type[Entry], ...] = (
    *CERTIFIED, InstrumentSetAside, InstrumentPutBack, InstrumentRetired,
)  # fmt: skip
