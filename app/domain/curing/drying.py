"""How long parts dry between the wash and the light.

Solvent left on a part keeps its surface from curing (tacky, white) and gives off vapour into a warm
chamber. The waits are common practice without a published source, longer the slower a solvent
evaporates; a recipe sets its own. They end the reminder, not the look: a part that still shows or
smells of solvent waits on.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.domain.solvents import SOLVENTS

UNKNOWN_MINUTES = 60.0


@dataclass(frozen=True)
class Drying:
    """Whether a part may go under the light.

    Attributes:
        asked_minutes: how long it should dry.
        dried_minutes: how long it has; None where nobody knows when it left the wash.
        ready_at: when it will have; None likewise.
    """

    asked_minutes: float
    dried_minutes: float | None
    ready_at: datetime | None

    @property
    def missing_minutes(self) -> float:
        """How long it should still wait."""
        if self.dried_minutes is None:
            return 0.0
        return max(self.asked_minutes - self.dried_minutes, 0.0)

    @property
    def is_too_soon(self) -> bool:
        """It left the wash, and has not dried long enough."""
        return self.missing_minutes > 0


def asked_minutes(solvent: str | None, recipe_minutes: float | None = None) -> float:
    """The wait before the light: the recipe's, else the solvent's usual one."""
    if recipe_minutes is not None:
        return recipe_minutes
    known = SOLVENTS.get(solvent or "")
    return UNKNOWN_MINUTES if known is None else known.drying_minutes


def advice(solvent: str | None) -> str:
    """What to do with this solvent besides waiting."""
    known = SOLVENTS.get(solvent or "")
    if known is not None and known.dries_slowly:
        return "This solvent hardly evaporates. Rinse it off as its recipe says, then dry."
    if known is not None and known.is_flammable:
        return (
            "Let it evaporate under the hood, not in the chamber. Its vapour can catch fire at a "
            "hot lamp."
        )
    if known is not None and known.is_watery:
        return "Blow or wipe water out of pockets. Wet spots turn white."
    return "Check for wet pockets and blind holes before it goes under the light."


def drying(asked: float, washed_at: datetime | None, now: datetime) -> Drying:
    """How far the drying of a part has come."""
    if washed_at is None:
        return Drying(asked, None, None)
    dried = max((now - washed_at) / timedelta(minutes=1), 0.0)
    return Drying(asked, dried, washed_at + timedelta(minutes=asked))
