"""Taking a reading in: what it measures, whose it may be, what it leaves for the next ones."""

import math
from dataclasses import dataclass, replace

from app.domain.baths.estimator import (
    bending,
    pairs,
    passports,
    readings,
    transitions,
    untold_pairs,
)
from app.domain.baths.estimator.bath import HYDROMETER_BIAS, SENSOR_BIAS
from app.domain.baths.estimator.beliefs import SET_ASIDE_ABOVE, slip_weight, watch_missing
from app.domain.baths.estimator.certified import (
    INSTRUMENT,
    THERMOMETER,
    as_certified,
    loosen_bias,
)
from app.domain.baths.estimator.contradictions import RECENT, SLIP, are_apart
from app.domain.baths.estimator.mixture import glance
from app.domain.baths.estimator.results import Effect
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.scene import Scene
from app.domain.baths.estimator.shared import REFRACTOMETER
from app.domain.baths.estimator.sightings import doubting_density, liquid_to_measure, sighting_of
from app.domain.baths.estimator.watch import watch_water
from app.domain.errors import DomainError
from app.domain.instruments import Baseline, baseline_of, measure
from app.domain.roomlog import kinds

OTHER_TANK_CHANCE = 0.3  # against each slip of the pen; from memory
OTHER_TANK_AGAIN = 0.1  # of the next one: the same mistake twice is less likely
MUCH_BETTER = 5.0
SURPRISING_SD = 2.5  # within as many a reading is not looked for in other tanks
CURIOUS_SD = 1.0  # within as many neither solvent nor instrument is doubted: most readings are
NOT_FRESH_PERCENT = 2.5  # beyond what instrument and water of a fresh solvent may show


def take_reading(scene: Scene, reading: kinds.Reading) -> Effect:
    room, facts = scene.room, scene.facts
    seen = as_certified(room, facts, reading)
    reading, note = seen.reading, seen.notes
    if reading.of_fresh:
        of, more = _fresh(scene, reading, seen.corrected)
        note += more
        if of == "density":
            return scene.effect(notes=note)
    liquid = liquid_to_measure(room, facts)
    try:
        measured = measure(reading.method, reading.values, liquid)
    except DomainError as error:
        return scene.effect(notes=(str(error),))
    unsure_percent = loosen_bias(room, seen, measured.channel, reading.tank)
    sighting = sighting_of(room, reading, measured, facts, scene.bath, unsure_percent)
    to_mark_l = scene.to_mark_l()
    expected, variance = readings.foretold(scene.bath, room.shared, sighting)
    is_supposed = untold_pairs.is_supposed(scene.bath)
    sd_percent = math.hypot(math.sqrt(variance), sighting.sd_percent)
    if not has_bias(sighting) and not is_supposed:  # a slow error would speak again and again
        untold_pairs.weigh_reading(scene, sighting.percent, expected, sd_percent)
    if abs(sighting.percent - expected) > CURIOUS_SD * sd_percent:
        sighting = doubting_density(room, facts, sighting)
    owner = Owner(None, 0.0, sighting.slip_density)
    if abs(sighting.percent - expected) > SURPRISING_SD * sd_percent:
        owner = _owner(scene, sighting, _normal(sighting.percent - expected, sd_percent))
        sighting = replace(sighting, slip_density=owner.density)
    _learn(scene, sighting)
    if is_supposed:
        untold_pairs.decide(scene)
    pairs.doubt_clean(room, reading.tank, sighting.day)
    facts.last_reading_at = reading.at
    slip = slip_weight(scene.bath, scene.joint)
    jump = watch_missing(facts, scene.bath, scene.joint, sighting.day)
    before = to_mark_l, sighting.percent - expected
    _remember(scene, sighting, measured.channel, slip, before, owner)
    missed = passports.Missed(sighting.percent - expected, variance, sighting.sd_percent**2)
    read = (measured.channel, reading.tank, sighting.day)
    passports.note(room, facts, read, missed, slip)
    notes = measured.notes + note + watch_water(reading, measured, facts, liquid)
    return scene.effect(
        correction_g=scene.resin_now_g() - scene.resin_g,
        measured=measured, slip_weight=slip, is_set_aside=slip > SET_ASIDE_ABOVE,
        jump_weight=jump, notes=notes,
    )  # fmt: skip


def _learn(scene: Scene, sighting: readings.Sighting) -> None:
    """Condition the bath on what is seen, and let the room's others follow what it tells of all."""
    shared = scene.room.shared
    mean, root = shared.mean, shared.root
    readings.read(scene.bath, shared, sighting, scene.room.settings)
    others = (bath for bath in scene.room.baths.values() if bath is not scene.bath)
    bending.follow(others, mean, root, shared)
    scene.joint = scene.bath.joint(shared)


