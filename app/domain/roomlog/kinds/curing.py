"""Curing stations: lamps, radiometer readings, recipes of resins, cures.

Irradiance and dose are given in mW/cm2 and mJ/cm2, as radiometers and data sheets do: 1 mW/cm2 is
10 W/m2 and 1 mJ/cm2 is 10 J/m2.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.lot_keys import PART_LOT, of_lot
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Form, Page, Way

STATION = "station"
CURE_RECIPE = "cure_recipe"
SOURCES = ("led", "fluorescent_tube", "metal_halide", "mercury", "xenon", "other")
SOURCE_WORDS = {"led": "LED"}
LAYOUTS = ("centre", "centre_and_corners", "grid_of_nine")
POSITIONS = (
    "back_left", "back", "back_right", "left", "centre", "right",
    "front_left", "front", "front_right",
)  # fmt: skip
MARKED = {
    "centre": ("centre",),
    "centre_and_corners": ("back_left", "back_right", "centre", "front_left", "front_right"),
    "grid_of_nine": POSITIONS,
}
MOST_HOURS = 200_000.0
MOST_MW_CM2 = 5000.0
LEAST_MW_CM2 = 0.001
NO_LIGHT = (
    "No light anywhere is not a reading. Check the meter: unit, range, battery, cap off. If the "
    "lamp is out, hold the station so that nobody cures in it, then relamp it. Enter a single "
    "dark place as 0."
)


@dataclass(frozen=True, kw_only=True)
class StationEntry(LedgerEntry):
    """An entry about one curing station."""

    station: str = spec("key", "Curing station", required=True, thing=STATION)


@dataclass(frozen=True, kw_only=True)
class Station(StationEntry):
    """A curing station comes into use, with a lamp that has run so many hours."""

    kind: ClassVar[str] = "station"
    summary: ClassVar[str] = "Curing station set up"
    sentence: ClassVar[str] = "{by} set up {name}: {source}, {wavelength_nm}[, {rest}]"
    reached: ClassVar[Way] = Page("/stations/new")

    name: str = spec("text", "Name", required=True)
    source: str = spec("choice", "Light source", choices=SOURCES, words=SOURCE_WORDS, required=True)
    wavelength_nm: float = number("Wavelength", "nm", 200, 500, required=True)
    width_nm: float | None = number(
        "Width of its light", "nm", 1, 200,
        help="At half height, from the data sheet. It shows how much light is below 400 nm.",
    )  # fmt: skip
    below_400_percent: float | None = number(
        "Share below 400 nm", "%", 0, 100, help="From the data sheet, if it gives one."
    )
    layout: str = spec("choice", "Marked positions", choices=LAYOUTS, required=True)
    light_sources: int | None = spec(
        "whole", "Lamps or LEDs in the chamber", unit="pieces", low=1, high=100_000,
        help="It decides how far ahead the output can be projected.",
    )  # fmt: skip
    chamber_temperature_c: float | None = number("Chamber temperature", "C", -10, 200)
    hours_h: float | None = number("Hours the lamp has already run", "h", 0, MOST_HOURS)
    new_mw_cm2: float | None = number(
        "Mean output when new", "mW/cm2", LEAST_MW_CM2, MOST_MW_CM2,
        help="Measured here with your radiometer. If empty: the first reading of this lamp.",
    )  # fmt: skip
    relamp_percent: float | None = number("Relamp at", "% of the new output", 10, 99)
    longest_minutes: float | None = number("Longest exposure", "min", 0.1, 1440)
    has_turntable: bool | None = spec("flag", "Has a turntable")


@dataclass(frozen=True, kw_only=True)
class StationChanged(StationEntry):
    """A station's settings change; what is left out stays as it was."""

    kind: ClassVar[str] = "station_changed"
    summary: ClassVar[str] = "Curing station changed"
    sentence: ClassVar[str] = "{by} changed the settings of {station}[: {rest}]"
    reached: ClassVar[Way] = Page("/stations/{station}/settings")

    name: str | None = spec("text", "Name")
    source: str | None = spec("choice", "Light source", choices=SOURCES, words=SOURCE_WORDS)
    wavelength_nm: float | None = number("Wavelength", "nm", 200, 500)
    width_nm: float | None = number("Width of its light", "nm", 1, 200)
    below_400_percent: float | None = number("Share below 400 nm", "%", 0, 100)
    layout: str | None = spec("choice", "Marked positions", choices=LAYOUTS)
    light_sources: int | None = spec(
        "whole", "Lamps or LEDs in the chamber", unit="pieces", low=1, high=100_000
    )
    chamber_temperature_c: float | None = number("Chamber temperature", "C", -10, 200)
    new_mw_cm2: float | None = number("Mean output when new", "mW/cm2", LEAST_MW_CM2, MOST_MW_CM2)
    relamp_percent: float | None = number("Relamp at", "% of the new output", 10, 99)
    longest_minutes: float | None = number("Longest exposure", "min", 0.1, 1440)
    has_turntable: bool | None = spec("flag", "Has a turntable")
    is_retired: bool | None = spec("flag", "Out of use")


