"""Smallest units of currencies: compared with CLDR, exact, and never a float."""

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from babel.core import get_global
from babel.numbers import get_currency_precision
from hypothesis import given
from hypothesis import strategies as st

from app.domain import money

FEWER_IN_USE = [
    "AFN", "ALL", "IQD", "IRR", "KPW", "LAK", "LBP", "MGA", "MMK", "RSD", "SOS", "SYP", "YER",
]  # fmt: skip
"""CLDR gives the digits in use. ISO 4217 has more of them here: smaller coins exist on paper only
(ISO 4217, list one: IQD three, the others two; from memory)."""


def tender() -> list[str]:
    """Currencies that are legal tender somewhere today, as CLDR has them."""
    found = {
        currency
        for some in get_global("territory_currencies").values()
        for currency, _, until, is_tender in some
        if is_tender and (until is None or date(*until) > date(2026, 1, 1))
    }
    return sorted(found)


def test_digits_are_those_of_cldr_but_where_it_follows_use() -> None:
    other = [one for one in tender() if money.digits_of(one) != get_currency_precision(one)]
    assert other == FEWER_IN_USE
    assert all(money.digits_of(one) > get_currency_precision(one) for one in other)
    assert len(tender()) > 140


def test_units_of_account_that_are_no_tender_have_the_digits_of_cldr_too() -> None:
    for currency in ("CLF", "UYW", "UYI"):
        assert money.digits_of(currency) == get_currency_precision(currency)


@pytest.mark.parametrize(
    "currency, minor, text",
    # ISO 4217 exponents: JPY 0, EUR 2, KWD 3, CLF 4.
    [("JPY", 1250, "1250"), ("EUR", 1250, "12.50"), ("KWD", 1250, "1.250"), ("CLF", 1, "0.0001"),
     ("", 5, "0.05"), ("EUR", -5, "-0.05"), ("EUR", 9_007_199_254_740_993, "90071992547409.93")],
)  # fmt: skip
def test_amounts_as_plain_text(currency: str, minor: int, text: str) -> None:
    assert money.plain(minor, currency) == text
    assert money.in_units(minor, currency) == Decimal(text)


@given(st.integers(0, 10**9), st.fractions(0, 10**4, max_denominator=1000))
def test_a_quantity_at_a_rate_is_exact_and_rounded_once(rate: int, quantity: object) -> None:
    amount = float(quantity)  # type: ignore[arg-type]
    exact = Decimal(rate) * Decimal(str(amount))
    assert abs(money.times(rate, amount) - exact) <= Decimal("0.5")


@pytest.mark.parametrize(
    "rate, quantity", [(145, 0.3), (145, 0.7), (145, 0.1), (145, 0.9), (145, 1.3), (5, 8.3)]
)
def test_half_a_cent_is_that_of_the_quantity_as_typed(rate: int, quantity: float) -> None:
    # By the decimal arithmetic of Python (IEEE 754 decimal): 145 x 0.3 is 43.5, half to even 44.
    by_hand = (rate * Decimal(str(quantity))).to_integral_value(ROUND_HALF_EVEN)
    assert money.times(rate, quantity) == by_hand
