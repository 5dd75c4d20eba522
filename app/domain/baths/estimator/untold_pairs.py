"""Two baths in counter-flow that nobody has told of: washes in one that follow those in another.

A room may log a load in the dirty bath and again in the clean one without ever saying that the two
are a pair. Taken for washes, the second entries would fill the clean bath on paper with resin that
never came in. Two things speak for a pair: the same load comes there shortly after, more often than
loads of that size do by chance; and readings show less resin than washes would have left.
"""

import math

from app.domain.baths.estimator.bath import NEVER, RESIN, SWAP
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.pairs import (
    GRAMS,
    ORDER,
    READINGS,
    TIMES,
    is_same,
    load_before,
    odds,
    part,
    size_of,
    take_load,
    waiting,
)
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.scene import Scene
from app.domain.roomlog.kinds import Wash

UNLIKELY_BEFORE = -4.0  # log odds of a pair that nobody has told of; from memory
SURE_ENOUGH = 2.5
LEAST = -6.0
MOST_BY_ORDER = 1.0  # one job may be shared out between two baths, a plate each: readings decide
MOST_BY_READINGS = 8.0
FEWEST_FOLLOWED = 5
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
    if source is not None:
        _settle(scene, source)


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
    return facts.pair is None and not facts.is_retired and not is_its_own


def _by_chance(room: RoomState, tank: str, wash: Wash) -> float:
    """How likely one of the loads that wait there has this size without being this load."""
    size, loads = size_of(wash), room.habits[tank].loads
    alike = sum(is_same((one.area_cm2, one.mass_g, one.parts), size) for one in loads)
    share = (alike + 0.5) / (len(loads) + 1)
    return float(1 - (1 - share) ** len(waiting(room, tank, wash)))


def _settle(scene: Scene, source: str) -> None:
    """Take the tank for the clean bath of another once enough speaks for it."""
    room, facts = scene.room, scene.facts
    kept = facts.followed[source]
    every = sum(one[TIMES] for one in facts.followed.values())
    is_rule = kept[TIMES] >= FEWEST_FOLLOWED and every >= FOLLOWED_SHARE * facts.followed_of
    if odds(kept) < SURE_ENOUGH or not is_rule:
        return
    giver = room.tanks[source]
    giver.pair, giver.is_pair_found = scene.entry.tank, True
    room.stored.pop(source, None)
    facts.rinses, facts.lone_washes = facts.rinses + int(kept[TIMES]), 0
    _correct(scene, -kept[GRAMS])


def _unsettle(scene: Scene, source: str) -> None:
    """The readings show what washes leave: no pair after all."""
    part(scene.room, source)
    _correct(scene, scene.facts.followed[source][GRAMS])


def _correct(scene: Scene, grams: float) -> None:
    """Put right what came in since the last reading that counted."""
    bath, facts = scene.bath, scene.facts
    bath.offset[:, RESIN] += grams
    bath.found_on[:, SWAP] = NEVER  # what looked like a swap was this
    facts.recent, facts.is_contradicted = [], False
    bath.hold_resin_positive(scene.joint)