@dataclass(frozen=True, kw_only=True)
class Relamped(StationEntry):
    """The lamp or LED array was replaced: hours and readings start anew."""

    kind: ClassVar[str] = "relamped"
    summary: ClassVar[str] = "Relamped"
    sentence: ClassVar[str] = (
        "{by} put a new lamp in {station}[, part or lot {part}][, already run for {hours_h}][, "
        "{new_mw_cm2} when new]"
    )
    reached: ClassVar[Way] = Form(
        at="station", task="relamp", link="Relamp", rank=30,
        title="Relamp {at}", heading="Relamp {at}",
        caution="Lock it out at the supply, let the lamp and chamber cool, and follow the maker's "
        "instructions. Leave wiring to a qualified person. Collect mercury lamps separately; "
        "never break or bin them. Test the interlock before the first cure.",
        rows=(("part",), ("hours_h",), ("new_mw_cm2",)), save="Save the relamp",
    )  # fmt: skip

    hours_h: float | None = number("Hours the new lamp has already run", "h", 0, MOST_HOURS)
    new_mw_cm2: float | None = number("Mean output when new", "mW/cm2", LEAST_MW_CM2, MOST_MW_CM2)
    part: str | None = spec("text", "Part or lot of the lamp")


@dataclass(frozen=True, kw_only=True)
class LampHours(StationEntry):
    """The hour meter of the lamp was read."""

    kind: ClassVar[str] = "lamp_hours"
    summary: ClassVar[str] = "Lamp hours read"
    sentence: ClassVar[str] = "{by} read the lamp hours of {station}: {hours_h}"
    reached: ClassVar[Way] = Form(
        at="station", task="hours", link="Lamp hours", rank=20,
        title="Lamp hours, {at}", heading="Lamp hours at {at}",
        labels={"hours_h": "Hours on the lamp's meter"}, save="Save the hours",
    )  # fmt: skip

    hours_h: float = number("Hours of the lamp", "h", 0, MOST_HOURS, required=True)


def _at(words: str) -> float | None:
    return number(words, "mW/cm2", 0, MOST_MW_CM2)  # type: ignore[no-any-return]


