"""A reading as the filter takes it: its noise, and how likely a slip or missing washes are."""

import math
from datetime import datetime

from app.domain.baths.estimator.bath import HYDROMETER_BIAS, SENSOR_BIAS, Bath
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.readings import Sighting
from app.domain.baths.estimator.roomstate import DAY_S, REFERENCE_C, RoomState, day_of
from app.domain.baths.estimator.shared import SUSPENDED
from app.domain.baths.habits import Habits
from app.domain.instruments import BathLiquid, Measured
from app.domain.roomlog.kinds import Reading
from app.domain.solvents import solvent

BIAS_ROWS = {"hydrometer": HYDROMETER_BIAS, "sensor": SENSOR_BIAS}
YOUNG_DAYS = 3.0
LONGEST_SILENCE_DAYS = 60
LEAST_ML_G = 0.1
SILENCE_COUNTS = 0.02  # from this chance on the silence tells how much is missing


def liquid_to_measure(room: RoomState, facts: TankFacts) -> BathLiquid:
    """What is known of a bath's liquid before it is measured.

    To a hydrometer dissolved resin is as dense as it is, and more so by the filler that floats:
    as far as the room's readings have shown it.
    """
    found = solvent(facts.solvent)
    lift_ml_g = room.filler_lift_ml_g(facts)
    size_ml_g = 1 / room.resin_density_g_ml(facts) - _suspended(room) * lift_ml_g
    return BathLiquid(
        found,
        facts.fresh_purity_percent or found.usual_purity_percent,
        1 / max(size_ml_g, LEAST_ML_G),
        facts.baseline,
        room.points.get(found.key, ()),
    )


def _suspended(room: RoomState) -> float:
    return max(float(room.shared.mean[SUSPENDED]), 0.0)


def _filler_gain(room: RoomState, facts: TankFacts) -> float:
    """Change of a hydrometer's figure with how far filler shows, as a share of the figure."""
    lift_ml_g = room.filler_lift_ml_g(facts)
    if lift_ml_g == 0:
        return 0.0
    liquid = liquid_to_measure(room, facts)
    solvent_ml_g = 1 / liquid.solvent_density_at(REFERENCE_C)
    return lift_ml_g / max(solvent_ml_g - 1 / liquid.resin_density_g_ml, LEAST_ML_G)


def sighting_of(
    room: RoomState, reading: Reading, measured: Measured, facts: TankFacts, bath: Bath
) -> Sighting:
    """What the filter is told of a reading."""
    settings = room.settings
    slip = settings.slip_chance
    if measured.channel == "sensor":
        slip *= settings.sensor_slip_share
    washes = silent_washes(room.habits[reading.tank], facts, reading.at)
    silence = settings.silence_chance / (1 + math.exp(settings.silence_washes - washes))
    load_g = _usual_load_g(room, facts, reading.at)
    if silence > SILENCE_COUNTS:
        load_g = washes * facts.wash_g
    return Sighting(
        percent=measured.mass_percent,
        sd_percent=_sd_percent(room, measured, facts),
        bias_row=BIAS_ROWS.get(measured.channel),
        filler_gain=_filler_gain(room, facts) if measured.channel == "hydrometer" else 0.0,
        suspended=_suspended(room),
        slip_chance=slip,
        silence_chance=silence,
        jump_percent=_in_percent(room, load_g, bath),
        day=day_of(reading.at),
    )


def silent_washes(habits: Habits, facts: TankFacts, at: datetime) -> float:
    """How many washes the longest silence of the log since the last reading would usually hold.

    What is usual on a day is the mean of that weekday in the eight weeks before.
    """
    today = habits.day_of(at)
    first = habits.day_of(facts.last_reading_at or facts.fill_started_at) + 1
    longest = run = 0.0
    for day in range(max(first, today - LONGEST_SILENCE_DAYS), today):
        run = 0.0 if habits.washes_on.get(day) else run + _usual_washes(habits, day)
        longest = max(longest, run)
    return longest


def _usual_washes(habits: Habits, day: int) -> float:
    first_day = day if habits.first_day is None else habits.first_day
    weeks = [day - 7 * back for back in range(1, 9) if day - 7 * back >= first_day]
    return sum(habits.washes_on.get(past, 0) for past in weeks) / len(weeks) if weeks else 0.0


def _sd_percent(room: RoomState, measured: Measured, facts: TankFacts) -> float:
    if measured.channel == "refractometer" and solvent(facts.solvent).key in room.points:
        return room.settings.calibrated_sd_percent
    return float(getattr(room.settings, f"{measured.channel}_sd_percent"))


def _usual_load_g(room: RoomState, facts: TankFacts, at: datetime) -> float:
    """Some days of the load that was logged lately."""
    settings = room.settings
    load_g = settings.jump_days * facts.load_g_per_day
    if facts.fill == 0:  # a young log has not seen its usual load yet
        age_days = max((at - facts.fill_started_at).total_seconds() / DAY_S, YOUNG_DAYS)
        load_g /= 1 - math.exp(-age_days / settings.load_memory_days)
    return load_g


def _in_percent(room: RoomState, load_g: float, bath: Bath) -> float:
    joint = bath.joint(room.shared)
    liquid_g = float((joint.weight @ bath.means(joint))[:2].sum())
    percent = 100 * load_g / max(liquid_g, 1.0)
    return min(max(percent, room.settings.least_jump_percent), room.settings.most_jump_percent)
