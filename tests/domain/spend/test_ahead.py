"""The next weeks: expected costs and ranges against arithmetic by hand."""

from datetime import UTC, datetime, timedelta

import pytest

from app.domain.spend.ahead import Begun, SwapCost, usual, weeks_ahead, whole
from app.domain.spend.lines import CostLine

START = datetime(2026, 3, 2, tzinfo=UTC)
SPANS = [(START + timedelta(weeks=n), START + timedelta(weeks=n + 1)) for n in range(4)]


def line(cents: int, **more: str) -> CostLine:
    return CostLine(
        "e", START, more.pop("category", "solvent"), cents, more.pop("what", ""), **more
    )  # type: ignore[arg-type]


def by(*steps: float):  # type: ignore[no-untyped-def]
    """A chance that stands at each step's value from that week's end on."""

    def chance(moment: datetime) -> float:
        week = (moment - START) / timedelta(weeks=1)
        return max((value for end, value in enumerate(steps, 1) if week >= end), default=0.0)

    return chance


def test_usual_costs_leave_out_what_swaps_cause() -> None:
    weeks = [
        [line(300), line(4000, purpose="swap"), line(2000, category="disposal")],
        [line(500), line(900, category="labour", what="Swap")],
    ]
    assert usual(weeks) == (400, 100)


def test_a_swap_counts_by_its_chance_in_each_week() -> None:
    swap = SwapCost("t1", 10_000, by(0.2, 0.7, 1.0))
    found = weeks_ahead(SPANS, [swap], (1_000, 0))
    assert [week.cents for week in found] == pytest.approx([3_000, 6_000, 4_000, 1_000])
    assert found[1].likely == (("t1", pytest.approx(0.5)),)
    # Variance of one swap of 10,000 with chance 0.5: 5,000 squared; 1.645 of that either way.
    assert found[1].high_cents - found[1].cents == pytest.approx(1.645 * 5_000)
    assert found[3].high_cents == found[3].cents


def test_the_swap_after_the_next_comes_a_life_later() -> None:
    swap = SwapCost("t1", 10_000, by(1.0), life_days=14)
    found = weeks_ahead(SPANS, [swap], (0, 0))
    assert [round(week.swaps, 6) for week in found] == [1, 0, 1, 0]


def test_all_weeks_together_add_up() -> None:
    found = weeks_ahead(SPANS, [SwapCost("t1", 10_000, by(0.2, 0.7, 1.0))], (1_000, 200))
    middle, low, high = whole(found)
    assert middle == pytest.approx(14_000)
    assert low < middle < high


def test_of_the_week_under_way_what_was_spent_stands_and_the_rest_is_expected() -> None:
    # Worked by hand: 700 spent; a quarter of the usual 1,000 is left; a swap by half a chance.
    found = weeks_ahead(SPANS, [SwapCost("t1", 10_000, by(0.5, 1.0))], (1_000, 0), Begun(700, 0.25))
    assert found[0].cents == pytest.approx(700 + 250 + 5_000)
    assert (found[0].spent_cents, found[0].usual_cents) == (700, 250)
    assert found[0].low_cents == 700  # what was spent is spent
    assert found[1].cents == pytest.approx(1_000 + 5_000)


def test_a_swap_under_way_belongs_to_this_week_less_what_was_charged_for_it() -> None:
    # 6,000 of the swap's 10,000 stand among the 6,500 spent: 4,000 are still to come, for certain.
    swap = SwapCost("t1", 10_000, lambda at: float(at >= START), 23, charged_cents=6_000)
    found = weeks_ahead(SPANS, [swap], (0, 0), Begun(6_500, 0.5))
    assert [round(week.swaps, 6) for week in found] == [1, 0, 0, 1]
    assert [week.cents for week in found] == pytest.approx([10_500, 0, 0, 10_000])
    assert found[0].low_cents == found[0].high_cents
    assert found[0].likely == (("t1", 1.0),)
