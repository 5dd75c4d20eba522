"""Numbers that stay on one line with what they count: “19.5 L”, “Thu 3 Dec”, “2 × 18.9 L”.

The space between them becomes one at which no line is broken (U+00A0). It is put in where a page
leaves the program, so that every page has it, whoever wrote its words.
"""

import re

from app.domain.calendar_words import WEEKDAYS

KEEPER = "\N{NO-BREAK SPACE}"
UNITS = (
    "L", "mL", "US gal", "gal", "fl oz", "oz", "kg", "g", "mg", "lb", "h", "min", "s", "%",
    "°C", "°F", "nm", "µm", "mm", "cm", "m", "mm²", "cm²", "m²", "in²", "cm³", "m³", "g/mL",
    "g/L", "mg/cm²", "m/s", "mW/cm²", "µW/cm²", "W/m²", "mJ/cm²", "J/cm²", "kJ/m²", "ppm", "Pa",
    "px", "MB", "GB", "EUR", "USD", "GBP", "minutes", "hours", "day", "days", "weeks", "Jan",
    "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip
_UNIT = "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True))
_WEEKDAY = "|".join(rf"(?<=\b{day} )" for day in WEEKDAYS)
# Between a figure and its unit there may be the end of one element and the beginning of another.
# What stands in a tag is left alone: behind it no “>” comes before the next “<”. The pattern begins
# with the space itself: that is found a hundred times faster than a figure.
_PAIRS = re.compile(
    r" (?:"
    r"(?:(?<=\d )|(?<=\d</b> )|(?<=\d</span> )|(?<=\d</strong> ))"
    r"(?=(?:<(?:small|span|b)>)?(?:" + _UNIT + r")(?![\w/²³]))"
    r"|(?<=[×±~] )(?=\d)|(?<=\d )(?=[×±] \d)|(?=\d)(?:" + _WEEKDAY + r")"
    r")(?![^<>]*>)"
)
_AS_TYPED = re.compile(r"(<(textarea|script|style|pre|title)\b.*?</\2>)", re.DOTALL)


def unbroken(html: str) -> str:
    """A page whose figures stay with their units; what was typed, scripts and tags as they are.

    >>> unbroken('<p title="5 L">5 L of <b>7</b> kg, 5 liners, in 3 min</p>').replace(KEEPER, "~")
    '<p title="5 L">5~L of <b>7</b>~kg, 5 liners, in 3~min</p>'
    >>> unbroken("<textarea>5 L</textarea>")
    '<textarea>5 L</textarea>'
    """
    parts = _AS_TYPED.split(html)
    # The split leaves, in turn: text, an element that stays, its name.
    return "".join(
        _PAIRS.sub(KEEPER, part) if place % 3 == 0 else part
        for place, part in enumerate(parts)
        if place % 3 != 2
    )
