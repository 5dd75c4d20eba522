"""From the numbers of a bath to what is said about it: limits in mass percent, and flags."""

import math
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from app.domain.baths.estimator.bath import Bath, Joint
from app.domain.baths.estimator.contradictions import is_contradicted
from app.domain.baths.estimator.dismissals import FLAG_OF, is_dismissed
from app.domain.baths.estimator.explanations import (
    FLAGGED_ABOVE,
    OF_ONE_READING,
    Weighed,
    chances,
    explained,
    explanation,
)
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.limits import limits_percent
from app.domain.baths.estimator.mixture import Glance, glance
from app.domain.baths.estimator.pairs import (
    odds,
    supposed_chance,
    supposed_dirty_of,
    untold_dirty_of,
)
from app.domain.baths.estimator.passports import bias_of, off_chance, tanks_off
from app.domain.baths.estimator.results import BathBelief, Explanation
from app.domain.baths.estimator.roomstate import RoomState, day_of, moment_of
from app.domain.baths.estimator.silence import doubting, supposing
from app.domain.baths.estimator.transitions import pass_time

JUMP_MEMORY_DAYS = 10.0
MISSING_ABOVE, MISSING_UNTIL = 0.8, 0.5
SET_ASIDE_ABOVE = 0.5
DRIFTING_SD = 2.0
LONG_UNREAD = timedelta(days=365)
WET_ABOVE, WET_AT_LEAST = 0.7, 0.3  # chances; the second where two readings show it


def ahead(room: RoomState, tank: str, at: datetime) -> tuple[Bath, Joint]:
    """A bath as it will be at an instant; the room is left as it is.

    Raises:
        NotFound: there is no such tank.
    """
    facts = room.facts(tank)
    bath = room.baths[tank]
    joint = bath.joint(room.shared)
    if day_of(at) > bath.day:
        bath = bath.copy()
        pass_time(bath, joint, day_of(at), room.liquid(facts).fill_g, room.settings)
    return bath, joint


def belief_of(
    room: RoomState, tank: str, bath: Bath, joint: Joint, at: datetime, has_reasons: bool = True
) -> BathBelief:
    """What is believed of a bath that stands at `at`; with `has_reasons` its explanations too."""
    facts = room.facts(tank)
    liquid = room.liquid(facts)
    supposed, weighed = supposing(room, tank, bath, joint, at)
    seen = glance(*doubting(room, facts, supposed, weighed), liquid.volume_weights)
    limits = limits_percent(facts, liquid)
    here = Weighed(facts, bath, joint, day_of(at))
    flags = _doubts(here, at) + _flags(room, facts, seen, limits, at)
    off = tanks_off(room, here.day)
    if tank in off:
        flags += ("instrument_off",)
    dirty = untold_dirty_of(room, tank) or supposed_dirty_of(room, tank)
    if dirty is not None:
        flags += ("pair_untold",)
    explanations = (
        _explanations(room, here, off if tank in off else (), dirty) if has_reasons else ()
    )
    return BathBelief(
        tank=tank,
        at=at,
        mean_percent=seen.saturation.mean,
        sd_percent=seen.saturation.sd,
        p05_percent=seen.saturation.p05,
        p95_percent=seen.saturation.p95,
        resin_g=supposed.resin_g(weighed),
        solvent_g=seen.solvent_g,
        volume_l=seen.volume_l[0],
        volume_sd_l=seen.volume_l[1],
        fill=facts.fill,
        fill_started_at=facts.fill_started_at,
        washes_since_fill=facts.washes_since_fill,
        last_wash_at=facts.last_wash_at,
        last_reading_at=facts.last_reading_at,
        last_entry_at=facts.last_entry_at,
        hydrometer_bias=seen.hydrometer_bias,
        sensor_bias=seen.sensor_bias,
        solvent_density_g_ml=liquid.solvent_density_g_ml,
        resin_density_g_ml=liquid.resin_density_g_ml,
        limit_percent=limits[0],
        stop_percent=limits[1],
        missing_since=facts.missing_since if "washes_missing" in flags else None,
        flags=flags,
        water_percent=seen.water,
        explanations=explanations,
        said=_said(explanations, flags, slip_weight(bath, joint)),
    )


def _explanations(
    room: RoomState, seen: Weighed, off: tuple[str, ...], dirty: str | None
) -> tuple[Explanation, ...]:
    """Of the last readings; none where the only one is that they are right."""
    facts, bath, joint = seen.facts, seen.bath, seen.joint
    is_plain = len(joint.weight) == 1 and dirty is None
    if is_plain and not (facts.recent or facts.wrong_entry or facts.is_fill_dirty):
        return ()
    found = explained(seen, slip_weight(bath, joint), jump_weight(bath, joint, seen.day))
    if facts.is_fill_dirty and all(one.name != "fill_not_fresh" for one in found):
        found += (explanation("fill_not_fresh", 1 - room.settings.slip_chance, seen),)
    if is_contradicted(facts, seen.day):
        found += (explanation("not_one_bath", None, seen),)
    if dirty is not None:
        is_found = room.tanks[dirty].is_pair_found
        by_log = 1 / (1 + math.exp(-odds(facts.followed[dirty])))
        chance = by_log if is_found else supposed_chance(bath)
        found += (replace(explanation("pair_untold", chance, seen), other_tank=dirty),)
    if off:
        bias = bias_of(room, "hydrometer", off[0], room.tanks[off[0]])
        told = explanation("instrument_off", off_chance(room), seen)
        found += (replace(told, bias=bias, tanks=off),)
    return found


