"""Two baths in counter-flow: which washes of the clean bath rinse what the dirty bath washed."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from app.domain.baths.estimator import rinses
from app.domain.baths.estimator.bath import NEVER, PAIR, RESIN, SWAP, Bath, Joint
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.rinses import Feed
from app.domain.baths.estimator.roomstate import RoomState, day_of
from app.domain.baths.estimator.transitions import Liquid, Load, scale
from app.domain.roomlog.kinds import TankChange, Wash

RINSED_WITHIN_DAYS = 2 / 24
LATEST_RINSE_DAYS = 14 / 24  # the same load in a pair that is told: at the end of the shift
OPEN_LOADS = 40
SAME_SIZE = 0.02  # the same load, weighed or counted once
LONE_SHARE = 0.35  # more of the clean bath's washes alone than this: they are no rinses
LONE_SHARE_UNTOLD = 0.2  # as many as washes that nobody logged
FEWEST_WASHES = 10
FEWEST_FOLLOWED = 5
LIKELY = 0.5
CHANGED_ALONG, KEPT_OF_CLEAN = 0.45, 0.15  # from memory
ORDER, TIMES, GRAMS, READINGS = range(4)  # of what is kept of each tank in `followed`


def dirties_of(room: RoomState, tank: str) -> list[str]:
    """The dirty baths whose clean bath this tank is."""
    return [
        key
        for key, facts in room.tanks.items()
        if facts.pair == tank and key != tank and not facts.is_retired
    ]


def dirty_of(room: RoomState, tank: str) -> str | None:
    """The dirty bath whose film came into this clean one last; None where it is no clean bath."""
    dirties = dirties_of(room, tank)
    if room.tanks[tank].fed_by in dirties:
        return room.tanks[tank].fed_by
    return dirties[0] if dirties else None


def untold_dirty_of(room: RoomState, tank: str) -> str | None:
    """The dirty bath of a pair that only the log tells of; None where there is none."""
    return next((key for key in dirties_of(room, tank) if room.tanks[key].is_pair_found), None)


def supposed_chance(bath: Bath) -> float:
    """How likely a bath is the clean one of a pair of which only the order of washes tells."""
    return float(bath.weight @ (bath.found_on[:, PAIR] > NEVER))


def sources_of(facts: TankFacts) -> list[str]:
    """The tanks whose loads come into this one, the one that sends most first."""
    often = [key for key, kept in facts.followed.items() if kept[TIMES] >= FEWEST_FOLLOWED]
    return sorted(often, key=lambda key: (-facts.followed[key][TIMES], key))


def supposed_dirty_of(room: RoomState, tank: str) -> str | None:
    """The likely dirty bath of a pair that no reading has settled yet; None where there is none."""
    if supposed_chance(room.baths[tank]) <= LIKELY:
        return None
    return next(iter(sources_of(room.tanks[tank])), None)


def settle_supposed(room: RoomState, tank: str, is_pair: bool) -> None:
    """A bath that may be the clean one of a pair is, or is not."""
    bath = room.baths[tank]
    which = (bath.found_on[:, PAIR] > NEVER) == is_pair
    if which.any() and not which.all():
        bath.keep(which, room.shared)
    bath.found_on[:, PAIR] = NEVER


def heed(room: RoomState, entry: TankChange) -> None:
    """Somebody says whose clean bath a tank is, or that this one has none: nothing is supposed of
    it any more."""
    for tank, facts in room.tanks.items():
        is_meant = tank == entry.pair
        is_other = entry.is_unpaired or entry.pair not in (None, tank)
        if is_other and supposed_chance(room.baths[tank]) > 0:
            is_meant = sources_of(facts)[:1] == [entry.tank]
        if is_meant:
            settle_supposed(room, tank, is_pair=tank == entry.pair)
            room.stored.pop(tank, None)


def deny(room: RoomState, tank: str) -> None:
    """Somebody says that this tank is nobody's clean bath."""
    facts = room.tanks[tank]
    facts.is_pair_denied, facts.followed = True, {}
    settle_supposed(room, tank, is_pair=False)
    forget_found(room, tank)


def forget_found(room: RoomState, tank: str) -> None:
    """No dirty bath that only the log told of feeds this tank any more."""
    while dirty := untold_dirty_of(room, tank):
        part(room, dirty)


def part(room: RoomState, dirty: str) -> None:
    """A pair that only the log told of is none."""
    room.tanks[dirty].pair, room.tanks[dirty].is_pair_found = None, False
    room.stored.pop(dirty, None)


def odds(kept: Sequence[float]) -> float:
    """Logarithm of the odds that two baths are a pair, of what `followed` keeps of them."""
    return kept[ORDER] + kept[READINGS]


def waiting(room: RoomState, tank: str, wash: Wash) -> list[list[Any]]:
    """The loads of a tank that a wash elsewhere may rinse: of its resin, and late enough."""
    facts, now = room.tanks[tank], day_of(wash.at)
    latest = LATEST_RINSE_DAYS if facts.is_pair_told else RINSED_WITHIN_DAYS
    return [x for x in facts.open_loads if x[1] == wash.resin and 0 <= now - x[0] <= latest]


def take_load(room: RoomState, tank: str, load: list[Any]) -> None:
    """A load that waited was rinsed."""
    room.tanks[tank].open_loads.remove(load)
    room.stored.pop(tank, None)


