"""A reading as the filter takes it: its noise, and how likely a slip or missing washes are."""

from dataclasses import replace
from functools import lru_cache
from itertools import takewhile

import numpy as np

from app.domain.baths.estimator.bath import HYDROMETER_BIAS, RESIN, SENSOR_BIAS, Bath
from app.domain.baths.estimator.contradictions import (
    CHANNEL,
    PERCENT,
    SD,
    SET_ASIDE_ABOVE,
    SLIP,
    SURELY_APART_SD,
)
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.limits import limits_percent
from app.domain.baths.estimator.readings import Sighting, Swapped, saturation_percent
from app.domain.baths.estimator.roomstate import REFERENCE_C, RoomState, day_of
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import HYDROMETER, REFRACTOMETER, SUSPENDED, Array
from app.domain.baths.estimator.silence import jump_percent, silence_of
from app.domain.instruments import INSTRUMENTS, BathLiquid, Measured
from app.domain.instruments.refractometer import RESIN_INDEX
from app.domain.meters.correcting import in_quadrature
from app.domain.roomlog.kinds import Reading
from app.domain.solvents import solvent

BIAS_ROWS = {"hydrometer": HYDROMETER_BIAS, "sensor": SENSOR_BIAS}
HYDROMETER_KEY = "hydrometer"
LEAST_ML_G = 0.1
NEAR_LIMIT = 0.8
FEW_WASHES = 2  # since the fill: what is found then was in it


def liquid_to_measure(room: RoomState, facts: TankFacts) -> BathLiquid:
    """What is known of a bath's liquid before it is measured.

    To a hydrometer dissolved resin is as dense as it is, and more so by the filler that floats:
    as far as the room's readings have shown it.
    """
    found = solvent(facts.solvent)
    lift_ml_g = room.filler_lift_ml_g(facts)
    size_ml_g = 1 / room.resin_density_g_ml(facts) - suspended(room) * lift_ml_g
    return BathLiquid(
        found,
        facts.fresh_purity_percent or found.usual_purity_percent,
        1 / max(size_ml_g, LEAST_ML_G),
        facts.baseline,
        room.points.get(found.key, ()),
    )


def suspended(room: RoomState) -> float:
    """How far filler is taken to show in a density, 0 or more."""
    return max(float(room.shared.mean[SUSPENDED]), 0.0)


def filler_gain(room: RoomState, facts: TankFacts) -> float:
    """Change of a hydrometer's figure with how far filler shows, as a share of the figure."""
    lift_ml_g = room.filler_lift_ml_g(facts)
    if lift_ml_g == 0:
        return 0.0
    liquid = liquid_to_measure(room, facts)
    solvent_ml_g = 1 / liquid.solvent_density_at(REFERENCE_C)
    return lift_ml_g / max(solvent_ml_g - 1 / liquid.resin_density_g_ml, LEAST_ML_G)


def sighting_of(
    room: RoomState, reading: Reading, measured: Measured, facts: TankFacts, bath: Bath,
    unsure_percent: float = 0.0,
) -> Sighting:  # fmt: skip
    """What the filter is told of a reading.

    `unsure_percent` is what its certificate leaves unsure, a standard uncertainty: independent of
    the scatter, so both add in quadrature (JCGM 100:2008, 5.1.2).
    """
    instrument = INSTRUMENTS[measured.channel]
    silence = silence_of(room, reading.tank, reading.at)
    slip = slip_chance(room, measured.channel, facts)
    is_first = facts.last_reading_at is None or facts.last_reading_at < facts.fill_started_at
    return Sighting(
        percent=measured.mass_percent,
        sd_percent=in_quadrature(_sd_percent(room, measured, facts), unsure_percent),
        bias_row=BIAS_ROWS.get(instrument.bias or ""),
        shared_column=shared_column(room, measured.channel, facts),
        water_gain=_water_gain(room, measured, facts),
        filler_gain=filler_gain(room, facts) if instrument.sees_filler else 0.0,
        suspended=suspended(room),
        slip_chance=slip,
        slip_density=1 / room.settings.slip_percent_span,
        silence_chance=silence.chances(bath.jumped_on),
        wet_chance=0.0,
        off_chance=0.0,
        unexplained_chance=0.0 if instrument.reads_itself else slip * log_doubt(facts),
        jump_percent=_missing_percent(room, silence.load_g, bath, is_first, facts),
        is_first=is_first and facts.washes_since_fill <= FEW_WASHES,
        swapped=_swapped(room, facts, bath),
        full_solvent_g=_full_solvent_g(room, facts, bath),
        day=day_of(reading.at),
    )


