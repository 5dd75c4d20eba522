"""Readings by a certificate: its offset taken off, its uncertainty in the noise or in the bias.

A reading that names no instrument, or one without a certificate, is taken as it was read.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from app.domain.baths.estimator.bath import SENSOR_BIAS
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.passports import ROOM_BIAS, key_of
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.shared import HYDROMETER
from app.domain.baths.estimator.sightings import liquid_to_measure
from app.domain.baths.estimator.wandering import widen
from app.domain.instruments import INSTRUMENTS, BathLiquid, measure
from app.domain.meters.book import Certificate, certificate_after
from app.domain.meters.correcting import spread_by, taken_off
from app.domain.meters.sorts import SORTS
from app.domain.roomlog.kinds import Reading
from app.domain.roomlog.kinds.instruments import Certified, InstrumentAdded
from app.domain.solvents import solvent

OWN_POINTS = "The room's own calibration already allows for what the instrument shows too much."
OWN_BASELINE = (
    "This fill's fresh solvent was read without naming the instrument. It already allows for what "
    "the instrument shows too much."
)


@dataclass(frozen=True)
class Known:
    """An instrument as the filter knows it."""

    sort: str
    certificate: Certificate


@dataclass(frozen=True)
class AsCertified:
    """A reading by its certificate.

    Attributes:
        reading: with the offset taken off.
        sd_percent: standard uncertainty of the certificate in the result, mass percent.
        of: which instrument and certificate, in one word; empty where none counts.
        is_corrected: the offset of a certificate was taken off.
        notes: why not, in sentences.
    """

    reading: Reading
    sd_percent: float = 0.0
    of: str = ""
    is_corrected: bool = False
    notes: tuple[str, ...] = ()


def certify(room: RoomState, entry: Certified) -> None:
    """Keep what a certificate says."""
    before = room.instruments.get(entry.instrument)
    sort = entry.sort if isinstance(entry, InstrumentAdded) else before.sort if before else ""
    latest = certificate_after(before.certificate if before else None, entry)
    room.instruments[entry.instrument] = Known(sort, latest)


def as_certified(room: RoomState, facts: TankFacts, reading: Reading) -> AsCertified:
    """A reading of a tank less its certificate's offset, and how unsure that leaves it."""
    known = room.instruments.get(reading.instrument or "")
    sort = SORTS.get(known.sort) if known else None
    if known is None or sort is None or not sort.shows(reading.method, reading.values):
        return AsCertified(reading)
    instrument, one = INSTRUMENTS[reading.method], known.certificate
    if instrument.is_calibrated and solvent(facts.solvent).key in room.points:
        return AsCertified(reading, notes=(OWN_POINTS,) if one.offset else ())
    liquid = liquid_to_measure(room, facts)
    is_raw = not reading.of_fresh and _has_raw_baseline(liquid, reading)
    values = reading.values if is_raw else taken_off(reading.values, sort, one.offset)
    sd = spread_by(values, sort.fields, one.uncertainty, lambda at: _percent(reading, at, liquid))
    of = f"{reading.instrument} {one.entry or one.since_at.isoformat()}"
    notes = (OWN_BASELINE,) if is_raw and one.offset else ()
    return AsCertified(replace(reading, values=values), sd, of, not is_raw, notes)


def _percent(reading: Reading, values: Mapping[str, float], liquid: BathLiquid) -> float:
    return measure(reading.method, values, liquid).mass_percent


def _has_raw_baseline(liquid: BathLiquid, reading: Reading) -> bool:
    """The fill's fresh solvent was read as it is, most likely with this very instrument: what it
    shows too much is gone from the difference, and would be taken off twice."""
    baseline = liquid.baseline
    if baseline is None:
        return False
    if "density_g_ml" in reading.values:
        return baseline.density_g_ml is not None and not baseline.is_density_certified
    is_index = not {"brix_percent", "index"}.isdisjoint(reading.values)
    return is_index and baseline.index is not None and not baseline.is_index_certified


def loosen_bias(room: RoomState, seen: AsCertified, channel: str, tank: str) -> float:
    """What a certificate leaves unsure, where it belongs; the rest is noise of the reading.

    A bias that the filter follows may be another with another instrument or certificate, by as much
    as that is sure: its variance grows once, and the readings that share it learn it. Given back is
    the standard uncertainty that is left for the noise, mass percent.
    """
    followed, key = INSTRUMENTS[channel].bias, key_of(channel, tank)
    if followed is None:
        return seen.sd_percent
    if seen.of and room.read_with.get(key) != seen.of:
        variance = seen.sd_percent**2
        if followed == ROOM_BIAS:
            walk = np.zeros(room.shared.size)
            walk[HYDROMETER] = variance
            widen(list(room.baths.values()), room.shared, walk)
        else:
            room.baths[tank].spread[:, SENSOR_BIAS, SENSOR_BIAS] += variance
    if seen.of or key in room.read_with:
        room.read_with[key] = seen.of
    return 0.0
