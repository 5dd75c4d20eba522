"""To where a tank is filled: half way between its marks, the one figure of plan, checklist, list.

The marks are the maker's; half way between them is common practice without a published source.
"""

from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import heel, left_in_clean, usual_heel_l

SLACK = 1.005  # of the capacity: what nobody can see at a mark


def level_l(capacity_l: float, min_l: float | None) -> float:
    """Half way between the marks, litres; the upper mark where there is no lower one.

    >>> level_l(40.0, 30.0)
    35.0
    """
    return capacity_l if min_l is None else (capacity_l + min_l) / 2


def fill_target_l(capacity_l: float, min_l: float | None, left_l: float) -> float:
    """What is filled in on top of what is left in the tank, litres.

    >>> fill_target_l(40.0, 30.0, 0.8)
    34.2
    """
    return max(0.0, level_l(capacity_l, min_l) - left_l)


def marks_of(state: SwapState) -> tuple[float, float | None]:
    """The upper and the lower mark of the tank that gets the fresh solvent, litres."""
    if state.from_tank is None:
        return state.capacity_l, state.min_l
    return state.from_capacity_l or state.capacity_l, state.from_min_l


def target_l(state: SwapState, heel_percent: float) -> float:
    """What a swap fills in, on top of what is seen or taken to be left in that tank, litres.

    Args:
        heel_percent: what a drained tank keeps where nobody looked, percent of its capacity.
    """
    is_pair = state.from_tank is not None
    left = left_in_clean(state, heel_percent) if is_pair else heel(state, heel_percent)
    usual_l = usual_heel_l(state, state.filled_tank, heel_percent)
    return fill_target_l(*marks_of(state), left.litres if left is not None else usual_l)