def _said(
    explanations: tuple[Explanation, ...], flags: tuple[str, ...], slip: float
) -> Explanation | None:
    """The one explanation that is said: where readings contradict each other that they do, since
    no other one is to be relied on then; a bias last, since it is corrected for.

    Of a reading that is likely wrong, at its own tank or at all, the chance of that is said.
    """
    named = [
        replace(one, chance=slip) if one.name in OF_ONE_READING else one
        for one in explanations
        if FLAG_OF.get(one.name, one.name) in flags
        and not (one.name == "slip" and "wrong_tank" in flags)
    ]
    likely = [one for one in named if one.chance is None or one.chance > SET_ASIDE_ABOVE]
    return min(likely, key=_order, default=None)


def _order(one: Explanation) -> tuple[int, float]:
    is_last = one.name in ("instrument_off", "pair_untold")
    return (one.name != "not_one_bath") + is_last, -(one.chance or 0.0)


def jump_weight(bath: Bath, joint: Joint, day: float) -> float:
    """How likely washes of the last ten days were not logged."""
    return float(joint.weight @ (bath.jumped_on > day - JUMP_MEMORY_DAYS))


def slip_weight(bath: Bath, joint: Joint) -> float:
    """How likely the last reading was a slip."""
    return float(joint.weight @ bath.is_slip)


def watch_missing(facts: TankFacts, bath: Bath, joint: Joint, day: float) -> float:
    """After a reading: do washes seem to be missing, and since when? The weight of that."""
    jump = jump_weight(bath, joint, day)
    if jump > MISSING_ABOVE and facts.missing_since is None:
        likeliest = int(np.argmax(joint.weight * (bath.jumped_on > day - JUMP_MEMORY_DAYS)))
        facts.missing_since = moment_of(float(bath.missing_from[likeliest]))
    elif jump < MISSING_UNTIL:
        facts.missing_since = None
    return jump


def _doubts(seen: Weighed, at: datetime) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    facts, bath, joint, day = seen.facts, seen.bath, seen.joint, seen.day
    if slip_weight(bath, joint) > SET_ASIDE_ABOVE:
        found += ("reading_disagrees",)
        if facts.other_tank and facts.other_tank_chance > SET_ASIDE_ABOVE:
            found += ("wrong_tank",)
    if facts.missing_since and jump_weight(bath, joint, day) >= MISSING_UNTIL:
        found += ("washes_missing",)
    found += _findings(seen)
    if facts.dismissed:
        found = tuple(name for name in found if not is_dismissed(name, seen))
    if at - (facts.last_reading_at or facts.set_up_at or at) > LONG_UNREAD:
        found += ("unread_for_a_year",)
    return found


def _findings(seen: Weighed) -> tuple[str, ...]:
    """Names of the findings that are likely enough to be said."""
    facts, found = seen.facts, chances(seen)
    names = tuple(name for name, least in FLAGGED_ABOVE.items() if found.get(name, 0.0) > least)
    if facts.is_fill_dirty and "fill_not_fresh" not in names:
        names += ("fill_not_fresh",)
    if is_contradicted(facts, seen.day):
        names += ("not_one_bath",)
    return names


def _is_wet(facts: TankFacts, seen: Glance) -> bool:
    """Two readings of unlike kind may show water where it is the hydrometer that is off: then the
    readings before them say so."""
    return seen.wet_chance > (WET_AT_LEAST if facts.is_water_suspected else WET_ABOVE)


def _flags(
    room: RoomState, facts: TankFacts, seen: Glance, limits: tuple[float, float], at: datetime
) -> tuple[str, ...]:
    mean, drift = seen.saturation.mean, abs(seen.sensor_bias[0])
    days, washes = facts.life_days, facts.life_washes
    checks = {
        "sensor_drifting": drift > DRIFTING_SD * room.settings.sensor_bias_sd_percent,
        "apparent": facts.is_apparent,
        "water_suspected": _is_wet(facts, seen),
        "past_limit": mean >= limits[0],
        "past_stop": mean >= limits[1],
        "past_life_days": days is not None and at - facts.fill_started_at >= timedelta(days=days),
        "past_life_washes": washes is not None and facts.washes_since_fill >= washes,
    }
    return tuple(name for name, is_so in checks.items() if is_so)
