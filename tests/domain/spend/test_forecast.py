"""The next weeks: expected costs and ranges against arithmetic by hand."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.domain.spend.cost_lines import CostLine
from app.domain.spend.forecast import Begun, PlannedSwap, is_of_swap, weeks_ahead
from tests.oracles import Ask

START = datetime(2026, 3, 2, tzinfo=UTC)
SPANS = [(START + timedelta(weeks=n), START + timedelta(weeks=n + 1)) for n in range(4)]


def line(cents: int, **more: str) -> CostLine:
    return CostLine(
        "e", START, more.pop("category", "solvent"), cents, more.pop("what", ""), **more
    )  # type: ignore[arg-type]


def swap(week: float, cents: float = 10_000, **more: Any) -> PlannedSwap:
    return PlannedSwap("t1", cents, START + timedelta(weeks=week), **more)


def test_a_swap_causes_its_solvent_its_waste_and_its_labour() -> None:
    assert is_of_swap(line(4000, purpose="swap"))
    assert is_of_swap(line(2000, category="disposal"))
    assert is_of_swap(line(900, category="labour", what="Swap"))
    assert not is_of_swap(line(300))
    assert not is_of_swap(line(300, category="labour", what="Inspection"))


def test_a_swap_counts_by_its_chance_in_each_week() -> None:
    # Planned for the end of the first week, give or take a week: by the table of the normal
    # distribution 0.5, 0.8413, 0.9772 and 0.9987 by the ends of the weeks.
    found = weeks_ahead(SPANS, [swap(1, sd_days=7)], (1_000, 0)).weeks
    shares = [0.5, 0.8413 - 0.5, 0.9772 - 0.8413, 0.9987 - 0.9772]
    assert [w.cents for w in found] == pytest.approx([1_000 + 10_000 * s for s in shares], abs=2)
    assert found[1].likely == (("t1", pytest.approx(0.3413, abs=1e-4)),)


def test_a_week_costs_what_is_usual_or_a_swap_more_and_its_range_says_so() -> None:
    found = weeks_ahead(SPANS, [swap(1, sd_days=7)], (1_000, 0)).weeks
    assert (found[1].low_cents, found[1].high_cents) == pytest.approx((1_000, 11_000), rel=0.002)
    # With less than 5 % the swap is outside the range, but never is the range beside the mean.
    assert found[3].low_cents == pytest.approx(1_000, rel=0.002)
    assert found[3].high_cents == found[3].cents


def test_usual_costs_vary_as_they_did_and_never_below_nothing() -> None:
    week = weeks_ahead(SPANS, [], (10_000, 1_000)).weeks[0]
    assert week.low_cents == pytest.approx(10_000 - 1_645, abs=15)
    assert week.high_cents == pytest.approx(10_000 + 1_645, abs=15)
    assert weeks_ahead(SPANS, [], (100, 1_000)).weeks[0].low_cents >= 0


def test_every_round_of_a_tank_that_the_plan_has_counts() -> None:
    found = weeks_ahead(SPANS, [swap(0.5), swap(2.5)], (0, 0)).weeks
    assert [round(week.swaps, 6) for week in found] == [1, 0, 1, 0]


def test_all_weeks_together_add_up_and_vary_less_than_their_ranges_do() -> None:
    # Two swaps that fall into these weeks for certain: only their weeks are open.
    swaps = [swap(1, sd_days=2), swap(2, sd_days=2)]
    found = weeks_ahead(SPANS, swaps, (1_000, 200))
    assert found.cents == pytest.approx(24_000, rel=1e-4)
    assert found.cents == pytest.approx(sum(week.cents for week in found.weeks))
    # Usual costs of four weeks: 200 times the square root of 4, 1.645 of it either way.
    assert found.low_cents == pytest.approx(24_000 - 658, abs=20)
    assert found.high_cents == pytest.approx(24_000 + 658, abs=20)


def test_the_range_of_many_swaps_is_that_of_the_binomial_distribution(ask: Ask) -> None:
    # 20 swaps with half a chance each: between 6 and 14 of them in nine cases of ten (scipy).
    swaps = [swap(4, cents=100, sd_days=7) for _ in range(20)]
    found = weeks_ahead(SPANS, swaps, (0, 0))
    low, high = (ask("scipy.stats.binom.ppf", share, 20, 0.5) for share in (0.05, 0.95))
    assert found.low_cents == pytest.approx(100 * low, abs=2)
    assert found.high_cents == pytest.approx(100 * high, abs=2)


def test_of_the_week_under_way_what_was_spent_stands_and_the_rest_is_expected() -> None:
    # Worked by hand: 700 spent; a quarter of the usual 1,000 is left; a swap by half a chance.
    found = weeks_ahead(SPANS, [swap(1, sd_days=1)], (1_000, 0), Begun(700, 0.25)).weeks
    assert found[0].cents == pytest.approx(700 + 250 + 5_000)
    assert (found[0].spent_cents, found[0].usual_cents) == (700, 250)
    assert found[0].low_cents == pytest.approx(950, abs=5)  # what was spent is spent
    assert found[1].cents == pytest.approx(1_000 + 5_000)


def test_a_swap_under_way_belongs_to_this_week_less_what_was_charged_for_it() -> None:
    # 6,000 of the swap's 10,000 stand among the 6,500 spent: 4,000 are still to come, for certain.
    swaps = [swap(0, charged_cents=6_000), swap(3.5)]
    found = weeks_ahead(SPANS, swaps, (0, 0), Begun(6_500, 0.5)).weeks
    assert [round(week.swaps, 6) for week in found] == [1, 0, 0, 1]
    assert [week.cents for week in found] == pytest.approx([10_500, 0, 0, 10_000])
    assert found[0].low_cents == pytest.approx(10_500, abs=5)
    assert found[0].high_cents == pytest.approx(10_500, abs=5)
    assert found[0].likely == (("t1", 1.0),)
