"""What one cell of a spreadsheet says: a number, a time, a name."""

import math
import re
from datetime import UTC, date, datetime, time, tzinfo
from typing import Any

from app.domain.errors import FieldError
from app.domain.json_text import read_json

INJECTING = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n", "\0")
"""How a formula may begin (OWASP, CSV injection; ASVS 5.0, 1.2.10): half and full width, and
characters that a spreadsheet passes over."""
PLAIN_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_BEGINS = "[=+\\-@＝＋－＠\0]"
# Behind a mark that splits a line into cells, with the apostrophes that stand there already.
_WITHIN = re.compile(rf"(?<=[;\t\r\n])( *)('*)(?={_BEGINS})")
_MARKED_WITHIN = re.compile(rf"(?<=[;\t\r\n])( *)'(?='*{_BEGINS})")
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:([,.])\d{3})(?:\1\d{3})*")
_SERIAL = re.compile(r"\d{5}([.,]\d+)?( [\d.,:]+)?")


def number_of(text: str, has_decimal_comma: bool = False) -> float:
    """The number a cell shows.

    Raises:
        ValueError: it shows none.

    A mark that can only be one is read as that; `has_decimal_comma` decides of 1,234 and 1.234.

    >>> number_of("1 234,5", has_decimal_comma=True), number_of("0,8"), number_of("1,234.5 ")
    (1234.5, 0.8, 1234.5)
    >>> number_of("0.789", has_decimal_comma=True), number_of("1.234", has_decimal_comma=True)
    (0.789, 1234.0)
    """
    digits = re.sub(r"[\s'’]", " ", text.strip().rstrip("%").strip())
    comma, point = digits.rfind(","), digits.rfind(".")
    if comma >= 0 and point >= 0:
        has_decimal_comma = comma > point
    elif (comma >= 0 or point >= 0) and not _GROUPS.fullmatch(digits):
        has_decimal_comma = comma >= 0
    mark, group = (",", ".") if has_decimal_comma else (".", ",")
    whole = rf"\d+|\d{{1,3}}(?:[ {group}]\d{{3}})+"
    pattern = rf"[+-]?(?=[{mark}\d])(?:{whole})?(?:[{mark}]\d*)?(?:[eE][+-]?\d{{1,3}})?"
    if not digits.isascii() or not re.fullmatch(pattern, digits) or digits.strip("+-") == mark:
        raise ValueError(f"“{text}” is not a number")
    value = float(digits.replace(" ", "").replace(group, "").replace(mark, "."))
    if not math.isfinite(value):
        raise ValueError(f"“{text}” is too large")
    return value


def moment_of(text: str, zone: tzinfo, is_day_first: bool = True) -> datetime:
    """The instant a cell shows; without an offset it is a time of `zone`.

    Raises:
        ValueError: it shows none, or a time that the clocks left out in spring.
    """
    if _SERIAL.fullmatch(text):
        raise ValueError("This is a spreadsheet's internal day number. It does not show the day.")
    if "w" in text.lower():
        raise ValueError("This is a week. Give a day.")
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        day, _, clock = text.partition(" ")
        at = datetime.combine(_day(day, is_day_first), _clock(clock) if clock.strip() else time())
    if at.tzinfo is not None:
        return at
    local = at.replace(tzinfo=zone)
    if local.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != at:
        raise ValueError("The clocks skipped this time. Give another.")
    return local


def guarded(text: str) -> str:
    """Text for a cell: what a spreadsheet would take for a formula gets an apostrophe in front.

    A plain number stays one. A spreadsheet that splits cells at semicolons, as those do that write
    a decimal comma, splits within a cell too: what begins behind one is guarded as well, and what
    begins a line or stands behind a tab.

    >>> guarded("=1+1"), guarded("-3.5"), guarded("Alder"), guarded("a; =1+1")
    ("'=1+1", '-3.5', 'Alder', "a; '=1+1")
    """
    is_risky = text.startswith(INJECTING) and not PLAIN_NUMBER.fullmatch(text)
    text = _WITHIN.sub(r"\1'\2", text)
    return f"'{text}" if is_risky or _is_marked(text) else text


def unguarded(text: str) -> str:
    """The text of a cell that `guarded` made.

    >>> unguarded("'=1+1"), unguarded("a; '=1+1")
    ('=1+1', 'a; =1+1')
    """
    return _MARKED_WITHIN.sub(r"\1", text[1:] if _is_marked(text) else text)


def _is_marked(text: str) -> bool:
    return text.startswith("'") and text.lstrip("'").startswith(INJECTING)


def json_of(name: str, text: str) -> Any:
    """The JSON value of a cell.

    Raises:
        FieldError: it holds none.
    """
    try:
        return read_json(text)
    except ValueError:
        raise FieldError(name, "This is not JSON.") from None


def _day(text: str, is_day_first: bool) -> date:
    found = re.fullmatch(r"(\d{1,4})[/.-](\d{1,2})[/.-](\d{1,4})\.?", text)
    if not found or not text.isascii():
        raise ValueError(text)
    first, second, third = (int(part) for part in found.groups())
    if len(found[1]) == 4:
        return date(first, second, third)
    year = third if len(found[3]) == 4 else 2000 + third
    return date(year, second, first) if is_day_first else date(year, first, second)


def _clock(text: str) -> time:
    pattern = r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?\s*([ap])?\.?m?\.?"
    found = re.fullmatch(pattern, text.strip().lower())
    if not found or not text.isascii():
        raise ValueError(text)
    hour = int(found[1])
    if found[4]:
        if not 1 <= hour <= 12:
            raise ValueError(text)
        hour = hour % 12 + (12 if found[4] == "p" else 0)
    return time(hour, int(found[2]), int(found[3] or 0))
