"""What a new room may begin with, before anybody has set up a tank: a few tanks, or a pair."""

from collections.abc import Mapping
from dataclasses import dataclass

LIMIT_PERCENT, CLEAN_LIMIT_PERCENT, CLEAN_STOP_PERCENT = 10.0, 2.0, 3.0
"""Mass percent of resin at which a bath is swapped; of a clean bath behind a dirty one too, and at
which its washing stops (common practice, no source)."""


@dataclass(frozen=True)
class FirstTank:
    """A tank of a start.

    Attributes:
        rinsed_in: name of the clean bath that its parts go on to.
        limit_percent: mass percent of resin at which to swap it.
        stop_percent: at which washing stops; None: a fifth above.
    """

    name: str
    rinsed_in: str = ""
    limit_percent: float = LIMIT_PERCENT
    stop_percent: float | None = None


@dataclass(frozen=True)
class Start:
    """A choice of the form of a new room."""

    title: str
    tanks: tuple[FirstTank, ...]


def _alike(count: int) -> Start:
    tanks = tuple(FirstTank(f"Tank {letter}") for letter in "ABCDEF"[:count])
    return Start("1 tank" if count == 1 else f"{count} tanks", tanks)


STARTS: Mapping[str, Start] = {
    "none": Start("No tank yet", ()),
    **{str(count): _alike(count) for count in (1, 2, 3, 4, 6)},
    "pair": Start(
        "A dirty and a clean bath",
        (
            FirstTank("Dirty bath", rinsed_in="Clean bath"),
            FirstTank("Clean bath", "", CLEAN_LIMIT_PERCENT, CLEAN_STOP_PERCENT),
        ),
    ),
}
