"""Amounts as people of a place write them: from whole smallest units, never through a float."""

from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from app.domain.money import digits_of, in_units, minor_in_unit
from app.domain.plural import MINUS
from app.domain.spend.price_book import PricesState

if TYPE_CHECKING:
    from babel import Locale

# The library of ways to write is loaded with the first amount that is shown: a start is quicker.

USUAL_LOCALE = "en_GB"
COMPACT_UNITS = 100_000  # from here on an axis has thousands and millions in short


@dataclass(frozen=True)
class Money:
    """How a room writes amounts; without a currency they are plain numbers of two decimals.

    Amounts are given in the smallest unit of the currency (domain/money.py).
    """

    currency: str = ""
    locale: str = USUAL_LOCALE

    def __call__(self, cents: float | None) -> str:
        """An amount with all its digits; what is not known is empty."""
        if cents is None:
            return ""
        return _written(round(cents), self.currency, self.locale, digits_of(self.currency))

    def short(self, cents: float) -> str:
        """An amount beside an axis: without decimals where there are none."""
        digits = digits_of(self.currency) if round(cents) % self.per_unit else 0
        return _written(round(cents), self.currency, self.locale, digits)

    def axis(self, cents: float) -> str:
        """An amount beside an axis, where there is room for few characters."""
        if abs(cents) < COMPACT_UNITS * self.per_unit:
            return self.short(cents)
        from babel.numbers import (  # noqa: PLC0415
            format_compact_currency,
            format_compact_decimal,
        )

        amount, locale = in_units(round(cents), self.currency), _known(self.locale)
        if not self.currency:
            return str(format_compact_decimal(amount, locale=locale, fraction_digits=1))
        return str(format_compact_currency(amount, self.currency, locale=locale, fraction_digits=1))

    def about(self, cents: float) -> str:
        """A forecast, in whole units: it is not known to the cent."""
        return self.short(self.per_unit * round(cents / self.per_unit))

    @property
    def per_unit(self) -> int:
        """How many of the smallest unit make a whole one."""
        return minor_in_unit(self.currency)

    @property
    def unit(self) -> str:
        """The currency's word beside a field."""
        return self.currency

    def signed(self, cents: float) -> str:
        """A change, with its sign."""
        text = self(cents)
        return f"+{text}" if round(cents) > 0 else text


@lru_cache(maxsize=20_000)  # a page has hundreds, mostly those of its last reading
def _written(cents: int, currency: str, locale: str, digits: int) -> str:
    pattern, known = _pattern(locale, bool(currency), digits), _known(locale)
    amount = in_units(cents, currency)
    text = pattern.apply(amount, known, currency=currency or None, currency_digits=False)
    return str(text).replace("-", MINUS) if cents < 0 else str(text)


def money_of(prices: PricesState) -> Money:
    """How a room writes amounts."""
    return Money(prices.currency, prices.locale or USUAL_LOCALE)


@cache
def _known(locale: str) -> "Locale":
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415

    try:
        return Locale.parse(locale)
    except (UnknownLocaleError, ValueError):
        return Locale.parse(USUAL_LOCALE)


@cache
def _pattern(locale: str, is_currency: bool, digits: int) -> Any:
    """The locale's way of writing amounts, with the digits that the currency is counted in."""
    from babel.numbers import parse_pattern  # noqa: PLC0415

    formats = _known(locale).currency_formats if is_currency else None
    pattern = parse_pattern(formats["standard"].pattern if formats else "#,##0.00")
    pattern.frac_prec = (digits, digits)
    return pattern
