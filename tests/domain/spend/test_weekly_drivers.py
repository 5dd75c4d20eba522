"""Why a week cost what it cost: drivers add up to the difference, each with its sign."""

from datetime import UTC, datetime
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from app.domain.spend.cost_lines import CATEGORIES, CostLine
from app.domain.spend.weekly_costs import Before, compare

AT = datetime(2026, 3, 2, tzinfo=UTC)


def line(category: str, cents: int, tank: str = "", **more: Any) -> CostLine:
    return CostLine("e", AT, category, cents, more.pop("what", "x"), tank=tank, **more)


def test_a_cheap_week_with_dear_labour_is_cheap_for_another_reason() -> None:
    # Worked by hand. Usual: solvent 300, disposal 200, labour 50. This week: solvent 40, labour 90.
    before = [
        [line("solvent", 400, "t1"), line("disposal", 200, "t1"), line("labour", 50, "t1")],
        [line("solvent", 200, "t2"), line("disposal", 200, "t2"), line("labour", 50, "t1")],
    ]
    found = compare([line("solvent", 40, "t1"), line("labour", 90, "t1")], Before.of(before))
    assert found is not None
    assert (found.cents, found.usual_cents, found.change_cents) == (130, 550, -420)
    assert [(one.category, one.change_cents) for one in found.drivers] == [
        ("solvent", -260), ("disposal", -200), ("labour", 40),
    ]  # fmt: skip
    assert [one.category for one in found.main()] == ["solvent", "disposal"]
    assert found.drivers[0].tanks == (("t1", -160), ("t2", -100))


def test_tanks_that_went_the_other_way_are_no_reason() -> None:
    before = [[line("solvent", 100, "t1"), line("solvent", 100, "t2")]]
    found = compare([line("solvent", 400, "t1")], Before.of(before))
    assert found is not None
    assert found.drivers[0].change_cents == 200
    assert found.drivers[0].tanks == (("t1", 300),)


def test_swaps_are_counted_by_tank_against_the_usual_number() -> None:
    swap = [line("labour", 5, "t1", what="Swap"), line("solvent", 9, "t1", purpose="swap")]
    found = compare([*swap, line("labour", 5, "t2", what="Swap")], Before.of([swap, []]))
    assert found is not None
    assert (found.swapped, found.usual_swaps) == (("t1", "t2"), 0.5)


def test_a_week_like_all_others_has_no_driver() -> None:
    week = [line("solvent", 100, "t1")]
    found = compare(week, Before.of([week, week]))
    assert found is not None
    assert (found.change_cents, found.drivers, found.main()) == (0, (), ())


def test_without_weeks_before_there_is_nothing_to_compare_with() -> None:
    assert compare([line("solvent", 1)], Before.of([])) is None


WEEK = st.lists(
    st.builds(line, st.sampled_from(CATEGORIES), st.integers(-9_999, 99_999),
              st.sampled_from(["", "t1", "t2"])),
    max_size=8,
)  # fmt: skip


@given(WEEK, st.lists(WEEK, min_size=1, max_size=13))
def test_drivers_add_up_to_the_difference_to_the_cent(
    week: list[CostLine], before: list[list[CostLine]]
) -> None:
    found = compare(week, Before.of(before))
    assert found is not None
    assert sum(one.change_cents for one in found.drivers) == found.change_cents
    for one in found.main():
        assert (one.change_cents > 0) == (found.change_cents > 0)
