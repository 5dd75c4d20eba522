"""A recall: which part lots touched something that was not as it should be, and when."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

LIMIT, HELD, ASIDE, OVERDUE = (
    "bath over limit", "tank on hold", "light reading set aside", "check overdue",
)  # fmt: skip
RESIN, SOLVENT = "resin lot", "solvent lot"
REASONS = (LIMIT, HELD, ASIDE, OVERDUE, RESIN, SOLVENT)
"""For what lots may be called back; the first four are findings of a record too."""
OF_A_LOT = (RESIN, SOLVENT)
"""Those that ask for a lot."""


@dataclass(frozen=True)
class Touch:
    """That a wash or cure of a part lot touched something.

    Attributes:
        key: by what the lot is found, lot as this entry spells it.
        tank, station: where; one of them is empty.
        percent, limit_percent: of a bath above its limit, mass percent.
        since_at: since when the tank was held, the reading set aside, the check overdue, or the
            lot in the bath; why: the reason of the hold.
    """

    key: str
    lot: str
    reason: str
    at: datetime
    entry: str
    tank: str = ""
    station: str = ""
    percent: float | None = None
    limit_percent: float | None = None
    fill: int | None = None
    since_at: datetime | None = None
    why: str = ""


@dataclass(frozen=True)
class RecalledLot:
    """A part lot with all that it touched, in the order of time.

    Attributes:
        standing: open, released or rejected, by the last word; decided_at and by: when and who.
    """

    key: str
    lot: str
    touches: tuple[Touch, ...]
    standing: str = "open"
    decided_at: datetime | None = None
    decided_by: str = ""

    @property
    def reasons(self) -> tuple[str, ...]:
        """Each reason once."""
        found = {touch.reason for touch in self.touches}
        return tuple(one for one in REASONS if one in found)


def by_lot(touches: Iterable[Touch]) -> list[RecalledLot]:
    """The lots of touches, the one touched last in front; each touch once."""
    found: dict[str, list[Touch]] = {}
    told: dict[tuple[str, str], list[Touch]] = {}
    for touch in touches:
        alike = told.setdefault((touch.reason, touch.entry), [])  # a whole touch is slow to hash
        if touch not in alike:
            alike.append(touch)
            found.setdefault(touch.key, []).append(touch)
    lots = [_lot(key, sorted(some, key=_order)) for key, some in found.items()]
    return sorted(lots, key=lambda one: (one.touches[-1].at, one.key), reverse=True)


def _lot(key: str, touches: Sequence[Touch]) -> RecalledLot:
    return RecalledLot(key, touches[-1].lot, tuple(touches))


def _order(touch: Touch) -> tuple[datetime, int, str]:
    return touch.at, REASONS.index(touch.reason), touch.entry
