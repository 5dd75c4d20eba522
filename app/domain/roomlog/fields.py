"""What one value of an entry may be: its unit, its physical range, and how it is checked."""

import dataclasses
import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Literal

from app.domain.errors import FieldError
from app.domain.json_text import check_plain

KEY_PATTERN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}")
LONGEST_NOTE = 2000
NOT_IN_TEXT = (
    r"\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f"  # controls but tab and line ends
    r"\u00ad\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufeff"  # not seen, or turn the text round
    r"\ud800-\udfff\ufffe\uffff"  # no characters
)
"""What no text may hold, as the inside of a character class; spaces and joiners of scripts may."""
_NOT_IN_TEXT = re.compile(f"[{NOT_IN_TEXT}]")
EARLIEST = datetime(1970, 1, 2, tzinfo=UTC)
LATEST = datetime(2200, 1, 1, tzinfo=UTC)

FieldType = Literal[
    "key", "text", "number", "whole", "money", "flag", "moment", "day", "choice", "points", "data"
]
NAMED_AS_CALLED = ("tank", "resin", "solvent", "station", "item", "drum", "component")
"""Fields that name the thing they are called after, whatever book the entry stands in."""
LARGEST_WHOLE = 2**53  # every whole number up to it is a float as well
LARGEST_DATA = 200_000  # characters of JSON


@dataclass(frozen=True)
class FieldSpec:
    """One value of an entry.

    Attributes:
        type: what is stored; `whole` is a number without decimals, `money` a whole number of
            smallest units of the room's currency, `moment` an instant, `day` a date, `data` JSON
            that `check` has looked at.
        label: its name on a form.
        unit: unit of a number, as it stands in the field's name.
        low, high: the physical range of a number, both allowed.
        choices: the allowed words of a `choice`.
        help: one sentence for the person who fills it in.
        thing: the kind of thing that a key names, in whose books the entry then stands.
        check: of `data`: the value as it is stored; raises ValueError with what is wrong.
        example: of `data`: a value that fits.
        words: of a `choice`, of a list of words in `data`: what people call a word that is not
            plain English as it stands.
        names: what the key, or each key of the data, names, where neither `thing` nor the
            field's name says so: “tank”, “drum”.
        also: of a `choice`: whether another word is allowed beside the choices.
        counted_as: of a number without a unit: the field that names the thing whose unit it has.
    """

    type: FieldType
    label: str
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    help: str = ""
    thing: str = ""
    check: Callable[[Any], Any] | None = None
    example: Any = None
    words: Mapping[str, str] = dataclasses.field(default_factory=dict)
    names: str = ""
    counted_as: str = ""
    also: Callable[[str], bool] | None = None

    @property
    def shown_unit(self) -> str:
        """The unit as a person reads it: mW/cm² for mW/cm2, °C for C."""
        return "°C" if self.unit == "C" else self.unit.replace("/cm2", "/cm²").replace("m3", "m³")

    def word_of(self, choice: str) -> str:
        """What people call one of the choices."""
        return self.words.get(choice, choice.replace("_", " "))

    def named(self, name: str) -> str:
        """The kind of thing that the field `name` names; empty where it is no key."""
        if self.names or self.type != "key":
            return self.names
        return name if name in NAMED_AS_CALLED else self.thing or name


def spec(kind: FieldType, label: str, *, required: bool = False, **details: Any) -> Any:
    """A dataclass field that carries its specification; optional fields default to None."""
    metadata = {"spec": FieldSpec(kind, label, **details)}
    if required:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=None, metadata=metadata)


def number(label: str, unit: str, low: float, high: float, **details: Any) -> Any:
    """A number in `unit` between `low` and `high`."""
    return spec("number", label, unit=unit, low=low, high=high, **details)


def check_value(name: str, spec: FieldSpec, value: Any) -> Any:
    """The value as it is stored.

    Raises:
        FieldError: it is of the wrong type or outside its physical range.
    """
    return _CHECKS[spec.type](name, spec, value)


def check_moment(name: str, value: Any) -> datetime:
    """An instant in UTC from ISO 8601 text with an offset, or from an aware datetime.

    Raises:
        FieldError: no such instant, no offset, or outside 1970 to 2200.
    """
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise FieldError(
                name, f"“{value[:40]}” is not a time such as 2026-03-02T07:40:00+00:00."
            ) from None
    if not isinstance(value, datetime):
        raise FieldError(name, "Enter the time as text such as 2026-03-02T07:40:00+00:00.")
    if value.tzinfo is None:
        raise FieldError(name, "Add the offset from UTC, for example +00:00.")
    try:
        moment = value.astimezone(UTC)
    except OverflowError:
        raise FieldError(name, "The time must be between 1970 and 2200.") from None
    if not EARLIEST <= moment < LATEST:
        raise FieldError(name, "The time must be between 1970 and 2200.")
    return moment


