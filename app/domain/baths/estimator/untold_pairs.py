"""Two baths in counter-flow that nobody has told of: washes in one that follow those in another.

A room may log each load in the dirty bath and again in the clean one without ever saying that the
two are a pair. Taken for washes, the second entries would fill the clean bath on paper with resin
that never came in. The same load that comes there shortly after, more often than loads of that size
do by chance, speaks for a pair, but one job shared out between two baths looks much the same. So
from then on the bath has hypotheses of both kinds, in which an entry is a wash and in which it is a
rinse, and readings of any instrument, its slow error included, decide between them.
"""

import math

import numpy as np

from app.domain.baths.estimator import transitions
from app.domain.baths.estimator.bath import NEVER, PAIR, RESIN, SWAP, Bath, Joint
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.pairs import (
    FEWEST_FOLLOWED,
    GRAMS,
    ORDER,
    READINGS,
    TIMES,
    is_same,
    load_before,
    odds,
    part,
    rinse,
    settle_supposed,
    size_of,
    sources_of,
    supposed_chance,
    take_load,
    waiting,
)
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.scene import Scene
from app.domain.baths.estimator.transitions import Load
from app.domain.roomlog.kinds import Wash

UNLIKELY_BEFORE = -4.0  # log odds of a pair that nobody has told of; from memory
LEAST_SUPPOSED = -1.0  # log odds
SETTLED = 0.98
SETTLED_READINGS = 4.0
LEAST = -6.0
MOST_BY_ORDER = 2.6  # one job may be shared out between two baths, a plate each: readings decide
RINSED_SD_PERCENT = 0.05  # of what a few rinses leave in a clean bath; from memory
MOST_BY_READINGS = 8.0
FOLLOWED_SHARE = 0.7  # of the clean bath's washes
OF_A_PAIR = 0.85  # of a pair's loads are logged in both baths
MOST_BY_ONE_READING = 2.0  # one may be a slip, or its bath changed and nobody logged it


def watch(scene: Scene, wash: Wash, in_g: float) -> None:
    """A wash that brought `in_g` grams in: does it follow one in another tank?"""
    room, facts = scene.room, scene.facts
    if facts.is_pair_denied or len(room.tanks) < 2:
        return
    facts.followed_of += 1
    found = [tank for tank in room.tanks if _may_feed(room, tank, wash.tank)]
    matched = {tank: one[1] for tank in found if (one := load_before(room, wash, [tank]))}
    source = max(matched, key=lambda tank: matched[tank][0]) if matched else None
    first = sources_of(facts)[:1] if is_supposed(scene.bath) else []
    before = facts.followed[first[0]][ORDER] if first else 0.0
    for tank in found:
        kept = facts.followed.setdefault(tank, [UNLIKELY_BEFORE, 0.0, 0.0, 0.0])
        if tank == source:
            kept[ORDER] += math.log(OF_A_PAIR / max(_by_chance(room, tank, wash), 0.02))
            kept[TIMES] += 1
            kept[GRAMS] += in_g
            take_load(room, tank, matched[tank])
        elif source is None and kept[ORDER] > LEAST:  # most tanks of a large room lie there
            by_chance = _by_chance(room, tank, wash)
            kept[ORDER] += min(math.log((1 - OF_A_PAIR) / max(1 - by_chance, 0.05)), 0.0)
        kept[ORDER] = min(max(kept[ORDER], LEAST), MOST_BY_ORDER)
    if source is None and found:
        # Of a pair it is the second stage of a load whose first one nobody logged.
        facts.followed[max(found, key=lambda tank: facts.followed[tank][TIMES])][GRAMS] += in_g
    if first:
        _tilt(scene, facts.followed[first[0]][ORDER] - before)
    elif source is not None:
        _suppose(scene)


def is_supposed(bath: Bath) -> bool:
    """Whether some hypotheses take the bath for the clean one of a pair and readings decide."""
    return bool(bath.found_on[:, PAIR].max() > NEVER)


def wash_or_rinse(scene: Scene, wash: Wash, load: Load) -> tuple[float, float, float]:
    """Take an entry for a wash under some hypotheses and for a rinse under the others.

    Grams of resin in and out on average, and in if it was a wash.
    """
    room, bath, joint = scene.room, scene.bath, scene.joint
    sources = sources_of(scene.facts)
    found = load_before(room, wash, sources)
    dirty = found[0] if found else sources[0]
    twin = bath.copy()
    rinsed_g = rinse(room, wash, dirty, twin, joint, load, scene.liquid)
    washed_g = transitions.wash(bath, joint, load, scene.liquid, room.settings)
    which = bath.found_on[:, PAIR] > NEVER
    for name in ("offset", "slope", "spread"):
        getattr(bath, name)[which] = getattr(twin, name)[which]
    chance = supposed_chance(bath)
    in_g, out_g = (
        chance * one + (1 - chance) * other for one, other in zip(rinsed_g, washed_g, strict=True)
    )
    return in_g, out_g, washed_g[0]


