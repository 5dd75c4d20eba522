"""Two baths in counter-flow: which washes of the clean bath rinse what the dirty bath washed."""

import math

from app.domain.baths.estimator import rinses
from app.domain.baths.estimator.bath import Bath, Joint
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.roomstate import RoomState, day_of
from app.domain.baths.estimator.transitions import Liquid, Load
from app.domain.roomlog.kinds import Wash

RINSED_WITHIN_DAYS = 2 / 24
OPEN_LOADS = 40
SAME_SIZE = 0.02  # the same load, weighed or counted once
LONE_SHARE = 0.35  # more of the clean bath's washes alone than this: they are no rinses
FEWEST_WASHES = 10


def dirty_of(room: RoomState, tank: str) -> str | None:
    """The dirty bath whose clean bath this tank is."""
    for key, facts in room.tanks.items():
        if facts.pair == tank and key != tank and not facts.is_retired:
            return key
    return None


def is_rinse(room: RoomState, wash: Wash, dirty: str) -> bool:
    """Whether a wash in a clean bath rinses a load that the dirty bath washed before.

    Where the settings name the pair, a wash whose first stage is not in the log is a rinse as well,
    unless many are; where only moved liquid tells of the pair, the load has to be the same.
    """
    giver, facts = room.tanks[dirty], room.tanks[wash.tank]
    now, size = day_of(wash.at), _size(wash)
    giver.open_loads = [x for x in giver.open_loads if now - x[0] <= RINSED_WITHIN_DAYS]
    fitting = [x for x in giver.open_loads if x[1] == wash.resin]
    alike = [x for x in fitting if _is_same(x[2:], size)]
    found = alike or (fitting if giver.is_pair_told else [])
    if found:
        giver.open_loads.remove(found[0])
        facts.rinses += 1
        room.stored.pop(dirty, None)
        return True
    facts.lone_washes += 1
    every = facts.rinses + facts.lone_washes
    return giver.is_pair_told and (every < FEWEST_WASHES or facts.lone_washes <= LONE_SHARE * every)


def note_load(facts: TankFacts, wash: Wash) -> None:
    """A load that the dirty bath has washed waits for its rinse."""
    if facts.pair is not None:
        facts.open_loads.append([day_of(wash.at), wash.resin, *_size(wash)])
        del facts.open_loads[:-OPEN_LOADS]


def forget_feed(room: RoomState, tank: str) -> None:
    """The dirty bath holds another liquid: what was wrong about the old one tells nothing of it."""
    clean = room.tanks[tank].pair
    if clean in room.tanks:
        room.tanks[clean].fed_at = None
        room.stored.pop(clean, None)


def rinse(
    room: RoomState, wash: Wash, dirty: str, bath: Bath, joint: Joint, load: Load, liquid: Liquid
) -> tuple[float, float]:
    """Rinse a load in its clean bath; grams of resin in and out."""
    facts, giver = room.tanks[wash.tank], room.baths[dirty]
    feed = rinses.feed_of(
        giver, giver.joint(room.shared), room.shared.mean, room.liquid(room.tanks[dirty])
    )
    days = None if facts.fed_at is None else max(day_of(wash.at) - day_of(facts.fed_at), 0.0)
    rinses.steady_feed(bath, feed, days, room.settings)
    facts.fed_at = wash.at
    return rinses.rinse(bath, joint, load, feed, liquid, room.settings)


def _size(wash: Wash) -> list[float | None]:
    return [wash.area_cm2, wash.mass_g, wash.parts]


def _is_same(one: list[float | None], other: list[float | None]) -> bool:
    both = [(a, b) for a, b in zip(one, other, strict=True) if a is not None and b is not None]
    return bool(both) and all(abs(math.log(a / b)) <= SAME_SIZE for a, b in both)
