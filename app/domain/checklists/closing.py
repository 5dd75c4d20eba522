"""The close of a swap: what was in the bath, where it went, and what nobody can account for.

A balance of volumes: what was estimated, less what was drained, less what stayed behind, is lost:
evaporated since the last level, dragged out beyond the estimate, or spilt. A rinse comes from the
shelf and goes into the drum, so that it stands on both sides.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from app.domain.checklists.litres import Balance
from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState, Tick
from app.domain.checklists.tank_contents import (
    Standing,
    drained_l,
    heel,
    left_in_clean,
    standing,
    usual_heel_l,
)


@dataclass(frozen=True)
class Reconciliation:
    """The balance of a swap.

    Attributes:
        heel_is_seen: what stayed in the tank was looked at, not assumed.
        in_drum_l: bath and rinse together.
        after_l: what stands in the filled tank.
        tolerance_l: a larger loss or surplus asks for a note.
        clean_heel_l, clean_heel_is_seen: of a pair, what its clean tank kept when it was moved.
    """

    balance: Balance
    heel_is_seen: bool
    in_drum_l: float
    after_l: float
    tolerance_l: float
    clean_heel_l: float | None = None
    clean_heel_is_seen: bool = False

    @property
    def needs_note(self) -> bool:
        """The difference lies beyond the tolerance."""
        return abs(self.balance.loss_l) > self.tolerance_l + 1e-9


def reconcile(state: SwapState, heel_percent: float, tolerance_percent: float) -> Reconciliation:
    """The balance of a swap from what its steps were answered.

    Args:
        heel_percent: what a drained tank keeps where nobody looked, percent of its capacity.
        tolerance_percent: of the capacity, of a pair that of both.
    """
    out_l, filled_l = drained_l(state), state.amount_l("fill", "filled_l")
    left = heel(state, heel_percent)
    heel_l = left.litres if left else usual_heel_l(state, state.tank, heel_percent)
    rinsed_l = sum(state.amount_l(role, "rinse_l") for role in RINSES)
    estimated_l = state.estimated_l
    loss_l, after_l = estimated_l - out_l - heel_l, heel_l
    moved_l: float | None = None
    clean: Standing | None = None
    clean_heel_l: float | None = None
    if state.from_tank is not None:
        before_l, moved_l = state.from_estimated_l or 0.0, state.amount_l("move", "moved_l")
        clean = left_in_clean(state, heel_percent)
        usual_l = usual_heel_l(state, state.from_tank, heel_percent)
        after_l = clean_heel_l = clean.litres if clean else usual_l
        loss_l += before_l - moved_l - clean_heel_l
    balance = Balance(
        _tenth(estimated_l), _tenth(out_l), _tenth(rinsed_l), _tenth(heel_l),
        _tenth(filled_l), _tenth(loss_l), None if moved_l is None else _tenth(moved_l),
    )  # fmt: skip
    tolerance_l = tolerance_percent / 100 * (state.capacity_l + (state.from_capacity_l or 0.0))
    return Reconciliation(
        balance, left is not None and left.is_seen, _tenth(out_l + rinsed_l),
        _tenth(_after(state, heel_percent, after_l + filled_l)), tolerance_l,
        None if clean_heel_l is None else _tenth(clean_heel_l), clean is not None and clean.is_seen,
    )  # fmt: skip


def as_poured_now(state: SwapState) -> Balance | None:
    """The balance of a completed swap with its pours as they stand by now; None before it is.

    What was corrected, taken back or told since is more or less in the drum, and so much less or
    more is lost.
    """
    balance, drains = state.balance, _made_pours(state, ("drain",))
    if balance is None or not drains:
        return balance
    rinses, here = _made_pours(state, RINSES), {one.id for one in state.pours}
    # One that was corrected twice bears the id of its correction, and its own is missing.
    is_one_missing = any(here.isdisjoint(tick.wrote) for tick in _ticks_that_wrote(state, RINSES))
    rinsed_l = sum(
        one.litres
        for one in state.pours
        if one.id in rinses or (is_one_missing and one.id not in drains and not one.holds_resin)
    )
    out_l = sum(one.litres for one in state.pours) - rinsed_l
    return replace(
        balance, drained_l=_tenth(out_l), rinsed_l=_tenth(rinsed_l) if rinses else balance.rinsed_l,
        loss_l=_tenth(balance.loss_l - (out_l - balance.drained_l)),
    )  # fmt: skip


def _made_pours(state: SwapState, roles: Iterable[str]) -> set[str]:
    """The ids of what the steps of some roles wrote."""
    return {uid for tick in _ticks_that_wrote(state, roles) for uid in tick.wrote}


def _ticks_that_wrote(state: SwapState, roles: Iterable[str]) -> list[Tick]:
    ticks = (state.tick(step.key) for role in roles for step in state.with_role(role))
    return [tick for tick in ticks if tick is not None and tick.wrote]


def _after(state: SwapState, heel_percent: float, made_l: float) -> float:
    """What stands in the filled tank: less than was made where somebody saw less since."""
    stands = standing(state, state.filled_tank, heel_percent)
    return made_l if stands is None else min(made_l, stands.litres)


def most_held_l(estimated_l: float, capacity_l: float, tolerance_percent: float) -> float:
    """The most that can have been in a bath: its estimate or its upper mark, and the tolerance."""
    return max(estimated_l, capacity_l) * (1 + tolerance_percent / 100)


def _tenth(value_l: float) -> float:
    """Without the rounding of sums: no volume here is known to a millilitre."""
    return round(value_l, 3)
