"""The close of a swap: what was in the bath, where it went, and what nobody can account for.

A balance of volumes: what was estimated, less what was drained, less what stayed behind, is lost:
evaporated since the last level, dragged out beyond the estimate, or spilt. A rinse comes from the
shelf and goes into the drum, so that it stands on both sides.
"""

from dataclasses import dataclass

from app.domain.checklists.run import Balance, SwapState


@dataclass(frozen=True)
class Reconciliation:
    """The balance of a swap.

    Attributes:
        heel_is_seen: what stayed in the tank was looked at, not assumed.
        in_drum_l: bath and rinse together.
        after_l: what stands in the filled tank.
        tolerance_l: a larger loss or surplus asks for a note.
    """

    balance: Balance
    heel_is_seen: bool
    in_drum_l: float
    after_l: float
    tolerance_l: float

    @property
    def needs_note(self) -> bool:
        """The difference lies beyond the tolerance."""
        return abs(self.balance.loss_l) > self.tolerance_l + 1e-9

    @property
    def loss_percent(self) -> float:
        """The loss in percent of what was estimated."""
        estimated_l = self.balance.estimated_l
        return 100 * self.balance.loss_l / estimated_l if estimated_l else 0.0


def reconcile(state: SwapState, heel_percent: float, tolerance_percent: float) -> Reconciliation:
    """The balance of a swap from what its steps were answered.

    Args:
        heel_percent: what a drained tank keeps where nobody looked, percent of its capacity.
        tolerance_percent: of the capacity, of a pair that of both.
    """
    drained_l = state.amount_l("drain", "drained_l")
    seen_l = state.answer("drain", "heel_l")
    assumed_l = min(heel_percent / 100 * state.capacity_l, max(0.0, state.estimated_l - drained_l))
    heel_l = float(seen_l) if seen_l is not None else assumed_l
    moved_l = state.amount_l("move", "moved_l") if state.from_tank is not None else None
    filled_l = state.amount_l("fill", "filled_l")
    rinsed_l = state.amount_l("rinse", "rinse_l")
    estimated_l, loss_l = state.estimated_l, state.estimated_l - drained_l - heel_l
    after_l = heel_l + filled_l
    if moved_l is not None:
        before_l = state.from_estimated_l or 0.0
        left_l = min(heel_percent / 100 * (state.from_capacity_l or 0.0), before_l - moved_l)
        left_l = max(0.0, left_l)
        loss_l += before_l - moved_l - left_l
        after_l = left_l + filled_l
    balance = Balance(
        _tenth(estimated_l), _tenth(drained_l), _tenth(rinsed_l), _tenth(heel_l),
        _tenth(filled_l), _tenth(loss_l), None if moved_l is None else _tenth(moved_l),
    )  # fmt: skip
    tolerance_l = tolerance_percent / 100 * (state.capacity_l + (state.from_capacity_l or 0.0))
    return Reconciliation(
        balance, seen_l is not None, _tenth(drained_l + rinsed_l), _tenth(after_l), tolerance_l
    )


def most_held_l(estimated_l: float, capacity_l: float, tolerance_percent: float) -> float:
    """The most that can have been in a bath: its estimate or its upper mark, and the tolerance."""
    return max(estimated_l, capacity_l) * (1 + tolerance_percent / 100)


def _tenth(value_l: float) -> float:
    """Without the rounding of sums: no volume here is known to a millilitre."""
    return round(value_l, 3)
