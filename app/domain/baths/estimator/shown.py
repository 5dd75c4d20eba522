"""What each instrument would show of a bath, sample by sample, before its scatter."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from app.domain.baths.estimator.bath import (
    HYDROMETER_BIAS,
    RESIN,
    SENSOR_BIAS,
    SOLVENT,
    WATER,
)
from app.domain.baths.estimator.readings import saturation_percent
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.shared import HYDROMETER, REFRACTOMETER, SUSPENDED, Array
from app.domain.baths.estimator.sightings import (
    filler_gain,
    noise_percent,
    shared_column,
    slip_chance,
    suspended,
    water_gain,
)
from app.domain.instruments import INSTRUMENTS, Instrument
from app.domain.solvents import solvent

WEIGHED = "residue"  # what stays when the solvent has dried: not of one that does not


@dataclass(frozen=True, slots=True)
class Shown:
    """An instrument at a bath.

    Attributes:
        percent: what it would show, mass percent, a value a sample.
        noise_percent: its scatter; `slip_chance` that its reading is a slip, which lies anywhere
            within `slip_span_percent`.
    """

    percent: Array
    noise_percent: float
    slip_chance: float
    slip_span_percent: float


def usable(room: RoomState, tank: str) -> tuple[str, ...]:
    """The instruments that the room reads its baths with by hand; a residue test where it has used
    none of late."""
    channels = {reading[1] for facts in room.tanks.values() for reading in facts.recent}
    by_hand = sorted(key for key in channels if not INSTRUMENTS[key].reads_itself) or [WEIGHED]
    dries = not solvent(room.facts(tank).solvent).dries_slowly
    return tuple(key for key in by_hand if dries or key != WEIGHED)


def shown_by(room: RoomState, tank: str, shared: Array, state: Array) -> Mapping[str, Shown]:
    """Of each usable instrument what it would show of samples of the room and of the bath."""
    return {key: _shown(room, tank, INSTRUMENTS[key], shared, state) for key in usable(room, tank)}


def _shown(
    room: RoomState, tank: str, instrument: Instrument, shared: Array, state: Array
) -> Shown:
    facts, settings = room.tanks[tank], room.settings
    held = np.maximum(state[:, [RESIN, SOLVENT]], [0.0, 1.0])
    percent = saturation_percent(held)
    middle = float(percent.mean())
    if instrument.sees_filler:
        off = shared[:, SUSPENDED] - suspended(room)
        percent = percent * (1 + filler_gain(room, facts) * off)
    of = (
        "density"
        if instrument.bias == "hydrometer"
        else "index"
        if instrument.is_calibrated
        else ""
    )
    percent = percent + water_gain(room, of, middle, facts) * state[:, WATER]
    if instrument.bias == "hydrometer":
        percent = percent + state[:, HYDROMETER_BIAS] + shared[:, HYDROMETER]
    elif shared_column(room, instrument.key, facts) == REFRACTOMETER:
        percent = percent + shared[:, REFRACTOMETER]
    elif instrument.bias == "sensor":
        percent = percent + state[:, SENSOR_BIAS]
    return Shown(
        percent,
        noise_percent(room, instrument.key, facts),
        slip_chance(room, instrument.key, facts),
        settings.slip_percent_span,
    )
