"""Litres from the weights that a scale sends itself: which of them count, and what they come to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.domain.roomlog.kinds.waste import ScaleWeight

FRESH = timedelta(minutes=15)
"""How long a weight is offered: after it, something else may stand on the scale (common practice,
no source)."""
RESTS = timedelta(seconds=10)
"""Two weights within this must agree before the later one is offered (common practice, no
source)."""
REST_KG, REST_SHARE = 0.1, 0.005
LESS_KG = 0.5
"""How much less than its empty weight a drum may show: the scale's own error, a bung taken out
(common practice, no source)."""

FULL_KG_L = 1.3
"""No waste of washing weighs more, kg/L: cured and filled resin do not fill a drum (common
practice, no source)."""
OFF_KG, OFF_SHARE = 2.0, 0.1
"""How far a drum may be from what the books say it weighs: evaporation, a density that was
assumed (common practice, no source)."""

STILL_MOVING = "The scale still moves. Wait until it rests and sends the weight again."


@dataclass(frozen=True)
class Weighed:
    """What a scale says was poured.

    Attributes:
        id: of the weight after, which whoever is there takes.
        before_id: of the weight before; empty where the books say what the drum weighed.
        problem: why it cannot be taken, in a sentence; then `litres` is 0.
    """

    id: str
    scale: str
    at: datetime
    before_kg: float
    after_kg: float
    litres: float = 0.0
    before_id: str = ""
    problem: str = ""

    @property
    def poured_kg(self) -> float:
        """The difference, whichever way it went."""
        return abs(self.after_kg - self.before_kg)


def latest(weights: Sequence[ScaleWeight], now: datetime) -> ScaleWeight | None:
    """The last weight after pouring that is still fresh; weights from the oldest on."""
    fresh = [one for one in weights if one.moment == "after" and now - one.at <= FRESH]
    return fresh[-1] if fresh else None


def rests(weights: Sequence[ScaleWeight], last: ScaleWeight) -> bool:
    """Whether the scale stood still: what it sent just before agrees."""
    allowed_kg = max(REST_KG, REST_SHARE * last.shown_kg)
    near = (
        one
        for one in weights
        if one.scale == last.scale
        and one.moment == last.moment
        and timedelta(0) <= last.at - one.at <= RESTS
    )
    return all(abs(one.shown_kg - last.shown_kg) <= allowed_kg for one in near)


def into_drum(
    weights: Sequence[ScaleWeight], books_kg: float | None, kg_l: float, now: datetime
) -> Weighed | None:
    """What went into a drum, by its last weight; None where none is fresh.

    litres = (after - before) / density; `before` is the weight sent before pouring, else what the
    books say the drum weighs.

    Args:
        weights: of this drum, from the oldest on, none from before it was last poured into.
        books_kg: its empty weight and what is in it; None where the empty weight is not on file.
        kg_l: density of what is poured, kg/L.
    """
    last = latest(weights, now)
    if last is None:
        return None
    before = _before(weights, last)
    before_kg = before.shown_kg if before else books_kg
    if before_kg is None:
        words = "The empty weight of this drum is not on file. Weigh it before pouring too."
        return Weighed(last.id, last.scale, last.at, 0.0, last.shown_kg, problem=words)
    if before is not None and books_kg is not None and _is_off(before_kg, books_kg):
        off = (
            f"Before pouring the scale showed {before_kg:.1f} kg; by the books this drum weighed "
            f"{books_kg:.1f} kg. Is it the right drum?"
        )
        return Weighed(last.id, last.scale, last.at, before_kg, last.shown_kg, problem=off)
    less = f"Before pouring it weighed {before_kg:.1f} kg; this is less. Is it the right drum?"
    return _weighed(weights, last, before, before_kg, last.shown_kg - before_kg, kg_l, less)


def out_of_container(weights: Sequence[ScaleWeight], kg_l: float, now: datetime) -> Weighed | None:
    """What was poured from a container, by what it weighed before and after; None where no weight
    is fresh.

    litres = (before - after) / density of the fresh solvent, kg/L.
    """
    last = latest(weights, now)
    if last is None:
        return None
    before = _before(weights, last)
    if before is None:
        words = "This scale did not send what the container weighed before pouring."
        return Weighed(last.id, last.scale, last.at, 0.0, last.shown_kg, problem=words)
    more = f"Before pouring it weighed {before.shown_kg:.1f} kg; this is more. Is it the same one?"
    poured_kg = before.shown_kg - last.shown_kg
    return _weighed(weights, last, before, before.shown_kg, poured_kg, kg_l, more)


def _is_off(shown_kg: float, books_kg: float) -> bool:
    return abs(shown_kg - books_kg) > max(OFF_KG, OFF_SHARE * books_kg)


def _before(weights: Sequence[ScaleWeight], last: ScaleWeight) -> ScaleWeight | None:
    """The weight before pouring that belongs to a weight after it: of the same scale."""
    found = [
        one
        for one in weights
        if one.moment == "before" and one.scale == last.scale and one.at <= last.at
    ]
    return found[-1] if found else None


def _weighed(
    weights: Sequence[ScaleWeight], last: ScaleWeight, before: ScaleWeight | None,
    before_kg: float, poured_kg: float, kg_l: float, wrong: str,
) -> Weighed:  # fmt: skip
    problem = ""
    if not rests(weights, last) or (before is not None and not rests(weights, before)):
        problem = STILL_MOVING
    elif poured_kg < 0:
        problem = wrong
    litres = 0.0 if problem else round(poured_kg / kg_l, 3)
    return Weighed(
        last.id, last.scale, last.at, before_kg, last.shown_kg, litres, before.id if before else "",
        problem,
    )  # fmt: skip
