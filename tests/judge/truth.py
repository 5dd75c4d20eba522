"""What is true of a made-up room: its constants, its baths' masses, when limits were passed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.random import Generator

from tests.judge.families import Family
from tests.judge.physics import Bath, label_density_g_ml

START = datetime(2026, 1, 5, tzinfo=UTC)  # a Monday
NOMINAL_FILM_G_CM2 = math.sqrt(0.01 * 0.03)


def moment(days: float) -> datetime:
    """The instant `days` after the start."""
    return START + timedelta(days=days)


@dataclass(frozen=True)
class ResinTruth:
    """A resin as it is: what a cm2 of part really brings into the bath, and how dense the
    dissolved part with what floats beside it seems to a hydrometer."""

    key: str
    label_density_g_ml: float
    binder_density_g_ml: float
    shown_density_g_ml: float
    filler_fraction: float
    is_filler_told: bool
    dissolved_g_cm2: float


@dataclass(frozen=True)
class RoomTruth:
    """What holds for the whole room: how people work, and how well they log."""

    resins: tuple[ResinTruth, ...]
    cm2_per_g: float
    cm2_per_part: float
    drag_out_ml_cm2: float
    wash_ln_sd: float
    unlogged_share: float
    late_share: float
    logged_as: str
    level_ln_sd: float
    level_days: float
    works_saturday: bool
    hydrometer_sd_percent: float
    hydrometer_bias_sd_percent: float
    sensor_sd_percent: float
    residue_sd_percent: float


@dataclass
class Cycle:
    """One fill of one tank. `crossed_at` is when the limit was first passed, or would have been
    had no swap come before it; None where the history ends first."""

    tank: str
    started_at: datetime
    limit_percent: float
    ended_at: datetime | None = None
    crossed_at: datetime | None = None


@dataclass
class Track:
    """A bath's true masses through time."""

    days: list[float] = field(default_factory=list)
    resin_g: list[float] = field(default_factory=list)
    solvent_g: list[float] = field(default_factory=list)

    def note(self, days: float, bath: Bath) -> None:
        self.days.append(days)
        self.resin_g.append(float(bath.resin_g.sum()))
        self.solvent_g.append(bath.solvent_g)

    def saturation_percent(self, at: Sequence[datetime]) -> np.ndarray:
        """At each instant, everything up to and including it."""
        days = np.array([(when - START) / timedelta(days=1) for when in at])
        known = np.array(self.days)
        after = np.clip(np.searchsorted(known, days + 1e-9, side="right"), 1, len(known) - 1)
        span = np.maximum(known[after] - known[after - 1], 1e-12)
        share = np.clip((days - known[after - 1]) / span, 0, 1)
        resin, solvent = np.array(self.resin_g), np.array(self.solvent_g)
        # Between two notes only evaporation goes on; an event is noted before and after itself.
        solvent_g = solvent[after - 1] + share * (solvent[after] - solvent[after - 1])
        return np.asarray(100 * resin[after - 1] / (resin[after - 1] + solvent_g))


def draw_truth(family: Family, rng: Generator) -> RoomTruth:
    """A room's constants: typical values with the spread between rooms."""
    room_film = NOMINAL_FILM_G_CM2 * family.carry_in_factor * math.exp(rng.normal(0, 0.25))
    return RoomTruth(
        resins=tuple(_draw_resin(family, i, room_film, rng) for i in range(family.resins)),
        cm2_per_g=4.0 * math.exp(rng.normal(0, 0.22)),
        cm2_per_part=150 * math.exp(rng.normal(0, 0.28)),
        drag_out_ml_cm2=0.010 * math.exp(rng.normal(0, 0.3)),
        wash_ln_sd=rng.uniform(0.22, 0.38),
        unlogged_share=rng.uniform(0.04, 0.14),
        late_share=rng.uniform(0.0, 0.2),
        logged_as=str(rng.choice(["area", "mass", "parts", "mixed"], p=[0.4, 0.25, 0.15, 0.2])),
        level_ln_sd=rng.uniform(0.25, 0.5),
        level_days=rng.uniform(9, 20),
        works_saturday=bool(rng.random() < 0.5),
        hydrometer_sd_percent=rng.uniform(0.6, 0.95),
        hydrometer_bias_sd_percent=0.45,
        sensor_sd_percent=rng.uniform(0.25, 0.4),
        residue_sd_percent=rng.uniform(0.12, 0.2),
    )


def _draw_resin(family: Family, index: int, room_film: float, rng: Generator) -> ResinTruth:
    filler = family.filler_fraction if index == 0 else 0.0
    binder = rng.uniform(1.06, 1.16)
    label = label_density_g_ml(binder, filler)
    film = room_film * math.exp(rng.normal(0, 0.18))
    return ResinTruth(
        key=f"resin{index + 1}",
        label_density_g_ml=round(label, 3),
        binder_density_g_ml=binder,
        shown_density_g_ml=1 / ((1 - family.filler_shown) / binder + family.filler_shown / label),
        filler_fraction=filler,
        is_filler_told=family.is_filler_told,
        dissolved_g_cm2=film * (1 - filler),
    )
