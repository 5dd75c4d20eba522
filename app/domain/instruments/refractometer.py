"""Resin from the refractive index, by the room's own calibration or by mixing volumes."""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.domain.baths.conventions import mass_fraction
from app.domain.errors import FieldError
from app.domain.instruments.model import (
    LIGHTER_THAN_FRESH,
    REFERENCE_C,
    Baseline,
    BathLiquid,
    CalibrationPoint,
    InputField,
    Instrument,
    Measured,
    Told,
    temperature_doubts,
    temperature_field,
    temperature_problems,
)
from app.domain.instruments.scales import index_of_brix

INDEX_PER_C = -0.0004  # change of the refractive index of organic liquids; from memory
RESIN_INDEX = 1.49  # of an uncured acrylate resin at 20 C; from memory
RESIN_INDEX_SD = 0.015
READING_SD = 0.0003
FRESH_INDEX_SD = 0.0005
TEMPERATURE_SD_C = 0.5
LEAST_DIFFERENCE = 0.03
FEWEST_POINTS = 2
BRIX_TRUSTED_WITHIN_C = 3.0
READ_FRESH_FIRST = (
    "This liquid shows on the scale even without resin. Read it while it is fresh and tick "
    "“fresh solvent”; for an old fill, read a fresh sample of the same liquid. Or calibrate the "
    "refractometer for it."
)


@dataclass(frozen=True)
class CalibrationLine:
    """Straight line through a room's calibration points.

    Attributes:
        points: how many points it was drawn through.
        mean_index, mean_percent: their centre.
        slope: mass percent per unit of index.
        spread: sum of the squared distances of the indices from their mean.
        scatter_percent: standard deviation of the points about the line, mass percent.
    """

    points: int
    mean_index: float
    mean_percent: float
    slope: float
    spread: float
    scatter_percent: float

    def percent(self, index: float) -> float:
        """Resin in mass percent at an index at 20 C."""
        return self.mean_percent + self.slope * (index - self.mean_index)

    def sd_percent(self, index: float, index_sd: float) -> float:
        """Standard uncertainty of `percent`, wider away from the points."""
        one = max(self.scatter_percent, abs(self.slope) * READING_SD)
        far = (index - self.mean_index) ** 2 / self.spread
        line = one * math.sqrt(1 / self.points + far)
        return math.hypot(line, self.slope * index_sd)


def calibration_line(points: Sequence[CalibrationPoint]) -> CalibrationLine:
    """Least squares through calibration points.

    Raises:
        FieldError: fewer than two points, or the saturation does not go one way with the index.
    """
    pairs = sorted(
        (index_of(point.scale, point.value), point.saturation_percent) for point in points
    )
    if len(pairs) < FEWEST_POINTS:
        raise FieldError("points", "A calibration needs two samples or more.")
    steps = [(b[0] - a[0], b[1] - a[1]) for a, b in itertools.pairwise(pairs)]
    one_way = all(d > 0 for _, d in steps) or all(d < 0 for _, d in steps)
    if not one_way or any(d <= 0 for d, _ in steps):
        raise FieldError(
            "points",
            "The saturations must rise or fall steadily with the scale. Check the samples.",
        )
    return _fitted(pairs)


def _fitted(pairs: Sequence[tuple[float, float]]) -> CalibrationLine:
    n = len(pairs)
    mean_index = sum(index for index, _ in pairs) / n
    mean_percent = sum(percent for _, percent in pairs) / n
    spread = sum((index - mean_index) ** 2 for index, _ in pairs)
    slope = sum((i - mean_index) * (p - mean_percent) for i, p in pairs) / spread
    residuals = [p - mean_percent - slope * (i - mean_index) for i, p in pairs]
    scatter = math.sqrt(sum(r * r for r in residuals) / (n - 2)) if n > FEWEST_POINTS else 0.0
    return CalibrationLine(n, mean_index, mean_percent, slope, spread, scatter)


def index_of(scale: str, value: float) -> float:
    """The refractive index of a scale value."""
    return index_of_brix(value) if scale == "brix_percent" else value


def index_20c(values: Mapping[str, float]) -> float:
    """Refractive index at 20 C of a reading in Brix or as index.

    Brix scales compensate the temperature themselves, so only an index is corrected.
    """
    if values.get("brix_percent") is not None:
        return index_of_brix(values["brix_percent"])
    return values["index"] - INDEX_PER_C * (values["temperature_c"] - REFERENCE_C)


