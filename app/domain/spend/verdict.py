"""A week against its budget: a week that is still running is never called under it."""

from dataclasses import dataclass

OVER, UNDER, AHEAD, SO_FAR = "over", "under", "ahead", "so_far"


@dataclass(frozen=True)
class Verdict:
    """What can be said of a week against its budget.

    Attributes:
        kind: `over` the week's budget; `under` it, only once the week is over; `ahead` of the
            budget to date; `so_far`: within the budget to date, which settles nothing yet.
        cents: by how much; for `so_far` what is left of the week's budget.
        to_date_cents: the budget in proportion to how much of the week is over.
    """

    kind: str
    cents: int
    budget_cents: int
    to_date_cents: int


def verdict(cents: int, budget_cents: int | None, share: float) -> Verdict | None:
    """The verdict on a week of which that share (0 to 1) is over; None without a budget."""
    if not budget_cents:
        return None
    to_date = round(budget_cents * min(max(share, 0.0), 1.0))
    if cents > budget_cents:
        return Verdict(OVER, cents - budget_cents, budget_cents, to_date)
    if share >= 1:
        return Verdict(UNDER, budget_cents - cents, budget_cents, to_date)
    if cents > to_date:
        return Verdict(AHEAD, cents - to_date, budget_cents, to_date)
    return Verdict(SO_FAR, budget_cents - cents, budget_cents, to_date)
