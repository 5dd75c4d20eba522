"""Figures and places of curing as its messages say them."""

from collections.abc import Sequence


def plain(value: float) -> str:
    """A number in three digits, whole from a hundred on, its thousands apart.

    >>> [plain(value) for value in (1_000_000.0, 153.6, 9.04, 0.0123)]
    ['1,000,000', '154', '9.04', '0.0123']
    """
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def places(names: Sequence[str]) -> str:
    """Marked positions in a row of words."""
    return ", ".join(name.replace("_", " ") for name in names)
