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
from app.domain.meters.correcting import in_quadrature, spread_by, taken_off
from app.domain.meters.sorts import NAMED_AS, SORTS
from app.domain.roomlog.kinds import Reading
from app.domain.roomlog.kinds.instruments import Certified, InstrumentAdded
from app.domain.solvents import solvent

OWN_POINTS = "The room's own calibration already allows for what the instrument shows too much."
OWN_BASELINE = (
    "This fill's fresh solvent was read without naming the {name}. It already allows for what the "
    "{name} shows too much."
)
INSTRUMENT, THERMOMETER = "instrument", "thermometer"


@dataclass(frozen=True)
class Known:
    """An instrument as the filter knows it."""

    sort: str
    certificate: Certificate


@dataclass(frozen=True)
class Part:
    """What the certificate of one instrument does to a reading.

    Attributes:
        named_as: the field of the reading that names the instrument.
        values: of the reading with its offset taken off, by field.
        sd_percent: standard uncertainty of the certificate in the result, mass percent.
        of: which instrument and certificate, in one word; empty where none counts.
        is_corrected: its offset was taken off.
        notes: why not, in sentences.
    """

    named_as: str
    values: Mapping[str, float]
    sd_percent: float = 0.0
    of: str = ""
    is_corrected: bool = False
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class AsCertified:
    """A reading by the certificates of what it was taken with.

    Attributes:
        reading: with the offsets taken off.
        parts: what each certificate does, of those that count.
    """

    reading: Reading
    parts: tuple[Part, ...] = ()

    @property
    def corrected(self) -> frozenset[str]:
        """The fields of the reading whose instrument had its offset taken off."""
        return frozenset(one.named_as for one in self.parts if one.is_corrected)

    @property
    def notes(self) -> tuple[str, ...]:
        """Why an offset was not taken off, in sentences."""
        return tuple(note for one in self.parts for note in one.notes)


def certify(room: RoomState, entry: Certified) -> None:
    """Keep what a certificate says."""
    before = room.instruments.get(entry.instrument)
    sort = entry.sort if isinstance(entry, InstrumentAdded) else before.sort if before else ""
    latest = certificate_after(before.certificate if before else None, entry)
    room.instruments[entry.instrument] = Known(sort, latest)


def as_certified(room: RoomState, facts: TankFacts, reading: Reading) -> AsCertified:
    """A reading of a tank less the offsets of its certificates, and how unsure that leaves it."""
    if not any(getattr(reading, one) in room.instruments for one in NAMED_AS):
        return AsCertified(reading)
    liquid = liquid_to_measure(room, facts)
    parts: list[Part] = []
    for named_as in NAMED_AS:
        part = _part(room, facts, reading, liquid, named_as)
        if part is not None:
            parts.append(part)
            reading = replace(reading, values=part.values)
    return AsCertified(reading, tuple(parts))


def _part(
    room: RoomState, facts: TankFacts, reading: Reading, liquid: BathLiquid, named_as: str
) -> Part | None:
    """What the certificate of one of its instruments does to a reading; None where none does."""
    key: str | None = getattr(reading, named_as)
    known = room.instruments.get(key or "")
    sort = SORTS.get(known.sort) if known else None
    if known is None or sort is None or not sort.is_named(named_as, reading.method, reading.values):
        return None
    one = known.certificate
    is_own = INSTRUMENTS[reading.method].is_calibrated and named_as == INSTRUMENT
    if is_own and solvent(facts.solvent).key in room.points:
        return Part(named_as, reading.values, notes=(OWN_POINTS,) if one.offset else ())
    is_raw = not reading.of_fresh and _has_raw_baseline(liquid, reading, named_as)
    values = reading.values if is_raw else taken_off(reading.values, sort, one.offset)
    sd = spread_by(values, sort.fields, one.uncertainty, lambda at: _percent(reading, at, liquid))
    of = f"{key} {one.entry or one.since_at.isoformat()}"
    notes = (OWN_BASELINE.format(name=named_as),) if is_raw and one.offset else ()
    return Part(named_as, values, sd, of, not is_raw, notes)


def _percent(reading: Reading, values: Mapping[str, float], liquid: BathLiquid) -> float:
    return measure(reading.method, values, liquid).mass_percent


def _has_raw_baseline(liquid: BathLiquid, reading: Reading, named_as: str) -> bool:
    """The fill's fresh solvent was read as it is, most likely with this very instrument: what it
    shows too much is gone from the difference, and would be taken off twice."""
    baseline, is_heat = liquid.baseline, named_as == THERMOMETER
    if baseline is None:
        return False
    if "density_g_ml" in reading.values:
        is_less = baseline.is_density_heat_certified if is_heat else baseline.is_density_certified
        return baseline.density_g_ml is not None and not is_less
    is_less = baseline.is_index_heat_certified if is_heat else baseline.is_index_certified
    is_index = not {"brix_percent", "index"}.isdisjoint(reading.values)
    return is_index and baseline.index is not None and not is_less


def loosen_bias(room: RoomState, seen: AsCertified, channel: str, tank: str) -> float:
    """What the certificates leave unsure, where it belongs; the rest is noise of the reading.

    A bias that the filter follows may be another with another instrument or certificate, by as much
    as that is sure: its variance grows once, and the readings that share it learn it. A thermometer
    shifts each density that is read with it, so it has a part in that bias. Given back is the
    standard uncertainty that is left for the noise, mass percent.
    """
    followed = INSTRUMENTS[channel].bias
    if followed is None:
        return in_quadrature(*(one.sd_percent for one in seen.parts))
    parts = {one.named_as: one for one in seen.parts if one.of}
    for named_as in NAMED_AS:
        key = key_of(channel, tank) + ("" if named_as == INSTRUMENT else f" {named_as}")
        part = parts.get(named_as)
        if part is None:
            if key in room.read_with:
                room.read_with[key] = ""
            continue
        if room.read_with.get(key) != part.of:
            _widen(room, followed, tank, part.sd_percent**2)
        room.read_with[key] = part.of
    return 0.0


def _widen(room: RoomState, followed: str, tank: str, variance: float) -> None:
    """A slow error may be another by so much, in mass percent squared."""
    if followed == ROOM_BIAS:
        walk = np.zeros(room.shared.size)
        walk[HYDROMETER] = variance
        widen(list(room.baths.values()), room.shared, walk)
    else:
        room.baths[tank].spread[:, SENSOR_BIAS, SENSOR_BIAS] += variance