def _fresh(
    scene: Scene, reading: kinds.Reading, corrected: frozenset[str]
) -> tuple[str, tuple[str, ...]]:
    """A reading of fresh solvent: the baseline of later ones. What it told of, and a sentence where
    it is not fresh."""
    facts, of, shown = scene.facts, "", 0.0
    try:
        plain = replace(liquid_to_measure(scene.room, facts), baseline=None)
        measured = measure(reading.method, reading.values, plain)
        of, shown = measured.told.of if measured.told else "", measured.mass_percent
    except DomainError:
        pass  # fresh solvent need not be within what the instrument converts
    facts.is_fill_dirty = shown > NOT_FRESH_PERCENT
    if not facts.is_fill_dirty or of == "density":
        facts.baseline = _baseline(facts.baseline, reading, corrected)
    if of == "density":
        transitions.start_from_baseline(scene.bath, scene.room.settings)
    if not facts.is_fill_dirty:
        return of, ()
    facts.dismissed.pop("fill_not_fresh", None)  # read anew, it is said anew
    return of, (f"{shown:.1f} % more than fresh solvent shows. This fill is not fresh.",)


def _baseline(
    before: Baseline | None, reading: kinds.Reading, corrected: frozenset[str]
) -> Baseline | None:
    """The baseline after a reading of fresh solvent, and whether each of its figures is less what
    its instrument shows too much, and what the thermometer does."""
    found = baseline_of(reading.method, reading.values, before)
    if found is None or found is before:
        return found
    old, is_own, is_heat = before or found, INSTRUMENT in corrected, THERMOMETER in corrected
    if "density_g_ml" in reading.values:
        return replace(
            found, is_density_certified=is_own, is_density_heat_certified=is_heat,
            is_index_certified=old.is_index_certified,
            is_index_heat_certified=old.is_index_heat_certified,
        )  # fmt: skip
    return replace(
        found, is_index_certified=is_own, is_index_heat_certified=is_heat,
        is_density_certified=old.is_density_certified,
        is_density_heat_certified=old.is_density_heat_certified,
    )  # fmt: skip


def _remember(
    scene: Scene, sighting: readings.Sighting, channel: str, slip: float,
    before: tuple[float, float], owner: "Owner",
) -> None:  # fmt: skip
    """Keep the reading for what the next ones say of it, and whose it may be.

    `before` is what was missing to the mark before it, litres, and by how much it missed what was
    foretold of it, mass percent.
    """
    facts = scene.facts
    facts.recent.append([
        sighting.day, channel, sighting.percent, scene.percent, slip, sighting.sd_percent,
        before[0], scene.entry.id, before[1],
    ])  # fmt: skip
    del facts.recent[:-RECENT]
    facts.is_contradicted = are_apart(facts, sighting.day)
    facts.other_tank = None
    if slip > SET_ASIDE_ABOVE:
        facts.other_tank, facts.other_tank_chance = owner.tank, owner.chance
    else:
        facts.in_lately_g = [0.0, facts.in_lately_g[0]]
        if not has_bias(sighting):
            untold_pairs.forget_loads(facts)


@dataclass(frozen=True, slots=True)
class Owner:
    """The tank whose estimate a reading fits best, how likely it is of that if not of its own, and
    the density of its figure if it is not of its own, per mass percent."""

    tank: str | None
    chance: float
    density: float


def _owner(scene: Scene, sighting: readings.Sighting, own: float) -> Owner:
    """Whose a reading may be that its own tank foretold with the density `own`, which is small.

    A tank that foretells it little better is no reason: an instrument that is off shows it there
    too.
    Any tank is as likely as another; a slip of the pen lies anywhere within its span.
    """
    room = scene.room
    fits = {
        tank: _fit(room, tank, sighting)
        for tank in room.tanks
        if tank != scene.entry.tank and not room.tanks[tank].is_retired
    }
    fits = {tank: fit for tank, fit in fits.items() if fit > MUCH_BETTER * own}
    if not fits:
        return Owner(None, 0.0, sighting.slip_density)
    recent = scene.facts.recent
    is_again = bool(recent) and recent[-1][SLIP] > SET_ASIDE_ABOVE
    likely = OTHER_TANK_AGAIN if is_again else OTHER_TANK_CHANCE
    share = likely / max(len(room.tanks) - 1, 1)
    other = share * sum(fits.values())
    density = other + sighting.slip_density
    best = max(fits, key=lambda tank: fits[tank])
    return Owner(best, share * fits[best] / density, density)


def _fit(room: RoomState, tank: str, sighting: readings.Sighting) -> float:
    """Density of the reading under another tank's estimate, per mass percent."""
    bath = room.baths[tank]
    seen = glance(bath, bath.joint(room.shared), room.liquid(room.tanks[tank]).volume_weights)
    biases = {HYDROMETER_BIAS: seen.hydrometer_bias, SENSOR_BIAS: seen.sensor_bias}
    bias, bias_sd = biases.get(sighting.bias_row or 0, (0.0, 0.0))
    if sighting.shared_column == REFRACTOMETER:
        shared = room.shared
        bias = float(shared.mean[REFRACTOMETER])
        bias_sd = math.sqrt(shared.covariance[REFRACTOMETER, REFRACTOMETER])
    sd = math.hypot(seen.saturation.sd, sighting.sd_percent, bias_sd)
    return _normal(sighting.percent - seen.saturation.mean - bias, sd)


def has_bias(sighting: readings.Sighting) -> bool:
    """Whether what it shows is off by a slow error, which speaks again in the next readings."""
    return sighting.bias_row is not None or sighting.shared_column is not None


def _normal(off: float, sd: float) -> float:
    return math.exp(-((off / sd) ** 2) / 2) / (sd * math.sqrt(2 * math.pi))