def convert(values: Mapping[str, float], liquid: BathLiquid) -> Measured:
    """Resin in mass percent from `brix_percent` or `index` read at `temperature_c`.

    With two or more calibration points a straight line through them, otherwise
    n = phi n_R + (1 - phi) n_S with the volume fraction phi.

    Raises:
        FieldError: the resin bends light like the solvent, the reading is past the resin's, or
            what the fresh liquid shows is not known.
    """
    index, notes = index_20c(values), _notes(values)
    line = _line(liquid, notes)
    index_sd = math.hypot(READING_SD, INDEX_PER_C * TEMPERATURE_SD_C)
    if line is not None:
        percent, sd = line.percent(index), line.sd_percent(index, index_sd)
    else:
        field = "index" if values.get("brix_percent") is None else "brix_percent"
        percent, sd = _by_volume(index, index_sd, liquid, field)
        notes.append("Without the room's own calibration this is rough.")
    if percent < 0:
        notes.append(LIGHTER_THAN_FRESH.replace("lighter", "lower"))
    hot = temperature_doubts(values["temperature_c"])
    told = Told("index", (index,))
    return Measured(percent, sd, False, "refractometer", tuple(notes), hot, told=told)


def _line(liquid: BathLiquid, notes: list[str]) -> CalibrationLine | None:
    if len(liquid.calibration) < FEWEST_POINTS:
        return None
    try:
        return calibration_line(liquid.calibration)
    except FieldError:
        notes.append("The room's calibration points contradict each other, so they were not used.")
        return None


def _notes(values: Mapping[str, float]) -> list[str]:
    away_c = abs(values["temperature_c"] - REFERENCE_C)
    if values.get("brix_percent") is not None and away_c > BRIX_TRUSTED_WITHIN_C:
        return ["A Brix scale compensates temperature for sugar water: bring the sample to 20 °C."]
    return []


def _by_volume(
    index: float, index_sd: float, liquid: BathLiquid, field: str
) -> tuple[float, float]:
    has_baseline = liquid.baseline is not None and liquid.baseline.index is not None
    if liquid.solvent.needs_fresh_index and not has_baseline:
        raise FieldError(field, READ_FRESH_FIRST)
    fresh = liquid.fresh_index()
    difference = RESIN_INDEX - fresh
    if difference < LEAST_DIFFERENCE:
        message = "The resin bends light like this solvent. Calibrate, or use another method."
        raise FieldError(field, message)
    phi = (index - fresh) / difference
    densities = (liquid.resin_density_g_ml, liquid.solvent_density_at(REFERENCE_C))
    if phi > 1:
        raise FieldError(field, "This is above the refractive index of the resin itself.")
    fresh_sd = index_sd if has_baseline else FRESH_INDEX_SD
    phi_sd = math.hypot(index_sd, (1 - phi) * fresh_sd, phi * RESIN_INDEX_SD) / difference
    percent = 100 * mass_fraction(phi, *densities)
    step = 1e-4
    slope = (mass_fraction(phi + step, *densities) - mass_fraction(phi - step, *densities)) / (
        2 * step
    )
    return percent, 100 * slope * phi_sd


def baseline(values: Mapping[str, float], before: Baseline | None) -> Baseline:
    """The index of the fresh solvent; the density stays as it was read."""
    if before is None:
        return Baseline(None, index_20c(values), values["temperature_c"])
    return Baseline(before.density_g_ml, index_20c(values), before.temperature_c)


REFRACTOMETER = Instrument(
    key="refractometer",
    name="Refractometer",
    fields={
        "brix_percent": InputField("number", "Brix", "%", 0, 85, step=0.1),
        "index": InputField("number", "Refractive index", "", 1.32, 1.60, step=0.0001),
        "temperature_c": temperature_field("The prism's and the drop's."),
    },
    required=("temperature_c",),
    one_of=("brix_percent", "index"),
    filter_sd_percent=0.50,
    help=(
        "One drop on the prism. Calibrate it once with two or more samples of known saturation, "
        "weighed in with your own resin and solvent. Fillers blur the line: let them settle."
    ),
    convert=convert,
    check=temperature_problems,
    baseline=baseline,
    is_calibrated=True,
    words={"brix": "brix_percent", "refractive index": "index", "nd": "index"},
    place=40,
)
