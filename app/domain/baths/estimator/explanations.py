"""What may lie behind an estimate: each explanation with its chance and what speaks for it."""

from dataclasses import dataclass
from datetime import datetime
from statistics import median, mode
from typing import Any

import numpy as np

from app.domain.baths.estimator.bath import NEVER, Bath, Joint
from app.domain.baths.estimator.contradictions import (
    BEFORE,
    CHANNEL,
    DAY,
    ENTRY_ID,
    PERCENT,
    REMEMBERED_DAYS,
    SD,
    SURELY_APART_SD,
    TO_MARK,
)
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.results import Explanation, Sight
from app.domain.baths.estimator.roomstate import moment_of

SHOWN_ABOVE = 0.05
FLAGGED_ABOVE = {
    "swap_missing": 0.5,
    "top_up_missing": 0.8,
    "fill_not_fresh": 0.5,
    "wrong_entry": 0.5,
}
NAMES = ("swap_missing", "top_up_missing", "wrong_entry", "fill_not_fresh")  # columns of found_on
SAID_FOR_DAYS = np.array([60.0, 10.0, 60.0, 60.0])
OF_ONE_READING = ("slip", "wrong_tank")
ALIKE_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Weighed:
    """A bath whose explanations are looked at, on a day since 1970."""

    facts: TankFacts
    bath: Bath
    joint: Joint
    day: float


def chances(seen: Weighed) -> dict[str, float]:
    """How likely each finding about the present fill is; empty where there is none."""
    bath = seen.bath
    if bath.found_on.max() == NEVER:
        return {}
    found = seen.joint.weight @ (bath.found_on[:, : len(NAMES)] > seen.day - SAID_FOR_DAYS)
    return dict(zip(NAMES, found.tolist(), strict=True))


def speaking_for(name: str, seen: Weighed) -> list[list[Any]]:
    """The remembered readings that speak for an explanation, in order."""
    recent = seen.facts.recent
    if name in OF_ONE_READING:
        return recent[-1:]
    if name == "not_one_bath":
        late = [one for one in recent if seen.day - one[DAY] <= REMEMBERED_DAYS]
        usual = mode(one[CHANNEL] for one in late) if late else ""
        return [one for one in late if one[CHANNEL] == usual]
    first = began_on(name, seen)
    if first is None or name == "wrong_entry":
        return []
    return _alike([one for one in recent if one[DAY] >= first])


def began_on(name: str, seen: Weighed) -> float | None:
    """The day on which the likeliest hypothesis with that finding found it; None without one."""
    bath = seen.bath
    column = bath.jumped_on if name == "washes_missing" else None
    if name in NAMES:
        column = bath.found_on[:, NAMES.index(name)]
    if column is None or column.max() == NEVER:
        return None
    return float(column[int(np.argmax(seen.joint.weight * (column > NEVER)))])


def subject_of(name: str, facts: TankFacts) -> str | None:
    """Id of the entry that an explanation is about; None where it is about none."""
    if name == "wrong_entry":
        return str(facts.wrong_entry[0]) if facts.wrong_entry else None
    if name in OF_ONE_READING and facts.recent:
        return str(facts.recent[-1][ENTRY_ID])
    return None


def explained(seen: Weighed, slip: float, jump: float) -> tuple[Explanation, ...]:
    """The explanations of the last readings, the likeliest first.

    The chance that the last reading is right is what no other explanation of it takes.
    """
    facts, found = seen.facts, chances(seen)
    other = facts.other_tank_chance if facts.other_tank else 0.0
    named = {
        "slip": slip * (1 - other), "wrong_tank": slip * other, "washes_missing": jump, **found,
    }  # fmt: skip
    right = max(1 - slip - max([jump, *found.values()]), 0.0)
    told = [
        explanation(name, chance, seen)
        for name, chance in {"right": right, **named}.items()
        if chance >= SHOWN_ABOVE
    ]
    return tuple(sorted(told, key=lambda one: -(one.chance or 0.0)))


def explanation(name: str, chance: float | None, seen: Weighed) -> Explanation:
    """An explanation with the readings that speak for it."""
    facts, rows = seen.facts, speaking_for(name, seen)
    first = rows[0][DAY] if rows else seen.day
    before = [one[DAY] for one in facts.recent if one[DAY] < first]
    wrong = facts.wrong_entry if name == "wrong_entry" else None
    return Explanation(
        name, chance, _since(name, seen),
        readings=tuple(
            Sight(moment_of(one[DAY]), one[CHANNEL], one[PERCENT], one[BEFORE], one[ENTRY_ID])
            for one in rows
        ),
        read_before_at=moment_of(before[-1]) if before else facts.fill_started_at,
        other_tank=facts.other_tank if name == "wrong_tank" else None,
        entry=subject_of(name, facts),
        factor=wrong[2] if wrong else None,
        to_mark_l=rows[0][TO_MARK] if rows else 0.0,
    )  # fmt: skip


def _since(name: str, seen: Weighed) -> datetime | None:
    if name == "washes_missing":
        return seen.facts.missing_since
    if name == "wrong_entry" and seen.facts.wrong_entry:
        return datetime.fromisoformat(seen.facts.wrong_entry[1])
    found = began_on(name, seen)
    if found is not None:
        return moment_of(found)
    rows = speaking_for(name, seen) or seen.facts.recent[-1:]
    return moment_of(rows[0][DAY]) if rows else None


def _alike(rows: list[list[Any]]) -> list[list[Any]]:
    """Readings but those that lie far from the rest of them."""
    if len(rows) < 3:
        return rows
    middle = median(one[PERCENT] for one in rows)
    return [
        one
        for one in rows
        if abs(one[PERCENT] - middle) <= SURELY_APART_SD * one[SD] + ALIKE_PERCENT
    ]
