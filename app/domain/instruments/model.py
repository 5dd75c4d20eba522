"""What an instrument is: the fields it shows, the liquid it is read in, what it measures."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.domain.errors import FieldError
from app.domain.roomlog.fields import FieldSpec
from app.domain.solvents import Solvent

Bias = Literal["hydrometer", "sensor"]
"""The slow errors that the estimate of a bath follows; an instrument may share one."""

Scale = Literal["brix_percent", "index"]

REFERENCE_C = 20.0
RESIN_EXPANSION_G_ML_C = -0.0008  # change of a resin's density per degree; from memory
HOT_C = 45.0
COLD_C = 5.0
HOTTEST_C = 60.0
COLDEST_C = -10.0
LIGHTER_THAN_FRESH = "It reads lighter than fresh solvent."


@dataclass(frozen=True)
class InputField(FieldSpec):
    """One value an instrument shows; `step` is what its scale can be read to."""

    step: float = 0.0


@dataclass(frozen=True)
class Baseline:
    """The fresh solvent of this fill, measured on the same instrument.

    Attributes:
        density_g_ml: as the hydrometer showed it, or None.
        index: refractive index at 20 C, or None.
        temperature_c: of the sample.
        is_density_certified, is_index_certified: less what the instrument shows too much by its
            certificate.
        is_density_heat_certified, is_index_heat_certified: the temperature it was read at was less
            what its thermometer shows too much.
    """

    density_g_ml: float | None
    index: float | None
    temperature_c: float
    is_density_certified: bool = False
    is_index_certified: bool = False
    is_density_heat_certified: bool = False
    is_index_heat_certified: bool = False


@dataclass(frozen=True)
class CalibrationPoint:
    """A sample of known saturation and what the room's refractometer shows for it.

    Attributes:
        scale: what `value` is.
        value: refractive index, or Brix in percent, at 20 C.
        saturation_percent: resin in mass percent.
    """

    scale: Scale
    value: float
    saturation_percent: float


@dataclass(frozen=True)
class BathLiquid:
    """What is known of the liquid before it is measured.

    Attributes:
        purity_percent: of the fresh solvent, mass percent.
        resin_density_g_ml: of the resin in the bath at 20 C.
        baseline: the fresh solvent of this fill on the same instrument.
        calibration: the room's own points for its refractometer in this solvent.
    """

    solvent: Solvent
    purity_percent: float
    resin_density_g_ml: float
    baseline: Baseline | None = None
    calibration: tuple[CalibrationPoint, ...] = ()

    def resin_density_at(self, temperature_c: float) -> float:
        """Density of the resin in g/mL, corrected from 20 C."""
        return self.resin_density_g_ml + RESIN_EXPANSION_G_ML_C * (temperature_c - REFERENCE_C)

    def solvent_density_at(self, temperature_c: float) -> float:
        """Density of the fresh solvent in g/mL: from the table, or shifted to the baseline."""
        density = self.solvent.density_g_ml(temperature_c, self.purity_percent)
        baseline = self.baseline
        if baseline is None or baseline.density_g_ml is None:
            return density
        table = self.solvent.density_g_ml(baseline.temperature_c, self.purity_percent)
        return density + baseline.density_g_ml - table

    def fresh_index(self) -> float:
        """Refractive index of the fresh solvent at 20 C: of the baseline, or from the table."""
        if self.baseline is not None and self.baseline.index is not None:
            return self.baseline.index
        return self.solvent.index(self.purity_percent)


@dataclass(frozen=True)
class Alternative:
    """What the reading would mean if it had been meant differently: a question to ask."""

    question: str
    mass_percent: float


@dataclass(frozen=True)
class Told:
    """What a reading tells for certain, beside which another tells resin from water.

    Attributes:
        of: `density`: g/mL and the temperature in C; `resin`: mass percent, water apart; `index`:
            refractive index at 20 C.
    """

    of: Literal["density", "resin", "index"]
    figures: tuple[float, ...]


@dataclass(frozen=True)
class Measured:
    """What a reading says about the bath.

    Attributes:
        mass_percent: resin in mass percent; below zero where the bath reads lighter than fresh.
        sd_percent: standard uncertainty, mass percent.
        is_apparent: water taken up would look the same.
        channel: key of the instrument it came from.
        notes: what to know about it, in sentences.
        doubts: what is odd about the values alone, in sentences.
        alternatives: likely slips of the pen and what they would mean.
        told: what it pairs with a reading of another kind; None where it pairs with none.
    """

    mass_percent: float
    sd_percent: float
    is_apparent: bool
    channel: str
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    told: Told | None = None


@dataclass(frozen=True)
class Instrument:
    """A way of measuring a bath, with all that the program knows of it.

    Attributes:
        key: its key in room logs, never changed.
        fields: what it shows, by field name.
        required: fields that must be given.
        one_of: fields of which one must be given, and one only.
        filter_sd_percent: noise of one reading in mass percent, as the estimate of the bath takes
            it; slow biases are counted apart.
        help: how to use it, and where it goes wrong.
        convert: values and liquid to what they mean.
        check: what is wrong with values that are each within range.
        baseline: values of fresh solvent, and the baseline before, to the baseline after; None
            where a reading of it says nothing about the fresh solvent.
        bias: the slow error that its readings share.
        sees_filler: filler that floats shows in its figure, as it does in a density.
        reads_itself: nobody types its figure, so a slip of the pen is rarer.
        is_calibrated: the room's own samples of the solvent make it surer.
        words: titles of columns in spreadsheets, and the field that each names.
        place: of its tile among the others, the lowest first.
    """

    key: str
    name: str
    fields: Mapping[str, InputField]
    filter_sd_percent: float
    help: str
    convert: Callable[[Mapping[str, float], BathLiquid], Measured] = field(repr=False)
    required: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()
    check: Callable[[Mapping[str, float]], list[FieldError]] = field(
        repr=False, default=lambda _values: []
    )
    baseline: "Callable[[Mapping[str, float], Baseline | None], Baseline] | None" = field(
        repr=False, default=None
    )
    bias: Bias | None = None
    sees_filler: bool = False
    reads_itself: bool = False
    is_calibrated: bool = False
    words: Mapping[str, str] = field(repr=False, default_factory=dict)
    place: int = 1000

    def problems(self, values: Mapping[str, float]) -> list[FieldError]:
        """What is missing, or does not fit together, in values that are each within range."""
        found = [
            FieldError(name, f"{self.fields[name].label} is missing.")
            for name in self.required
            if values.get(name) is None
        ]
        given = [name for name in self.one_of if values.get(name) is not None]
        if self.one_of and len(given) != 1:
            labels = " or ".join(self.fields[name].label.lower() for name in self.one_of)
            at = self.one_of[0] if not given else given[1]
            found.append(FieldError(at, f"Give {labels}{', not both' if given else ''}."))
        return found or self.check(values)


def temperature_field(of_what: str) -> InputField:
    """The temperature of a sample; the range is wide so that a wrong unit is told apart."""
    return InputField("number", "Temperature", "C", -20, 150, help=of_what, step=0.5)


def temperature_problems(values: Mapping[str, float]) -> list[FieldError]:
    """A temperature no bath has: most likely the other unit."""
    temperature_c = values.get("temperature_c")
    if temperature_c is None or COLDEST_C <= temperature_c <= HOTTEST_C:
        return []
    message = f"No bath is at {temperature_c:.0f} °C. {_other_unit(temperature_c)}"
    return [FieldError("temperature_c", message.strip())]


def temperature_doubts(temperature_c: float) -> tuple[str, ...]:
    """A temperature a bath rarely has and a thermometer in the other unit often shows."""
    if COLD_C <= temperature_c <= HOT_C:
        return ()
    word = "hot" if temperature_c > HOT_C else "cold"
    return (f"{temperature_c:.0f} °C is {word} for a bath. {_other_unit(temperature_c)}".strip(),)


def _other_unit(temperature_c: float) -> str:
    """The question whether the thermometer shows the other unit, where that makes sense."""
    if COLD_C <= celsius(temperature_c) <= HOT_C:
        return f"Was it {temperature_c:.0f} °F, which is {celsius(temperature_c):.1f} °C?"
    fahrenheit = 1.8 * temperature_c + 32
    if COLD_C <= fahrenheit <= HOT_C:
        return f"That is {fahrenheit:.0f} °F. Was it {fahrenheit:.0f} °C?"
    return ""


def celsius(fahrenheit: float) -> float:
    """A reading of a Fahrenheit thermometer in Celsius (NIST SP 811)."""
    return (fahrenheit - 32) / 1.8
