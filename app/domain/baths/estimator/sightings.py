"""A reading as the filter takes it: its noise, and how likely a slip or missing washes are."""

from app.domain.baths.estimator.bath import HYDROMETER_BIAS, SENSOR_BIAS, Bath
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.readings import Sighting
from app.domain.baths.estimator.roomstate import REFERENCE_C, RoomState, day_of
from app.domain.baths.estimator.shared import SUSPENDED
from app.domain.baths.estimator.silence import jump_percent, silence_of
from app.domain.instruments import INSTRUMENTS, BathLiquid, Measured
from app.domain.roomlog.kinds import Reading
from app.domain.solvents import solvent

BIAS_ROWS = {"hydrometer": HYDROMETER_BIAS, "sensor": SENSOR_BIAS}
LEAST_ML_G = 0.1


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
    instrument = INSTRUMENTS[measured.channel]
    if instrument.reads_itself:
        slip *= settings.sensor_slip_share
    silence = silence_of(room, reading.tank, reading.at)
    return Sighting(
        percent=measured.mass_percent,
        sd_percent=_sd_percent(room, measured, facts),
        bias_row=BIAS_ROWS.get(instrument.bias or ""),
        filler_gain=_filler_gain(room, facts) if instrument.sees_filler else 0.0,
        suspended=_suspended(room),
        slip_chance=slip,
        silence_chance=silence.chances(bath.jumped_on),
        jump_percent=jump_percent(room, silence.load_g, bath),
        day=day_of(reading.at),
    )


def _sd_percent(room: RoomState, measured: Measured, facts: TankFacts) -> float:
    instrument = INSTRUMENTS[measured.channel]
    if instrument.is_calibrated and solvent(facts.solvent).key in room.points:
        return room.settings.calibrated_sd_percent
    usual = instrument.filter_sd_percent
    return float(getattr(room.settings, f"{measured.channel}_sd_percent", usual))
