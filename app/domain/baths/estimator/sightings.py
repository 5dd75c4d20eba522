"""A reading as the filter takes it: its noise, and how likely a slip or missing washes are."""

import math
from datetime import datetime

from app.domain.baths.estimator.bath import HYDROMETER_BIAS, SENSOR_BIAS, Bath
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.readings import Sighting
from app.domain.baths.estimator.roomstate import DAY_S, RoomState, day_of
from app.domain.instruments import BathLiquid, Measured
from app.domain.solvents import solvent

BIAS_ROWS = {"hydrometer": HYDROMETER_BIAS, "sensor": SENSOR_BIAS}
YOUNG_DAYS = 3.0


def liquid_to_measure(room: RoomState, facts: TankFacts) -> BathLiquid:
    """What is known of a bath's liquid before it is measured."""
    found = solvent(facts.solvent)
    return BathLiquid(
        found,
        facts.fresh_purity_percent or found.usual_purity_percent,
        room.resin_density_g_ml(facts),
        facts.baseline,
        room.points.get(found.key, ()),
    )


def sighting_of(
    room: RoomState, at: datetime, measured: Measured, facts: TankFacts, bath: Bath
) -> Sighting:
    """What the filter is told of a reading."""
    settings = room.settings
    day = day_of(at)
    slip = settings.slip_chance
    if measured.channel == "sensor":
        slip *= settings.sensor_slip_share
    return Sighting(
        percent=measured.mass_percent,
        sd_percent=_sd_percent(room, measured, facts),
        bias_row=BIAS_ROWS.get(measured.channel),
        slip_chance=slip,
        jump_percent=_jump_percent(room, facts, bath, at),
        day=day,
    )


def _sd_percent(room: RoomState, measured: Measured, facts: TankFacts) -> float:
    if measured.channel == "refractometer" and solvent(facts.solvent).key in room.points:
        return room.settings.calibrated_sd_percent
    return float(getattr(room.settings, f"{measured.channel}_sd_percent"))


def _jump_percent(room: RoomState, facts: TankFacts, bath: Bath, at: datetime) -> float:
    """Some days of the load that was logged lately, in mass percent of the bath."""
    settings = room.settings
    load_g = settings.jump_days * facts.load_g_per_day
    if facts.fill == 0:  # a young log has not seen its usual load yet
        age_days = max((at - facts.fill_started_at).total_seconds() / DAY_S, YOUNG_DAYS)
        load_g /= 1 - math.exp(-age_days / settings.load_memory_days)
    joint = bath.joint(room.shared)
    liquid_g = float((joint.weight @ bath.means(joint))[:2].sum())
    percent = 100 * load_g / max(liquid_g, 1.0)
    return min(max(percent, settings.least_jump_percent), settings.most_jump_percent)
