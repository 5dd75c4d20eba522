"""What a bath held as a swap took it up, with what was told of it only later.

A swap opens with the estimate of that minute. A top-up that was forgotten then is in the tank all
the same: the litres of the swap begin with it, or it would count as evaporated.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.roomlog.kinds import Entry, Removal, Swap, Tank, TankChange, TopUp

ACTS = (Tank, TankChange, TopUp, Removal, Swap)
"""What moves the level of a bath outside its swaps, or sets it."""


@dataclass(frozen=True)
class Moved:
    """An entry about a tank, in the order of truth.

    Attributes:
        number: of its row: what was stored first has the lower one.
        gone: number of the row that corrects or withdraws it; None where it counts.
    """

    entry: Entry
    number: int
    gone: int | None = None


def litres_at_start(
    estimated_l: float, capacity_l: float, number: int, acts: Sequence[Moved]
) -> float:
    """Litres in a bath as its swap begins.

    Where its level was set by something told late, that level counts and what was added and taken
    since; else the estimate with what was told late, less what was taken back.

    Args:
        estimated_l, capacity_l: as the swap's opening says.
        number: of the opening's row.
        acts: those of the tank before the opening, in the order of truth, from the last new bath
            that counts at least.
    """
    since, level_l = 0, None
    for place, act in enumerate(acts):
        set_l = level_after(act.entry, capacity_l)
        if set_l is not None and act.gone is None:
            since, level_l = place, set_l
    behind = acts[since + 1 :] if level_l is not None else acts
    if level_l is not None and _is_news(acts, since, number, capacity_l):
        counting = (_added_l(act.entry) for act in behind if act.gone is None)
        return max(0.0, level_l + sum(counting))
    news = sum(_added_l(one.entry) for one in behind if one.gone is None and one.number > number)
    gone = sum(_added_l(one.entry) for one in behind if _was_known(one, number))
    return max(0.0, estimated_l + news - gone)


def _was_known(act: Moved, number: int) -> bool:
    """It counted as the swap began, and no longer does."""
    return act.gone is not None and act.number < number < act.gone


def _is_news(acts: Sequence[Moved], since: int, number: int, capacity_l: float) -> bool:
    """The estimate of the opening did not rest on the last level that was set."""
    last = acts[since]
    known = [
        set_l
        for act in acts[since - 1 :]
        if _was_known(act, number) and (set_l := level_after(act.entry, capacity_l)) is not None
    ]
    if last.number > number:  # another amount of the same act leaves what it set
        return level_after(last.entry, capacity_l) not in known
    return any(isinstance(act.entry, Swap) and _was_known(act, number) for act in acts[since:])


def level_after(entry: Entry, capacity_l: float) -> float | None:
    """The level that an entry sets; None where it moves a level that it does not name."""
    if isinstance(entry, Tank):
        return entry.capacity_l
    if isinstance(entry, TopUp):
        return capacity_l if entry.to_mark else None
    if isinstance(entry, Removal):
        return entry.left_l
    if isinstance(entry, Swap):
        return capacity_l if entry.filled_l is None else (entry.heel_l or 0.0) + entry.filled_l
    return None


def _added_l(entry: Entry) -> float:
    if isinstance(entry, TopUp):
        return entry.volume_l
    return -entry.volume_l if isinstance(entry, Removal) else 0.0
