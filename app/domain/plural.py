"""A count in figures, and with its noun: one stays one."""

MINUS = "\N{MINUS SIGN}"
"""The sign before what is below zero, as wide as a plus; a hyphen is not."""


def thousands(count: float, decimals: int = 0) -> str:
    """A figure with its thousands apart, in the one way in which every page and message has them.

    >>> thousands(26757.2), thousands(999), thousands(1234.5, decimals=1)
    ('26,757', '999', '1,234.5')
    """
    return f"{count:,.{decimals}f}"


def grouped(figure: str) -> str:
    """A figure in digits, as it was written, with its thousands apart.

    >>> grouped("2630"), grouped("12000.5"), grouped("999"), grouped("1e+07")
    ('2,630', '12,000.5', '999', '1e+07')
    """
    whole, point, rest = figure.partition(".")
    return f"{int(whole):,}{point}{rest}" if whole.isdecimal() else figure


def counted(count: float, one: str, many: str = "", decimals: int = 0) -> str:
    """A count in figures with its noun, singular where the figure that is shown is 1.

    `many` is the plural; left out, it is `one` with an s.

    >>> counted(1, "wash", "washes"), counted(1200, "wash", "washes")
    ('1 wash', '1,200 washes')
    >>> counted(1.4, "day"), counted(1.4, "day", decimals=1), counted(0, "day")
    ('1 day', '1.4 days', '0 days')
    """
    shown = thousands(count, decimals)
    return f"{shown} {one if shown == '1' else many or f'{one}s'}"