def rinsed_from(room: RoomState, wash: Wash) -> str | None:
    """The dirty bath whose film a wash in a clean bath brings; None where it is a wash.

    Where the settings name the pair, a wash whose first stage is not in the log is a rinse as well,
    unless many are. Where only moved liquid or the log itself tells of it, the load has to be the
    same, until it is seen that few come alone.
    """
    dirties, facts = dirties_of(room, wash.tank), room.tanks[wash.tank]
    if not dirties:
        return None
    found = load_before(room, wash, dirties)
    if found is None:
        facts.lone_washes += 1
        return dirty_of(room, wash.tank) if takes_rinses(room, wash.tank, alone=True) else None
    dirty, load = found
    take_load(room, dirty, load)
    facts.rinses += 1
    return dirty


def load_before(room: RoomState, wash: Wash, dirties: list[str]) -> tuple[str, list[Any]] | None:
    """The load of a dirty bath that a wash in its clean bath most likely rinses."""
    now, size = day_of(wash.at), size_of(wash)
    fitting = []
    for dirty in dirties:
        is_told = room.tanks[dirty].is_pair_told
        for load in waiting(room, dirty, wash):
            is_late, is_alike = now - load[0] > RINSED_WITHIN_DAYS, is_same(load[2:], size)
            if is_alike or (is_told and not is_late):
                fitting.append((not is_alike, is_late, load[0], dirty, load))
    return min(fitting, key=lambda one: one[:4])[3:] if fitting else None


def takes_rinses(room: RoomState, tank: str, alone: bool = False) -> bool:
    """Whether what is washed in a clean bath comes, as a rule, from a dirty one; `alone`: whether
    even a wash whose first stage is not in the log does."""
    facts = room.tanks[tank]
    every = facts.rinses + facts.lone_washes
    if any(room.tanks[dirty].is_pair_told for dirty in dirties_of(room, tank)):
        return every < FEWEST_WASHES or facts.lone_washes <= LONE_SHARE * every
    if alone:
        return every >= FEWEST_WASHES and facts.lone_washes <= LONE_SHARE_UNTOLD * every
    return facts.rinses > facts.lone_washes


def feed_of(room: RoomState, tank: str) -> tuple[str, Feed] | None:
    """The dirty bath whose film comes into a clean one, and what it holds; None for others."""
    dirty = dirty_of(room, tank)
    if dirty is None:
        dirty = supposed_dirty_of(room, tank)
    elif not takes_rinses(room, tank):
        return None
    if dirty is None:
        return None
    giver = room.baths[dirty]
    liquid = room.liquid(room.tanks[dirty])
    return dirty, rinses.feed_of(giver, giver.joint(room.shared), room.shared.mean, liquid)


def note_load(facts: TankFacts, wash: Wash) -> None:
    """A load that was washed may be rinsed in another bath."""
    now = day_of(wash.at)
    latest = LATEST_RINSE_DAYS if facts.is_pair_told else RINSED_WITHIN_DAYS
    facts.open_loads = [x for x in facts.open_loads if now - x[0] <= latest]
    facts.open_loads.append([now, wash.resin, *size_of(wash)])
    del facts.open_loads[:-OPEN_LOADS]


def forget_feed(room: RoomState, tank: str) -> None:
    """The dirty bath holds another liquid: what was wrong about the old one tells nothing of it."""
    clean = room.tanks[tank].pair
    if clean in room.tanks:
        room.tanks[clean].fed_at = None
        room.stored.pop(clean, None)


def doubt_clean(room: RoomState, tank: str, day: float) -> None:
    """A reading has shown on this day that a dirty bath was changed and nobody logged it: its clean
    bath may have been changed along, moved into it or not, and holds next to nothing then."""
    found_on, clean = room.baths[tank].found_on[:, SWAP], room.tanks[tank].pair
    if clean not in room.baths or room.baths[tank].weight @ (found_on == day) <= LIKELY:
        return
    bath = room.baths[clean]
    if bath.found_on[:, SWAP].max() > NEVER:
        return
    forget_feed(room, tank)
    count = len(bath.weight)
    bath.split(CHANGED_ALONG, SWAP)
    kept = np.repeat([1.0, KEPT_OF_CLEAN], count)
    resin_g = bath.means(bath.joint(room.shared))[:, RESIN]
    scale(bath, slice(RESIN, RESIN + 1), kept)
    bath.spread[count:, RESIN, RESIN] += (KEPT_OF_CLEAN * resin_g[count:]) ** 2
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
    facts.fed_at, facts.fed_by = wash.at, dirty
    return rinses.rinse(bath, joint, load, feed, liquid, room.settings)


def size_of(wash: Wash) -> list[float | None]:
    """A load in each of the ways in which it may be logged: cm2, g, parts."""
    return [wash.area_cm2, wash.mass_g, wash.parts]


def is_same(one: Sequence[float | None], other: Sequence[float | None]) -> bool:
    """Whether two sizes are of the same load: alike in each way in which both are logged."""
    both = [(a, b) for a, b in zip(one, other, strict=True) if a is not None and b is not None]
    return bool(both) and all(abs(math.log(a / b)) <= SAME_SIZE for a, b in both)
