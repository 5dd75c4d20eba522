"""Money in the smallest unit of its currency: cents of EUR, yen of JPY, fils of KWD.

How many digits that unit stands behind the point is the exponent of ISO 4217 (the tests compare it
with CLDR, and name where that follows use instead). Amounts are whole numbers; nothing is a float.
"""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

USUAL_DIGITS = 2
EURO_LIKE = frozenset(["AUD", "CAD", "CHF", "EUR", "GBP", "NZD", "SGD", "USD"])
"""Currencies of which one unit buys about what a euro buys, within a factor of two."""
_OTHERS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
DIGITS: Mapping[str, int] = {
    currency: digits for digits, some in _OTHERS.items() for currency in some.split()
}


def digits_of(currency: str) -> int:
    """Digits behind the point of a currency's amounts; two where none is named.

    >>> digits_of("EUR"), digits_of("JPY"), digits_of("KWD")
    (2, 0, 3)
    """
    return DIGITS.get(currency, USUAL_DIGITS)


def in_units(minor: int, currency: str) -> Decimal:
    """An amount in whole units of its currency, with all its digits.

    >>> in_units(1250, "EUR"), in_units(1250, "JPY"), in_units(1250, "KWD")
    (Decimal('12.50'), Decimal('1250'), Decimal('1.250'))
    """
    return Decimal(minor).scaleb(-digits_of(currency))


def plain(minor: int, currency: str) -> str:
    """The same as text that any program reads: a point, and no thousands.

    >>> plain(340000, "EUR"), plain(-5, "KWD")
    ('3400.00', '-0.005')
    """
    return f"{in_units(minor, currency):f}"


def minor_in_unit(currency: str) -> int:
    """How many of the smallest unit make a whole one.

    >>> minor_in_unit("JPY"), minor_in_unit("KWD")
    (1, 1000)
    """
    return int(10 ** digits_of(currency))


def exact(amount: float | Fraction) -> Fraction:
    """The decimal number that was typed: 0.3 is three tenths, not the binary number beside it.

    >>> exact(0.3), exact(24)
    (Fraction(3, 10), Fraction(24, 1))
    """
    return Fraction(str(amount)) if isinstance(amount, float) else Fraction(amount)


def times(minor: float, quantity: float | Fraction) -> int:
    """What a quantity costs at a rate, in whole smallest units: exact, then half to even.

    >>> times(3400, 24 / 60), times(5, 0.5), times(145, 0.3)
    (1360, 2, 44)
    """
    return round(exact(minor) * exact(quantity))
