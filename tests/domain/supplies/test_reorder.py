"""Reorder point, safety stock, economic quantity and containers, against worked examples."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.supplies.reorder import (
    Containers,
    containers_for,
    containers_within,
    economic_quantity,
    held_in,
    lead_of,
    reorder_point,
    safety_stock,
    z_of,
)
from tests.oracles import Ask


@pytest.mark.parametrize("percent", [50, 80, 90, 95, 97.5, 99, 99.9])
def test_the_quantile_of_the_normal_distribution_is_that_of_scipy(percent: float, ask: Ask) -> None:
    assert z_of(percent) == pytest.approx(ask("scipy.stats.norm.ppf", percent / 100), abs=1e-9)


def test_safety_stock_with_demand_and_lead_time_that_vary() -> None:
    # Chopra and Meindl, Supply Chain Management, impact of lead time uncertainty (from memory):
    # 2,500 a day, sd 500, lead time 7 days, sd 7 days, 90 % cycle service: 22,491.
    assert safety_stock(2500, 500, 7, 7, z_of(90)) == pytest.approx(22491, abs=1)
    # The same book, lead time of two weeks without variation, sd 500 a week, 90 %: 906.
    assert safety_stock(2500, 500, 2, 0, z_of(90)) == pytest.approx(906, abs=0.5)


def test_safety_stock_of_a_fixed_interval_example() -> None:
    # Stevenson, Operations Management, problem on a periodic review, as worked on a public page:
    # 60 a day, sd 2, lead time 5 days, sd 0.5, 2.5 % stockout: 900 + 59.44 - 480 = 479.44.
    assert 900 + safety_stock(60, 2, 5, 0.5, 1.96) - 480 == pytest.approx(479.44, abs=0.01)


def test_reorder_points_of_a_textbook() -> None:
    # Taylor, Introduction to Management Science, chapter on inventory: 30 a day, sd 5, lead time 10
    # days, 95 % (z 1.65); figures read on a public page of the book, its results from memory.
    assert reorder_point(30, 5, 10, 0, 1.65) == pytest.approx(326.1, abs=0.05)
    assert safety_stock(30, 5, 10, 0, 1.65) == pytest.approx(26.1, abs=0.05)
    # The same with a lead time that varies by 3 days: 448.5 at steady use, 450.8 with both.
    assert reorder_point(30, 0, 10, 3, 1.65) == pytest.approx(448.5, abs=0.05)
    assert reorder_point(30, 5, 10, 3, 1.65) == pytest.approx(450.8, abs=0.05)


def test_reorder_point_of_a_bath_solvent(ask: Ask) -> None:
    # Formula of Silver, Pyke and Peterson (from memory), figures worked with scipy: 12 L a week,
    # sd 4, lead time 2 weeks, sd 0.5, 95 %.
    assert safety_stock(12, 4, 2, 0.5, z_of(95)) == pytest.approx(13.56, abs=0.005)
    assert reorder_point(12, 4, 2, 0.5, z_of(95)) == pytest.approx(37.56, abs=0.005)
    assert safety_stock(12, 4, 2, 0, z_of(95)) == pytest.approx(9.305, abs=0.001)
    by_hand = 24 + ask("scipy.stats.norm.ppf", 0.95) * sqrt(2 * 16 + 144 * 0.25)
    assert reorder_point(12, 4, 2, 0.5, z_of(95)) == pytest.approx(by_hand)


def test_economic_quantity() -> None:
    # Snyder and Shen, Fundamentals of Supply Chain Theory, example 3.1: K 8, h 0.225, D 1300 gives
    # 304.0468 (as printed by the library stockpyl 1.0.2).
    assert economic_quantity(1300, 800, 22.5, 100) == pytest.approx(304.0468, abs=1e-4)
    # Chopra and Meindl, Supply Chain Management, example on lot size (from memory): 12,000 a year,
    # 4,000 an order, 500 each at 20 % a year: 980.
    assert economic_quantity(12000, 400_000, 50_000, 20) == pytest.approx(980, abs=0.5)
    # stockpyl 1.0.2: D 624, K 40, 3.50 at 25 %: 238.9.
    assert economic_quantity(624, 4000, 350, 25) == pytest.approx(238.9, abs=0.05)


@pytest.mark.parametrize("figures", [(0, 1, 1, 1), (1, 0, 1, 1), (1, 1, 0, 1), (1, 1, 1, 0)])
def test_no_economic_quantity_without_its_costs(figures: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="economic quantity"):
        economic_quantity(*figures)


def test_quantities_are_rounded_up_to_containers() -> None:
    sizes = (18.9, 3.8)
    assert containers_for(20, sizes) == (Containers(18.9, 1), Containers(3.8, 1))
    assert containers_for(17, sizes) == (Containers(18.9, 1),)
    assert containers_for(37.8, sizes) == (Containers(18.9, 2),)
    assert containers_for(3, sizes) == (Containers(3.8, 1),)
    assert containers_for(0, sizes) == containers_for(9, ()) == ()
    assert containers_within(22, sizes) == (Containers(18.9, 1),)
    assert containers_within(1, sizes) == ()


sizes = st.lists(st.floats(0.5, 50), min_size=1, max_size=3, unique=True)


@given(st.floats(0.1, 500), sizes)
def test_containers_hold_enough_and_no_size_could_be_left_out(
    quantity: float, sizes: list[float]
) -> None:
    found = containers_for(quantity, sizes)
    assert held_in(found) >= quantity - 1e-6
    for one in found:
        assert held_in(found) - one.size < quantity + 1e-6
    assert held_in(containers_within(quantity, sizes)) <= quantity + 1e-6


def test_lead_times_are_learned_from_three_deliveries() -> None:
    learned = lead_of([5, 9, 10], 3, None, 7)
    assert (learned.days, learned.source) == (8, "learned")
    assert learned.sd_days == pytest.approx(sqrt(7))  # deviations -3, 1, 2: 14 / 2
    assert lead_of([5, 9], 3, 2, 7).source == "item"
    assert lead_of([], None, None, 7).days == 7
    assert lead_of([], None, None, None).source == "assumed"
