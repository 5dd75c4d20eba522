"""First-in first-out and weighted average, against worked accounting examples."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.supplies.valuation import MOST_LAYERS, Valuation, found, issue, receive, share


def textbook() -> Valuation:
    # OpenStax, Principles of Accounting, Volume 1, chapter 10, perpetual inventory (from memory):
    # 150 at 21.00, 120 sold, 225 at 27.00, 180 sold, 210 at 33.00.
    worth = issue(receive(Valuation(), 150, 315_000), 120)
    return receive(issue(receive(worth, 225, 607_500), 180), 210, 693_000)


def test_first_in_first_out_is_that_of_the_textbook() -> None:
    worth = textbook()
    assert worth.used_fifo_cents == 720_000  # 7,200 cost of goods sold
    assert worth.fifo_cents == 895_500  # 8,955 in stock: 75 at 27.00, 210 at 33.00
    assert [(layer.quantity, layer.cents) for layer in worth.layers] == [
        (75, 202_500), (210, 693_000),
    ]  # fmt: skip


def test_moving_average_is_that_of_the_textbook() -> None:
    worth = textbook()
    assert worth.used_average_cents == pytest.approx(725_300, abs=100)  # 7,253
    assert worth.average_cents == pytest.approx(890_200, abs=100)  # 8,902
    assert worth.average_cents_per_unit == pytest.approx(3124, abs=1)  # 31.24
    assert worth.used_average_cents + worth.average_cents == 1_615_500


def test_first_in_first_out_after_each_movement() -> None:
    # A principles-of-accounting quick study, read on a public page: 10 at 6.00, 20 at 12.00, 15
    # sold for 10 x 6.00 + 5 x 12.00 = 120.00, 15 left at 180.00; 15 at 14.00 make 390.00.
    worth = receive(receive(Valuation(), 10, 6_000), 20, 24_000)
    assert worth.fifo_cents == 30_000
    worth = issue(worth, 15)
    assert (worth.used_fifo_cents, worth.fifo_cents) == (12_000, 18_000)
    assert receive(worth, 15, 21_000).fifo_cents == 39_000


def test_a_share_is_exact_for_any_size() -> None:
    assert share(10**17 + 1, 1, 3) == 33333333333333334
    assert share(100, 1, 3) + share(100, 2, 3) == 100
    assert share(7, 2, 0) == 7
    assert share(15, 0.3, 3.0) == 2  # 1.5, half to even; in binary 0.3 is a little less


@given(
    st.integers(0, 10**12),
    st.floats(0, 1e6).map(lambda x: round(x, 6)) | st.integers(0, 40).map(float),
    st.floats(0, 1e6).map(lambda x: round(x, 6)) | st.integers(1, 40).map(float),
)
def test_a_share_is_that_of_exact_fractions(cents: int, part: float, whole: float) -> None:
    if 0 < part < whole:
        assert share(cents, part, whole) == round(
            cents * Fraction(str(part)) / Fraction(str(whole))
        )


def test_what_a_count_found_costs_the_average() -> None:
    worth = found(receive(Valuation(), 10, 500), 2)
    assert (worth.average_cents, worth.fifo_cents) == (600, 600)
    assert found(Valuation(), 2).average_cents == 0


def test_layers_stay_few_and_nothing_is_lost() -> None:
    worth = Valuation()
    for _ in range(500):
        worth = issue(receive(worth, 2, 333), 1)
    assert len(worth.layers) <= MOST_LAYERS
    assert worth.quantity == 500
    assert worth.fifo_cents + worth.used_fifo_cents == 500 * 333


moves = st.lists(st.tuples(st.booleans(), st.integers(1, 500), st.integers(0, 10**7)), max_size=50)


@given(moves)
def test_every_cent_is_in_stock_or_has_left(moves: list[tuple[bool, int, int]]) -> None:
    worth, paid, there = Valuation(), 0, 0
    for is_in, tenths, cents in moves:
        if is_in:
            worth, paid, there = receive(worth, tenths / 10, cents), paid + cents, there + tenths
        else:
            worth, there = issue(worth, tenths / 10), max(0, there - tenths)
        assert worth.fifo_cents + worth.used_fifo_cents == paid
        assert worth.average_cents + worth.used_average_cents == paid
        assert worth.quantity == pytest.approx(there / 10)
        assert worth.average_cents >= 0
        if there == 0:
            assert (worth.fifo_cents, worth.average_cents) == (0, 0)
