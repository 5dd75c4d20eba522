"""What the entries of a swap say of its litres besides the answers at its steps."""

from dataclasses import dataclass
from datetime import datetime

from app.domain.roomlog.kinds import Removal
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.waste import Pour

ASKED = "asked"
WORDS_KEPT = 60


@dataclass(frozen=True)
class Poured:
    """A pour of the swap.

    Attributes:
        id: of the entry that was first made; a correction keeps it.
        holds_resin: its share of resin is known: it is bath, not rinse.
    """

    id: str
    drum: str
    litres: float
    at: datetime
    holds_resin: bool = False


@dataclass(frozen=True)
class Found:
    """What was last said to be in a tank of the swap, or that it is asked.

    Attributes:
        left_l: litres; None where the answer says it without a figure.
    """

    tank: str
    found: str
    at: datetime
    left_l: float | None = None
    by: str = ""
    note: str = ""

    @property
    def is_asked(self) -> bool:
        """Nobody has said yet what is in the tank."""
        return self.found == ASKED


def poured(entry: Pour) -> Poured:
    """A pour as a swap keeps it."""
    first = entry.corrects or entry.id
    return Poured(first, entry.drum, entry.volume_l, entry.at, entry.resin_percent is not None)


def found_of(entry: TankContents | Removal) -> Found:
    """What an entry says is in a tank; a removal names what it left."""
    word = entry.found if isinstance(entry, TankContents) else "partly"
    return Found(entry.tank, word, entry.at, entry.left_l, entry.by, entry.note)


def with_word(known: tuple[Found, ...], new: Found) -> tuple[Found, ...]:
    """All that was said, the last words of a swap that has stopped very often."""
    return (*known, new)[-WORDS_KEPT:]


@dataclass(frozen=True)
class Balance:
    """Where each litre went; `loss_l` is what no other line accounts for."""

    estimated_l: float
    drained_l: float
    rinsed_l: float
    heel_l: float
    filled_l: float
    loss_l: float
    moved_l: float | None = None
