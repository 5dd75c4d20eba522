"""A month closed to the fill line: what evaporated or was carried out of a bath."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry, Removal, Swap, TopUp

DAYS_OF_MONTH = 30.4


@dataclass(frozen=True)
class Movements:
    """What the log says went into a bath and out of it between two closes, litres.

    Attributes:
        unstated: swaps that do not say how much was drained or filled.
    """

    added_l: float = 0.0
    removed_l: float = 0.0
    additions: int = 0
    removals: int = 0
    unstated: int = 0


def emission(additions: float, liquid_removed: float, solids_removed: float) -> float:
    """What was lost to the air in a period that began and ended at the same fill line.

    E = SA - LSR - SSR, all in one unit (litres, or kilograms): solvent added, liquid solvent
    removed, solvent in solid waste removed. Source: 40 CFR 63.464(a) and 63.465(c), which divide
    by the area of the surface for a rate; written for halogenated solvents.

    Raises:
        FieldError: the loss is negative: something is missing from the record.

    >>> emission(30.0, 18.0, 0.5)
    11.5
    """
    lost = additions - liquid_removed - solids_removed
    if lost < 0:
        raise FieldError("added_l", "More was taken out than added: an addition is missing.")
    return lost


def rate_kg_m2_month(
    lost_l: float, density_g_ml: float, area_m2: float, since_at: datetime, until_at: datetime
) -> float:
    """The loss as a rate in kg per square metre of surface and month of 30.4 days.

    Source: 40 CFR 63.464(a)(1) compares such a rate over three months; its limits are for
    halogenated solvents and are not used here.
    """
    months = (until_at - since_at).total_seconds() / 86400 / DAYS_OF_MONTH
    return lost_l * density_g_ml / area_m2 / months


def movements(entries: Iterable[Entry]) -> Movements:
    """What top-ups, removals and swaps moved; a swap counts what it drained and what it filled."""
    found = Movements()
    for entry in entries:
        if isinstance(entry, TopUp):
            found = _plus(found, added_l=entry.volume_l)
        elif isinstance(entry, Removal):
            found = _plus(found, removed_l=entry.volume_l)
        elif isinstance(entry, Swap):
            found = _plus(found, entry.filled_l or 0.0, entry.drained_l or 0.0)
            if entry.filled_l is None or entry.drained_l is None:
                found = Movements(**{**vars(found), "unstated": found.unstated + 1})
    return found


def _plus(found: Movements, added_l: float = 0.0, removed_l: float = 0.0) -> Movements:
    return Movements(
        found.added_l + added_l,
        found.removed_l + removed_l,
        found.additions + (added_l > 0),
        found.removals + (removed_l > 0),
        found.unstated,
    )
