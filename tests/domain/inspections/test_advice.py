"""How often to look: the delay-time model against its own limits and a simulation."""

import random

import pytest

from app.domain.inspections.advice import Assumptions, cheapest, intervals, missed_share


def test_looks_close_together_miss_nothing_and_rare_ones_nearly_all() -> None:
    assert missed_share(0.001, 60) == pytest.approx(0, abs=1e-4)
    assert missed_share(60_000, 60) == pytest.approx(1, abs=2e-3)


def test_the_share_missed_is_that_of_a_simulation() -> None:
    # Wear shows at any time between two looks; it stops the tank after an exponential delay.
    rng = random.Random(7)
    between, delay, rounds = 42.0, 60.0, 200_000
    missed = sum(
        rng.expovariate(1 / delay) < between - rng.uniform(0, between) for _ in range(rounds)
    )
    assert missed_share(between, delay) == pytest.approx(missed / rounds, abs=0.004)


def test_dear_stops_ask_for_looks_at_every_swap_and_dear_looks_for_fewer() -> None:
    dear_stop = Assumptions(look_cents=500, stop_cents=500_000, delay_days=30, swap_days=14)
    dear_look = Assumptions(look_cents=50_000, stop_cents=1_000, delay_days=30, swap_days=14)
    assert cheapest(intervals(200, 4, dear_stop)).swaps == 1
    assert cheapest(intervals(200, 4, dear_look)).swaps == 8


def test_the_cost_of_one_interval_is_as_worked_by_hand() -> None:
    given = Assumptions(look_cents=1_500, stop_cents=30_000, delay_days=14, swap_days=14)
    # 365.25/14 looks at 15.00 and 2 parts of 365.25 days' life, exp(-1) = 0.36788 of them missed.
    assert intervals(365.25, 2, given)[0].cents_a_year == pytest.approx(
        365.25 / 14 * 1_500 + 2 * 0.367879 * 30_000, rel=1e-5
    )