def decide(scene: Scene) -> None:
    """After a reading: is it settled whether the bath is the clean one of a pair?"""
    room, facts, tank = scene.room, scene.facts, scene.entry.tank
    chance = supposed_chance(scene.bath)
    if 1 - SETTLED < chance < SETTLED:
        return
    is_pair = chance >= SETTLED
    settle_supposed(room, tank, is_pair)
    scene.joint = scene.bath.joint(room.shared)
    for source in sources_of(facts):
        kept = facts.followed[source]
        kept[READINGS] = SETTLED_READINGS if is_pair else -MOST_BY_READINGS
        giver = room.tanks[source]
        if is_pair and giver.pair is None:
            giver.pair, giver.is_pair_found = tank, True
            room.stored.pop(source, None)
            facts.rinses, facts.lone_washes = facts.rinses + int(kept[TIMES]), 0
    if is_pair:
        facts.recent, facts.is_contradicted = [], False


def rinsed(facts: TankFacts, dirty: str, as_washed_g: float) -> None:
    """A rinse that only the log tells of: what it would have brought in as a wash."""
    if kept := facts.followed.get(dirty):
        kept[GRAMS] += as_washed_g


def weigh_reading(scene: Scene, percent: float, expected_percent: float, sd_percent: float) -> None:
    """Before a reading counts: does it show the resin that washes would have left, or less?

    `expected_percent` is what the estimate foretold, of washes or, where a pair was found, of
    rinses; `sd_percent` how far the reading may lie from it.
    """
    facts, room = scene.facts, scene.room
    mass_g = max(scene.liquid.fill_g, 1.0)
    for tank, kept in facts.followed.items():
        is_found = room.tanks[tank].pair == scene.entry.tank
        apart = 100 * kept[GRAMS] / mass_g
        if kept[TIMES] < FEWEST_FOLLOWED or apart <= 0:
            continue
        washed_percent = expected_percent + apart if is_found else expected_percent
        washed = (percent - washed_percent) / sd_percent
        rinsed = (percent - max(washed_percent - apart, 0.0)) / sd_percent
        told = (washed * washed - rinsed * rinsed) / 2
        kept[READINGS] += min(max(told, -MOST_BY_ONE_READING), MOST_BY_ONE_READING)
        kept[READINGS] = min(max(kept[READINGS], -MOST_BY_READINGS), MOST_BY_READINGS)
        if is_found and odds(kept) < 0 and room.tanks[tank].is_pair_found:
            _unsettle(scene, tank)


def forget_loads(facts: TankFacts) -> None:
    """A reading counted: what came in before it is known."""
    for kept in facts.followed.values():
        kept[GRAMS] = 0.0


def _may_feed(room: RoomState, tank: str, clean: str) -> bool:
    facts = room.tanks[tank]
    is_its_own = tank == clean or room.tanks[clean].pair == tank
    return facts.pair is None and not (facts.is_retired or facts.is_unpaired or is_its_own)


def _by_chance(room: RoomState, tank: str, wash: Wash) -> float:
    """How likely one of the loads that wait there has this size without being this load."""
    size, loads = size_of(wash), room.habits[tank].loads
    alike = sum(is_same((one.area_cm2, one.mass_g, one.parts), size) for one in loads)
    share = (alike + 0.5) / (len(loads) + 1)
    return float(1 - (1 - share) ** len(waiting(room, tank, wash)))


def _suppose(scene: Scene) -> None:
    """Beside each hypothesis one of a pair, once the order of washes speaks for it."""
    room, facts, bath = scene.room, scene.facts, scene.bath
    sources = sources_of(facts)
    every = sum(one[TIMES] for one in facts.followed.values())
    if not sources or every < FOLLOWED_SHARE * facts.followed_of:
        return
    likely = max(odds(facts.followed[source]) for source in sources)
    if likely < LEAST_SUPPOSED or not room.settings.is_mixture:
        return
    count = len(bath.weight)
    bath.split(1 / (1 + math.exp(-likely)), PAIR)
    scene.joint = bath.joint(room.shared)
    grams = sum(facts.followed[source][GRAMS] for source in sources)
    _leave_out(bath, scene.joint, np.arange(count, 2 * count), grams)


def _tilt(scene: Scene, ln_odds: float) -> None:
    """The order of the washes speaks on while readings have not decided."""
    if ln_odds == 0:
        return
    bath, shared = scene.bath, scene.room.shared
    bath.tilt(np.exp(ln_odds * (bath.found_on[:, PAIR] > NEVER)), shared)
    scene.joint = bath.joint(shared)


def _leave_out(bath: Bath, joint: Joint, which: np.ndarray, grams: float) -> None:
    """Under some hypotheses what was taken for washes did not come in."""
    mean = bath.means(joint)[which]
    sd_g = RINSED_SD_PERCENT / 100 * mean[:, :2].sum(1)
    bath.offset[which, RESIN] = np.maximum(mean[:, RESIN] - grams, 0.0)
    bath.slope[which, RESIN] = 0.0
    bath.spread[which, RESIN] = bath.spread[which, :, RESIN] = 0.0
    bath.spread[which, RESIN, RESIN] = sd_g**2


def _unsettle(scene: Scene, source: str) -> None:
    """The readings show what washes leave: no pair after all."""
    part(scene.room, source)
    kept = scene.facts.followed[source]
    kept[READINGS] = -MOST_BY_READINGS  # nor is it supposed again before readings speak for it
    _correct(scene, kept[GRAMS])


def _correct(scene: Scene, grams: float) -> None:
    """Put right what came in since the last reading that counted."""
    bath, facts = scene.bath, scene.facts
    bath.offset[:, RESIN] += grams
    bath.found_on[:, SWAP] = NEVER  # what looked like a swap was this
    facts.recent, facts.is_contradicted = [], False
    bath.hold_resin_positive(scene.joint)
