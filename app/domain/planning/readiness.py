"""Whether a swap can be done on its day: what is there, what comes when, what is missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from app.domain.planning.lines import WORST, Line, Queue, State, Subject
from app.domain.planning.stock import Stock, SwapAhead
from app.domain.site import SiteState
from app.domain.workdays import WorkCalendar


@dataclass(frozen=True)
class Readiness:
    """A swap with what it needs. `by_on`: the day everything has to be there."""

    swap: SwapAhead
    by_on: date | None
    lines: tuple[Line, ...]

    @property
    def state(self) -> State:
        """The worst state of its lines."""
        return min((line.state for line in self.lines), key=WORST.index, default="ready")

    @property
    def first_short(self) -> Line | None:
        """The first thing that falls short or comes too late."""
        return next((line for line in self.lines if line.state in ("short", "late")), None)

    def line(self, subject: Subject) -> Line | None:
        """Its line about a subject."""
        return next((line for line in self.lines if line.subject == subject), None)


def readiness(
    swaps: Sequence[SwapAhead],
    stock: Stock,
    site: SiteState,
    workdays: WorkCalendar,
    today: date,
) -> list[Readiness]:
    """Each swap of the queue, in its order, with what it gets and what it lacks."""
    by_on = [needed_by(swap, today) for swap in swaps]
    queue = Queue(swaps, by_on, stock, site, workdays, today)
    solvent = queue.solvent()
    single = zip(solvent, queue.drums(), queue.months(), queue.fire(solvent), strict=True)
    several = zip(queue.parts(), queue.days(), strict=True)
    return [
        Readiness(swap, day, (*lines, *parts, *days))
        for swap, day, lines, (parts, days) in zip(swaps, by_on, single, several, strict=True)
    ]


def first_shortfall(found: Sequence[Readiness]) -> tuple[Readiness, Line] | None:
    """The first swap of the queue that falls short, and what of; None where none does."""
    return next(((one, line) for one in found if (line := one.first_short) is not None), None)


def needed_by(swap: SwapAhead, today: date) -> date | None:
    """The day everything has to be there: the day it stands on, else the early day."""
    day = swap.day or swap.early_on
    return None if day is None else max(today, day)
