"""Amounts as people of a place write them: from whole hundredths, never through a float."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache

from babel import Locale, UnknownLocaleError
from babel.numbers import (
    format_compact_currency,
    format_compact_decimal,
    format_currency,
    format_decimal,
)

from app.domain.spend.prices import PricesState

USUAL_LOCALE = "en_GB"
COMPACT_CENTS = 10_000_000  # from here on an axis has thousands and millions in short


@dataclass(frozen=True)
class Money:
    """How a room writes amounts; without a currency they are plain numbers."""

    currency: str = ""
    locale: str = USUAL_LOCALE

    def __call__(self, cents: float | None) -> str:
        """An amount of hundredths; what is not known is empty."""
        if cents is None:
            return ""
        return _written(round(cents), self.currency, self.locale)

    def short(self, cents: float) -> str:
        """An amount beside an axis: without hundredths where there are none."""
        if round(cents) % 100:
            return self(cents)
        amount, locale = Decimal(round(cents)) / 100, _known(self.locale)
        if not self.currency:
            return str(format_decimal(amount, "#,##0", locale=locale))
        return str(
            format_currency(
                amount, self.currency, locale=locale, currency_digits=False,
                format=_pattern(self.locale).replace(".00", ""),
            )
        )  # fmt: skip

    def axis(self, cents: float) -> str:
        """An amount beside an axis, where there is room for few characters."""
        if abs(cents) < COMPACT_CENTS:
            return self.short(cents)
        amount, locale = Decimal(round(cents)) / 100, _known(self.locale)
        if not self.currency:
            return str(format_compact_decimal(amount, locale=locale, fraction_digits=1))
        return str(format_compact_currency(amount, self.currency, locale=locale, fraction_digits=1))

    def about(self, cents: float) -> str:
        """A forecast, in whole units: it is not known to the cent."""
        return self.short(100 * round(cents / 100))

    @property
    def unit(self) -> str:
        """The currency's word beside a field."""
        return self.currency

    def signed(self, cents: float) -> str:
        """A change, with its sign."""
        text = self(cents)
        return f"+{text}" if round(cents) > 0 else text


@lru_cache(maxsize=20_000)  # a page has hundreds, mostly those of its last reading
def _written(cents: int, currency: str, locale: str) -> str:
    amount = Decimal(cents) / 100
    if not currency:
        return str(format_decimal(amount, "#,##0.00", locale=_known(locale)))
    return str(
        format_currency(
            amount, currency, locale=_known(locale), currency_digits=False, format=_pattern(locale)
        )
    )


def money_of(prices: PricesState) -> Money:
    """How a room writes amounts."""
    return Money(prices.currency, prices.locale or USUAL_LOCALE)


@cache
def _known(locale: str) -> Locale:
    try:
        return Locale.parse(locale)
    except (UnknownLocaleError, ValueError):
        return Locale.parse(USUAL_LOCALE)


@cache
def _pattern(locale: str) -> str:
    """The locale's way of writing amounts, always with hundredths: they are what is counted in."""
    return str(_known(locale).currency_formats["standard"].pattern)
