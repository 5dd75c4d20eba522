"""A month closed to the fill line: what evaporated or was carried out of a bath."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.domain.roomlog.kinds import Entry, Removal, Swap, TopUp


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


def emission(
    additions: float, liquid_removed: float, solids_removed: float, resin_brought: float = 0.0
) -> float:
    """What was lost in a period that began and ended at the same fill line.

    E = SA - LSR - SSR, all in one unit (litres, or kilograms): solvent added, liquid solvent
    removed, solvent in solid waste removed. A negative one means that the record is wrong.
    Source: 40 CFR 63.464(a) and 63.465(c), which divide by the area of the surface for a rate;
    written for halogenated solvents. What parts carry out is in it.

    Resin that parts bring in lies below the line where solvent did. The balance of the solvent
    alone, SA - (LSR - resin in it) - SSR - (solvent at the end - at the start), is E plus
    `resin_brought`: the volume of resin brought in less what parts carried out again.

    >>> emission(30.0, 18.0, 0.5)
    11.5
    >>> emission(30.0, 18.0, 0.5, 2.5)
    14.0
    """
    return additions - liquid_removed - solids_removed + resin_brought


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
