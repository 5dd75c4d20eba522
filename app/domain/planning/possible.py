"""Days on which a swap can be: none before its solvent and the room for its waste are there.

What is there goes to the swaps in the order of the queue whatever their days, so that a swap that
waits takes nothing from those before it.
"""

from collections.abc import Callable, Collection, Mapping

from app.domain.planning.readiness import Readiness
from app.domain.planning.scheduling import Schedule, Wait, Waits
from app.domain.planning.stock import Stock, SwapAhead

MOST_TURNS = 6  # each only moves days back; two are usual


def settled(
    plan: Callable[[Waits], Schedule],
    ready: Callable[[Schedule], list[Readiness]],
    stock: Stock,
    waits: Waits,
) -> tuple[Schedule, list[Readiness], Waits]:
    """The days that `plan` gives under all waits, with what `ready` says of them.

    A swap waits for what its lines say comes only after its day: what is on its way, else what is
    ordered or booked today. What the room keeps no books of (no item of that solvent, no drum of
    that stream) is not known to be missing, and moves no day.
    """
    for _ in range(MOST_TURNS):
        days = plan(waits)
        found = ready(days)
        more = {
            (one.swap.tank, one.swap.round): wait
            for one in found
            if (wait := _wait_of(one, stock)) is not None
        }
        if not more:
            break
        waits = {**waits, **more}
    return days, found, waits


def _wait_of(one: Readiness, stock: Stock) -> Wait | None:
    swap: SwapAhead = one.swap
    if swap.is_fixed or swap.day is None:
        return None
    found = []
    kept: Mapping[str, Collection[str]] = {"solvent": stock.solvents, "drum": stock.drums}
    for line in one.lines:
        if line.key not in kept.get(line.subject, ()):
            continue
        comes_on = line.ready_on if line.state == "late" else None
        comes_on = line.earliest_on if line.state == "short" else comes_on
        if comes_on is not None and comes_on > swap.day:
            found.append(Wait(comes_on, line.subject))
    return max(found, key=lambda wait: wait.day, default=None)