@dataclass(frozen=True, kw_only=True)
class Irradiance(StationEntry):
    """The radiometer was read at the station's marked positions; one without light reads 0."""

    kind: ClassVar[str] = "irradiance"
    summary: ClassVar[str] = "Irradiance measured"
    sentence: ClassVar[str] = "{by} measured the light in {station}[ with {instrument}]: {rest}"
    reached: ClassVar[Way] = Page("/stations/{station}/log/reading")

    centre_mw_cm2: float = number("Centre", "mW/cm2", 0, MOST_MW_CM2, required=True)
    back_left_mw_cm2: float | None = _at("Back left")
    back_mw_cm2: float | None = _at("Back")
    back_right_mw_cm2: float | None = _at("Back right")
    left_mw_cm2: float | None = _at("Left")
    right_mw_cm2: float | None = _at("Right")
    front_left_mw_cm2: float | None = _at("Front left")
    front_mw_cm2: float | None = _at("Front")
    front_right_mw_cm2: float | None = _at("Front right")
    hours_h: float | None = number(
        "Hours of the lamp", "h", 0, MOST_HOURS, help="If empty: as counted so far."
    )
    band_nm: float | None = number("The radiometer is made for", "nm", 200, 500)
    radiometer: str | None = spec("text", "Radiometer")
    instrument: str | None = spec("key", "Instrument", thing="instrument")

    @property
    def at_positions(self) -> dict[str, float]:
        """What was measured, by position."""
        found = ((place, getattr(self, f"{place}_mw_cm2")) for place in POSITIONS)
        return {place: value for place, value in found if value is not None}

    @property
    def mean_mw_cm2(self) -> float:
        """The mean over the positions measured."""
        values = self.at_positions.values()
        return sum(values) / len(values)

    def problems(self) -> list[FieldError]:
        """A lamp that gives no light anywhere has no output to be kept."""
        return [FieldError("centre_mw_cm2", NO_LIGHT)] if self.mean_mw_cm2 < LEAST_MW_CM2 else []


@dataclass(frozen=True, kw_only=True)
class ReadingAccepted(StationEntry):
    """A lead let a reading count that was set aside: the lamp's course starts anew with it."""

    kind: ClassVar[str] = "reading_accepted"
    summary: ClassVar[str] = "Reading accepted"
    sentence: ClassVar[str] = "{lead} let a reading of {station} count: {reason}"
    reached: ClassVar[Way] = Page(
        "/stations/{station}/aside", only_where="a reading of the station is set aside"
    )

    reading: str = spec("key", "Entry of the reading", required=True)
    lead: str = spec("text", "Accepted by", required=True)
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class CureRecipe(LedgerEntry):
    """How a resin is cured: a dose, or a time at a reference output; the latest recipe counts."""

    kind: ClassVar[str] = "cure_recipe"
    summary: ClassVar[str] = "Cure recipe set"
    sentence: ClassVar[str] = "{by} set the cure recipe of {resin}: {rest}"
    reached: ClassVar[Way] = Page("/cure/recipes/{resin}")

    resin: str = spec("key", "Resin", required=True, thing=CURE_RECIPE, names="resin")
    dose_mj_cm2: float | None = number("Dose at the part", "mJ/cm2", 1, 1_000_000)
    reference_minutes: float | None = number("Time at the reference output", "min", 0.05, 1440)
    reference_mw_cm2: float | None = number("Reference output", "mW/cm2", LEAST_MW_CM2, MOST_MW_CM2)
    wavelength_nm: float | None = number("Wavelength", "nm", 200, 500)
    temperature_c: float | None = number("Chamber temperature", "C", -10, 200)
    least_mw_cm2: float | None = number("Lowest irradiance", "mW/cm2", LEAST_MW_CM2, MOST_MW_CM2)
    longest_minutes: float | None = number("Longest exposure", "min", 0.05, 1440)
    dry_minutes: float | None = number(
        "Drying before the cure", "min", 0, 2880, help="If empty: as usual for the solvent."
    )
    turn_half_way: bool | None = spec("flag", "Turn the part halfway")
    preparation: str | None = spec("text", "Before the cure")
    working_curve: tuple[tuple[float, float], ...] | None = spec(
        "points", "Working curve measured", unit="mJ/cm2 and mm", low=0.001, high=100_000,
        help="Exposure in mJ/cm² and cured depth in mm, one pair per line. If empty: none.",
    )  # fmt: skip

    def problems(self) -> list[FieldError]:
        """A dose, or a time with its reference output; not both."""
        at_reference = (self.reference_minutes, self.reference_mw_cm2)
        if self.dose_mj_cm2 is not None and at_reference != (None, None):
            message = "Enter the dose, or the time at a reference output, but not both."
            return [FieldError("reference_minutes", message)]
        if self.dose_mj_cm2 is None and at_reference == (None, None):
            message = "Enter the dose, or a time and the output it applies to."
            return [FieldError("dose_mj_cm2", message)]
        if self.dose_mj_cm2 is None and None in at_reference:
            name = "reference_minutes" if self.reference_minutes is None else "reference_mw_cm2"
            return [FieldError(name, "A time only applies at a given output: enter both.")]
        return []