def shared_column(room: RoomState, channel: str, facts: TankFacts) -> int | None:
    """Of the bias that an instrument's readings of all baths share.

    A refractometer has one until it was calibrated for the solvent, or has read the fill's own.
    """
    instrument = INSTRUMENTS[channel]
    if instrument.bias == HYDROMETER_KEY:
        return HYDROMETER
    is_known = solvent(facts.solvent).key in room.points or (
        facts.baseline is not None and facts.baseline.index is not None
    )
    return REFRACTOMETER if instrument.is_calibrated and not is_known else None


def doubting_density(room: RoomState, facts: TankFacts, sighting: Sighting) -> Sighting:
    """The same reading, where the solvent may be wetter or the hydrometer further off than usual.

    Solvent is wet from its fill on, a hydrometer off from its first use on: later both are rarer.
    """
    settings, off_chance, wet_chance = room.settings, 0.0, 0.0
    if sighting.bias_row == HYDROMETER_BIAS:
        kept = room.passports.get(HYDROMETER_KEY)
        is_new = kept is None or kept.readings < settings.hydrometer_known_readings
        off_chance = (
            settings.hydrometer_off_chance if is_new else settings.hydrometer_off_later_chance
        )
    if sighting.water_gain:
        is_new = len(facts.recent) < settings.solvent_known_readings
        wet_chance = settings.wet_chance if is_new else settings.wet_later_chance
    return replace(sighting, wet_chance=wet_chance, off_chance=off_chance)


def _missing_percent(
    room: RoomState, load_g: float, bath: Bath, is_first: bool, facts: TankFacts
) -> float:
    if is_first and facts.washes_since_fill <= FEW_WASHES:
        return room.settings.dirty_fill_percent
    return jump_percent(room, load_g, bath)


def slip_chance(room: RoomState, channel: str, facts: TankFacts) -> float:
    """How likely the next reading is a slip: as usual, and more so where the tank's last were."""
    settings = room.settings
    usual = settings.slip_chance
    if INSTRUMENTS[channel].reads_itself:
        usual *= settings.sensor_slip_share
    slips: float = sum(reading[SLIP] for reading in facts.recent)
    chance = (settings.slip_memory * usual + slips) / (settings.slip_memory + len(facts.recent))
    return min(max(chance, usual), settings.most_slip_chance)


def log_doubt(facts: TankFacts) -> float:
    """How many times likelier than usual a reading is right whatever the log says: the more of the
    last ones were set aside one after another, the less is the log to be relied on.

    What stays in the bath errs alike each time: however often it repeats itself, it is one witness,
    and none on its own word.
    """
    aside = takewhile(lambda one: one[SLIP] > SET_ASIDE_ABOVE, reversed(facts.recent))
    by_itself = [INSTRUMENTS[one[CHANNEL]].reads_itself for one in aside]
    return float((1 + by_itself.count(False) + any(by_itself)) ** 2)


def _swapped(room: RoomState, facts: TankFacts, bath: Bath) -> Swapped:
    settings, liquid, joint = room.settings, room.liquid(facts), bath.joint(room.shared)
    percent = float(joint.weight @ saturation_percent(bath.means(joint)))
    chance = settings.swap_chance_per_day
    if percent >= NEAR_LIMIT * limits_percent(facts, liquid)[0]:
        chance *= settings.swap_near_limit
    return Swapped(chance, liquid.fill_g, _load_since_swap_g(settings, facts, liquid.fill_g))


