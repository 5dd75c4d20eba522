"""Which of two ways a column of a spreadsheet is written in, where its cells tell.

03/04/2026 is a day in April to some and in March to others, and 1,234 is more than a thousand or
less than two. One cell that can only be read one way settles its column; nothing else does.
"""

import re
from dataclasses import dataclass
from datetime import date

_DATE = re.compile(r"\s*(\d{1,2})([/.-])(\d{1,2})[/.-](\d{4}|\d{2})(?!\d)")
_UNCLEAR_NUMBER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})(?:\1\d{3})+")
_LAST_MARK = re.compile(r"([.,])\d*(?:[eE][+-]?\d+)?$")
MONTHS = 12


@dataclass
class Evidence:
    """What the cells of a column say; each is an example from the sheet, or empty.

    Attributes:
        first: it can only be read the first way: day first, a decimal comma.
        second: only the second way: month first, a decimal point.
        unclear: both ways, with another meaning each.
    """

    first: str = ""
    second: str = ""
    unclear: str = ""

    @property
    def verdict(self) -> bool | None:
        """Whether the first way is the column's; None where it does not tell or contradicts."""
        return None if bool(self.first) == bool(self.second) else bool(self.first)

    @property
    def is_open(self) -> bool:
        """Somebody has to say how it is meant."""
        return bool(self.unclear) and self.verdict is None

    def see_date(self, text: str) -> None:
        """Take in a cell of dates."""
        found = _DATE.match(text)
        if found is None:
            return
        one, two = int(found[1]), int(found[3])
        if one > MONTHS >= two:
            self.first = self.first or text
        elif two > MONTHS >= one:
            self.second = self.second or text
        elif one != two:
            self.unclear = self.unclear or text

    def see_number(self, text: str) -> None:
        """Take in a cell of numbers."""
        if "," not in text and "." not in text:
            return
        digits = text.strip().rstrip("%").strip()
        if _UNCLEAR_NUMBER.fullmatch(digits):
            self.unclear = self.unclear or text
            return
        if grouped := _GROUPED.fullmatch(digits):
            is_comma = grouped[1] == "."
        elif mark := _LAST_MARK.search(digits):
            is_comma = mark[1] == ","
        else:
            return
        if is_comma:
            self.first = self.first or text
        else:
            self.second = self.second or text

    def add(self, other: "Evidence") -> None:
        """Take in what another column says."""
        self.first = self.first or other.first
        self.second = self.second or other.second
        self.unclear = self.unclear or other.unclear


def both_dates(text: str) -> tuple[str, str]:
    """An unclear date, read day first and month first.

    >>> both_dates("03/04/2026 07:40")
    ('3 April 2026', '4 March 2026')
    """
    found = _DATE.match(text)
    assert found is not None
    one, two = int(found[1]), int(found[3])
    year = int(found[4]) if len(found[4]) == 4 else 2000 + int(found[4])
    return _day(date(year, two, one)), _day(date(year, one, two))


def both_numbers(text: str) -> tuple[str, str]:
    """An unclear number, read with a decimal comma and with a decimal point.

    >>> both_numbers("1,500")
    ('1.5 (decimal comma)', '1500 (decimal point)')
    >>> both_numbers("1.234")
    ('1234 (decimal comma)', '1.234 (decimal point)')
    """
    digits = text.strip().rstrip("%").strip()
    whole, part = re.sub("[.,]", "", digits), f"{float(digits.replace(',', '.')):g}"
    comma, point = (part, whole) if "," in digits else (whole, part)
    return f"{comma} (decimal comma)", f"{point} (decimal point)"


def _day(day: date) -> str:
    return f"{day.day} {day:%B} {day.year}"