def check_places(value: Any) -> list[str]:
    """Marked places of a chamber, each once, from the back left to the front right.

    Raises:
        ValueError: no list of such places, or an empty one.
    """
    is_list = isinstance(value, list | tuple) and bool(value)
    if not is_list or not all(one in POSITIONS for one in value):
        raise ValueError(f"Choose places of the chamber: {', '.join(POSITIONS)}.")
    return [place for place in POSITIONS if place in value]


@dataclass(frozen=True, kw_only=True)
class Cure(StationEntry):
    """Parts were cured.

    Attributes:
        dose_mj_cm2: what they received on average over the measured places, by the station's output
            at that time.
        weakest_dose_mj_cm2: what the weakest place received at least, by the lower end of its 90 %
            interval with what the meter may be off by; `weakest_place` says which.
        places: those that parts lay in; None: anywhere in the chamber.
        dried_minutes: from the wash to the cure.
        dry_asked_minutes: how long they should have dried.
    """

    kind: ClassVar[str] = "cure"
    summary: ClassVar[str] = "Cure"
    sentence: ClassVar[str] = (
        "{by} cured [{parts} of ]{resin} in {station} for {minutes}[, in {places} only]"
        "[, lot {lot}][, washed in {tank}][, dried for {dried_minutes}]"
        "[, dose delivered {dose_mj_cm2} on average]"
        "[, at least {weakest_dose_mj_cm2} at the weakest place][: {weakest_place}]"
    )
    reached: ClassVar[Way] = Page("/cure")

    resin: str = spec("key", "Resin", required=True)
    minutes: float = number("Time in the light", "min", 0.05, 1440, required=True)
    lot: str | None = spec("text", "Part lot")
    parts: int | None = spec("whole", "Parts", unit="parts", low=1, high=100_000)
    places: list[str] | None = spec(
        "data", "Places used", check=check_places, example=["centre", "front_left"],
        words={place: place.replace("_", " ") for place in POSITIONS},
        help="If empty: the whole chamber.",
    )  # fmt: skip
    tank: str | None = spec("key", "Washed in")
    washed_at: datetime | None = spec("moment", "Out of the wash")
    dose_mj_cm2: float | None = number("Dose delivered", "mJ/cm2", 0, 100_000_000)
    weakest_dose_mj_cm2: float | None = number(
        "Dose at the weakest place, at least", "mJ/cm2", 0, 100_000_000
    )
    weakest_place: str | None = spec("choice", "Weakest place", choices=POSITIONS)
    dose_asked_mj_cm2: float | None = number("Dose asked for", "mJ/cm2", 0, 100_000_000)
    dried_minutes: float | None = number("Dried for", "min", 0, 10_000_000)
    dry_asked_minutes: float | None = number("Drying asked for", "min", 0, 2880)

    def things(self) -> list[tuple[str, str]]:
        """It is found by its part lot."""
        return [*super().things(), *of_lot(PART_LOT, self.lot)]

    def problems(self) -> list[FieldError]:
        """The wash lies before the cure."""
        if self.washed_at is not None and self.washed_at > self.at:
            return [FieldError("washed_at", "The wash must be before the cure.")]
        return []

    @property
    def is_too_soon(self) -> bool:
        """The parts went under the light before they had dried."""
        asked, dried = self.dry_asked_minutes, self.dried_minutes
        return asked is not None and dried is not None and dried < asked


KINDS_OF_CURING: tuple[type[LedgerEntry], ...] = (
    Station, StationChanged, Relamped, LampHours, Irradiance, ReadingAccepted, CureRecipe, Cure,
)  # fmt: skip