def _load_since_swap_g(settings: Settings, facts: TankFacts, fill_g: float) -> float:
    """The washes of which some came after a swap that nobody logged: those since the last reading
    where that cannot have been of a fresh fill, else those since the one before it."""
    lately_g, before_g = facts.in_lately_g
    believed = [one for one in facts.recent if one[SLIP] <= SET_ASIDE_ABOVE]
    if not believed:
        return before_g
    last = believed[-1]
    of_fresh = settings.heel * last[PERCENT] + 100 * (before_g - lately_g) / fill_g
    reach = SURELY_APART_SD * last[SD]
    return lately_g if last[PERCENT] > of_fresh + reach else before_g


def _full_solvent_g(room: RoomState, facts: TankFacts, bath: Bath) -> Array:
    """Solvent of the bath filled to the mark, its resin as it is."""
    liquid = room.liquid(facts)
    per_resin, per_solvent = liquid.volume_weights
    resin_g = bath.means(bath.joint(room.shared))[:, RESIN]
    full_g: Array = (facts.capacity_l - per_resin * np.maximum(resin_g, 0.0)) / per_solvent
    return full_g


def _water_gain(room: RoomState, measured: Measured, facts: TankFacts) -> float:
    """Mass percent that one percent of water in the solvent adds to what an instrument shows.

    For a density dw/drho_S of `uncertainty` (JCGM 100:2008, 5.1.2) times the solvent's own change
    with water; for a refractive index that of the mixture by volumes.
    """
    return water_gain(room, measured.told.of if measured.told else "", measured.mass_percent, facts)


def water_gain(room: RoomState, of: str, mass_percent: float, facts: TankFacts) -> float:
    """Of what tells a quantity (`density` or `index`) at a saturation; else 0."""
    if of not in ("density", "index"):
        return 0.0
    found = solvent(facts.solvent)
    if not found.has_water_table:
        return 0.0  # so of an own solvent
    purity = facts.fresh_purity_percent or found.usual_purity_percent
    dry, resin = 1 - mass_percent / 100, room.resin_density_g_ml(facts)
    if of == "density":
        return dry * _density_gain(found.key, purity, round(resin, 3))
    return dry * _index_gain(found.key, purity, round(resin, 3))


@lru_cache(maxsize=256)
def _density_gain(key: str, purity_percent: float, resin_g_ml: float) -> float:
    found = solvent(key)
    density = found.density_g_ml(REFERENCE_C, purity_percent)
    wetter = found.density_g_ml(REFERENCE_C, purity_percent - 1)
    if abs(resin_g_ml - density) < LEAST_ML_G:
        return 0.0
    return 100 * resin_g_ml * (wetter - density) / (density * (resin_g_ml - density))


@lru_cache(maxsize=256)
def _index_gain(key: str, purity_percent: float, resin_g_ml: float) -> float:
    found = solvent(key)
    index, wetter = found.index(purity_percent), found.index(purity_percent - 1)
    by_volume = (wetter - index) / (RESIN_INDEX - index)
    return 100 * by_volume * resin_g_ml / found.density_g_ml(REFERENCE_C, purity_percent)


def _sd_percent(room: RoomState, measured: Measured, facts: TankFacts) -> float:
    return noise_percent(room, measured.channel, facts)


def noise_percent(room: RoomState, channel: str, facts: TankFacts) -> float:
    """Scatter of an instrument's readings of a bath, mass percent."""
    instrument = INSTRUMENTS[channel]
    if instrument.is_calibrated and solvent(facts.solvent).key in room.points:
        return room.settings.calibrated_sd_percent
    usual = instrument.filter_sd_percent
    return float(getattr(room.settings, f"{channel}_sd_percent", usual))
