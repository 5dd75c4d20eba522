"""A week against its budget: whole weeks with the whole, a running one with the part."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.spend.weekly_costs import verdict


@pytest.mark.parametrize(
    "cents,share,kind,by",
    # Budget of 700.00, by hand: 100.00 a day.
    [
        (80_000, 1.0, "over", 10_000),
        (60_000, 1.0, "under", 10_000),
        (70_000, 1.0, "under", 0),
        (71_000, 2 / 7, "over", 1_000),
        (25_000, 2 / 7, "ahead", 5_000),
        (15_000, 2 / 7, "so_far", 55_000),
        (0, 0.0, "so_far", 70_000),
    ],
)
def test_a_verdict_by_hand(cents: int, share: float, kind: str, by: int) -> None:
    found = verdict(cents, 70_000, share)
    assert found is not None
    assert (found.kind, found.cents) == (kind, by)


def test_without_a_budget_there_is_no_verdict() -> None:
    assert verdict(100, None, 1.0) is None
    assert verdict(100, 0, 1.0) is None


@given(st.integers(-10_000, 10**7), st.integers(1, 10**7), st.floats(0, 0.9999))
def test_no_week_that_is_running_is_called_under_its_budget(
    cents: int, budget: int, share: float
) -> None:
    found = verdict(cents, budget, share)
    assert found is not None
    assert found.kind != "under"
