"""What may lie behind an estimate: each explanation with its chance and what speaks for it."""

from datetime import datetime

import numpy as np

from app.domain.baths.estimator.bath import NEVER, Bath, Joint
from app.domain.baths.estimator.contradictions import BEFORE, CHANNEL, DAY, PERCENT, is_contradicted
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.results import Explanation
from app.domain.baths.estimator.roomstate import moment_of
from app.domain.instruments import INSTRUMENTS

SHOWN_ABOVE = 0.05
FLAGGED_ABOVE = {
    "swap_missing": 0.5,
    "top_up_missing": 0.8,
    "fill_not_fresh": 0.5,
    "wrong_entry": 0.5,
}
NAMES = ("swap_missing", "top_up_missing", "wrong_entry", "fill_not_fresh")  # columns of found_on
SAID_FOR_DAYS = np.array([60.0, 10.0, 60.0, 60.0])


def chances(bath: Bath, joint: Joint, day: float) -> dict[str, float]:
    """How likely each finding about the present fill is; empty where there is none."""
    if bath.found_on.max() == NEVER:
        return {}
    found = joint.weight @ (bath.found_on > day - SAID_FOR_DAYS)
    return dict(zip(NAMES, found.tolist(), strict=True))


def findings(facts: TankFacts, bath: Bath, joint: Joint, day: float) -> tuple[str, ...]:
    """Names of the findings that are likely enough to be said."""
    found = chances(bath, joint, day)
    names = tuple(name for name, least in FLAGGED_ABOVE.items() if found.get(name, 0.0) > least)
    if facts.is_fill_dirty and "fill_not_fresh" not in names:
        names += ("fill_not_fresh",)
    if is_contradicted(facts, day):
        names += ("not_one_bath",)
    return names


def explained(
    facts: TankFacts, bath: Bath, joint: Joint, day: float, slip: float, jump: float
) -> tuple[Explanation, ...]:
    """The explanations of the last readings, the likeliest first.

    The chance that the last reading is right is what no other explanation of it takes.
    """
    found = chances(bath, joint, day)
    other = facts.other_tank_chance if facts.other_tank else 0.0
    named = {
        "slip": slip * (1 - other), "wrong_tank": slip * other, "washes_missing": jump, **found,
    }  # fmt: skip
    right = max(1 - slip - max([jump, *found.values()]), 0.0)
    evidence = _evidence(facts)
    told = [
        Explanation(
            name, chance, _since(name, facts, bath), evidence,
            facts.other_tank if name == "wrong_tank" else None,
            facts.wrong_entry[0] if name == "wrong_entry" and facts.wrong_entry else None,
        )
        for name, chance in {"right": right, **named}.items() if chance >= SHOWN_ABOVE
    ]  # fmt: skip
    return tuple(sorted(told, key=lambda one: -one.chance))


def _since(name: str, facts: TankFacts, bath: Bath) -> datetime | None:
    if name == "washes_missing":
        return facts.missing_since
    if name in NAMES:
        column = bath.found_on[:, NAMES.index(name)]
        return moment_of(float(column.max()))
    return moment_of(facts.recent[-1][DAY]) if facts.recent else None


def _evidence(facts: TankFacts) -> str:
    """What the last reading shows against what was expected."""
    if not facts.recent:
        return ""
    last = facts.recent[-1]
    instrument = f"The {INSTRUMENTS[last[CHANNEL]].name.lower()}"
    return f"{instrument} shows {last[PERCENT]:.1f} %, the log says {last[BEFORE]:.1f} %."