def check_text(name: str, value: Any, longest: int) -> str:
    """Text without control and unseen characters, at most `longest` characters, stripped.

    Raises:
        FieldError: not text, too long, or not storable.
    """
    if not isinstance(value, str):
        raise FieldError(name, "Enter text here.")
    text = value.replace("\r\n", "\n").replace("\r", "\n").strip()
    if len(text) > longest:
        raise FieldError(name, f"At most {longest} characters; this has {len(text)}.")
    if _NOT_IN_TEXT.search(text):
        raise FieldError(name, "The text has characters that cannot be stored.")
    return text


def check_key(name: str, value: Any) -> str:
    """A short key: letters, digits and `_ . : -`, starting with a letter or digit."""
    if not isinstance(value, str) or not KEY_PATTERN.fullmatch(value):
        raise FieldError(name, "Use 1 to 64 letters, digits, dots, dashes, colons or underscores.")
    return value


def _check_number(name: str, spec: FieldSpec, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise FieldError(name, f"{spec.label} must be a number.")
    if isinstance(value, int) and abs(value) > LARGEST_WHOLE:
        raise FieldError(name, f"{spec.label} is too large.")
    if isinstance(value, float) and not math.isfinite(value):
        raise FieldError(name, f"{spec.label} must be a finite number.")
    if not spec.low <= value <= spec.high:
        raise FieldError(name, _outside(spec))
    return float(value)


def _outside(spec: FieldSpec) -> str:
    unit = f" {spec.shown_unit}" if spec.unit else ""
    return f"{spec.label} must be between {spec.low:.15g} and {spec.high:.15g}{unit}."


def _check_whole(name: str, spec: FieldSpec, value: Any) -> int:
    number = _check_number(name, spec, value)
    if number != int(number):
        raise FieldError(name, f"{spec.label} must be a whole number.")
    return int(number)


def _check_flag(name: str, spec: FieldSpec, value: Any) -> bool:
    if not isinstance(value, bool):
        raise FieldError(name, f"{spec.label} must be true or false.")
    return value


def _check_choice(name: str, spec: FieldSpec, value: Any) -> str:
    is_other = spec.also is not None and isinstance(value, str) and spec.also(value)
    if value not in spec.choices and not is_other:
        raise FieldError(name, f"{spec.label} must be one of: {', '.join(spec.choices)}.")
    return str(value)


def _check_points(name: str, spec: FieldSpec, value: Any) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, list | tuple) or not 2 <= len(value) <= 50:
        raise FieldError(name, f"{spec.label} must be a list of 2 to 50 pairs of numbers.")
    pair = FieldSpec("number", spec.label, spec.unit, spec.low, spec.high)
    points = []
    for item in value:
        if not isinstance(item, list | tuple) or len(item) != 2:
            raise FieldError(name, f"{spec.label} must be pairs of numbers.")
        points.append((_check_number(name, pair, item[0]), _check_number(name, pair, item[1])))
    return tuple(points)


def _check_day(name: str, spec: FieldSpec, value: Any) -> date:
    if isinstance(value, str):
        try:
            value = date.fromisoformat(value)
        except ValueError:
            raise FieldError(name, f"“{value[:40]}” is not a day such as 2026-03-02.") from None
    if not isinstance(value, date) or isinstance(value, datetime):
        raise FieldError(name, f"{spec.label} must be a day such as 2026-03-02.")
    if not EARLIEST.date() <= value < LATEST.date():
        raise FieldError(name, "The day must be between 1970 and 2200.")
    return value


def _check_data(name: str, spec: FieldSpec, value: Any) -> Any:
    try:
        size = len(json.dumps(value, allow_nan=False))
    except (TypeError, ValueError, RecursionError):
        raise FieldError(name, f"{spec.label} must be JSON.") from None
    if size > LARGEST_DATA:
        raise FieldError(name, f"{spec.label} is too large: {size} characters of JSON.")
    try:
        check_plain(value)
        return spec.check(value) if spec.check else value
    except (TypeError, KeyError, AttributeError):
        raise FieldError(name, f"{spec.label} is not in the right form.") from None
    except ValueError as error:
        raise FieldError(name, str(error)) from None


_CHECKS: Mapping[FieldType, Any] = {
    "key": lambda name, _, value: check_key(name, value),
    "text": lambda name, _, value: check_text(name, value, 200),
    "number": _check_number,
    "whole": _check_whole,
    "money": _check_whole,
    "day": _check_day,
    "data": _check_data,
    "flag": _check_flag,
    "moment": lambda name, _, value: check_moment(name, value),
    "choice": _check_choice,
    "points": _check_points,
}
