"""Taking a reading in: what it measures, whose it may be, what it leaves for the next ones."""

import math
from dataclasses import replace

from app.domain.baths.estimator import passports, readings, transitions, untold_pairs
from app.domain.baths.estimator.beliefs import SET_ASIDE_ABOVE, slip_weight, watch_missing
from app.domain.baths.estimator.contradictions import RECENT, are_apart
from app.domain.baths.estimator.mixture import glance
from app.domain.baths.estimator.results import Effect
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.scene import Scene
from app.domain.baths.estimator.sightings import liquid_to_measure, sighting_of
from app.domain.baths.estimator.watch import watch_water
from app.domain.errors import DomainError
from app.domain.instruments import baseline_of, measure
from app.domain.roomlog import kinds

OTHER_TANK_CHANCE = 0.15  # of readings that are not right; from memory
NOT_FRESH_PERCENT = 2.5  # beyond what instrument and water of a fresh solvent may show


def take_reading(scene: Scene, reading: kinds.Reading) -> Effect:
    room, facts = scene.room, scene.facts
    note: tuple[str, ...] = ()
    if reading.of_fresh:
        of, note = _fresh(scene, reading)
        if of == "density":
            return scene.effect(notes=note)
    liquid = liquid_to_measure(room, facts)
    try:
        measured = measure(reading.method, reading.values, liquid)
    except DomainError as error:
        return scene.effect(notes=(str(error),))
    sighting = sighting_of(room, reading, measured, facts, scene.bath)
    to_mark_l = scene.to_mark_l()
    expected, variance = readings.foretold(scene.bath, room.shared, sighting)
    is_supposed = untold_pairs.is_supposed(scene.bath)
    if sighting.bias_row is None and not is_supposed:  # a slow error would speak again and again
        sd_percent = math.hypot(math.sqrt(variance), sighting.sd_percent)
        untold_pairs.weigh_reading(scene, sighting.percent, expected, sd_percent)
    readings.read(scene.bath, room.shared, sighting, room.settings)
    scene.joint = scene.bath.joint(room.shared)
    if is_supposed:
        untold_pairs.decide(scene)
    facts.last_reading_at = reading.at
    slip = slip_weight(scene.bath, scene.joint)
    jump = watch_missing(facts, scene.bath, scene.joint, sighting.day)
    _remember(scene, sighting, measured.channel, slip, (to_mark_l, sighting.percent - expected))
    missed = passports.Missed(sighting.percent - expected, variance, sighting.sd_percent**2)
    read = (measured.channel, reading.tank, sighting.day)
    passports.note(room, facts, read, missed, slip)
    notes = measured.notes + note + watch_water(reading, measured, facts, liquid)
    return scene.effect(
        correction_g=scene.resin_now_g() - scene.resin_g,
        measured=measured, slip_weight=slip, is_set_aside=slip > SET_ASIDE_ABOVE,
        jump_weight=jump, notes=notes,
    )  # fmt: skip


def _fresh(scene: Scene, reading: kinds.Reading) -> tuple[str, tuple[str, ...]]:
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
        facts.baseline = baseline_of(reading.method, reading.values, facts.baseline)
    if of == "density":
        transitions.start_from_baseline(scene.bath, scene.room.settings)
    if not facts.is_fill_dirty:
        return of, ()
    facts.dismissed.pop("fill_not_fresh", None)  # read anew, it is said anew
    return of, (f"{shown:.1f} % more than fresh solvent shows. This fill is not fresh.",)


def _remember(
    scene: Scene, sighting: readings.Sighting, channel: str, slip: float,
    before: tuple[float, float],
) -> None:  # fmt: skip
    """Keep the reading for what the next ones say of it, and look whose it may be.

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
        facts.other_tank, facts.other_tank_chance = _whose(scene, sighting)
    else:
        facts.in_lately_g = [0.0, facts.in_lately_g[0]]
        if sighting.bias_row is None:
            untold_pairs.forget_loads(facts)


def _whose(scene: Scene, sighting: readings.Sighting) -> tuple[str | None, float]:
    """The tank whose estimate a reading fits best, and how likely it is of that if not of its own.

    Any tank is as likely as another; a slip of the pen lies anywhere within its span.
    """
    room = scene.room
    fits = {
        tank: _fit(room, tank, sighting)
        for tank in room.tanks
        if tank != scene.entry.tank and not room.tanks[tank].is_retired
    }
    if not fits:
        return None, 0.0
    share = OTHER_TANK_CHANCE / len(fits)
    slip = (1 - OTHER_TANK_CHANCE) / room.settings.slip_percent_span
    best = max(fits, key=lambda tank: fits[tank])
    return best, share * fits[best] / (share * sum(fits.values()) + slip)


def _fit(room: RoomState, tank: str, sighting: readings.Sighting) -> float:
    """Density of the reading under another tank's estimate, per mass percent."""
    bath = room.baths[tank]
    seen = glance(bath, bath.joint(room.shared), room.liquid(room.tanks[tank]).volume_weights)
    sd = math.hypot(seen.saturation.sd, sighting.sd_percent)
    off = (sighting.percent - seen.saturation.mean) / sd
    return math.exp(-off * off / 2) / (sd * math.sqrt(2 * math.pi))
