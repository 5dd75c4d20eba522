"""Units at the edges: what people type and read, in their room's units, to SI and back.

Inside the program volumes are litres, temperatures Celsius, masses grams and areas square
centimetres. This is the only module that knows the unit library, and it loads it only for a unit
that needs a factor: importing it takes longer than a page.

"Gallon" is the US liquid gallon, 3.785 L. The imperial gallon holds a fifth more and is refused.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Literal, cast

from app.domain import money
from app.domain.errors import FieldError
from app.domain.plural import MINUS, thousands

if TYPE_CHECKING:
    import pint

Quantity = Literal["volume", "temperature", "mass", "area"]
VolumeUnit = Literal["l", "us_gal"]
TemperatureUnit = Literal["c", "f"]
MassUnit = Literal["g", "oz"]
AreaUnit = Literal["cm2", "in2"]
OtherUnit = Literal["ml", "us_qt", "us_fl_oz", "kg", "lb", "m2", "mm2"]
Unit = VolumeUnit | TemperatureUnit | MassUnit | AreaUnit | OtherUnit

KEPT_UNITS: Mapping[Quantity, Unit] = {
    "volume": "l",
    "temperature": "c",
    "mass": "g",
    "area": "cm2",
}


@dataclass(frozen=True)
class UnitSystem:
    """The units a room works in."""

    volume: VolumeUnit = "l"
    temperature: TemperatureUnit = "c"
    mass: MassUnit = "g"
    area: AreaUnit = "cm2"

    def unit(self, quantity: Quantity) -> Unit:
        """The unit of a quantity."""
        unit: Unit = getattr(self, quantity)
        return unit


@dataclass(frozen=True)
class _Kind:
    """A unit: its label, its name in the unit library, and the words people write for it."""

    quantity: Quantity
    label: str
    library_name: str
    words: tuple[str, ...]


_UNITS: Mapping[Unit, _Kind] = {
    "l": _Kind("volume", "L", "liter", ("l", "liter", "litre", "liters", "litres")),
    "ml": _Kind("volume", "mL", "milliliter", ("ml", "milliliter", "millilitre", "cm3", "cc")),
    "us_gal": _Kind(
        "volume", "US gal", "US_liquid_gallon",
        ("us gal", "gal", "gallon", "gallons", "us gallon", "us gallons"),
    ),
    "us_qt": _Kind("volume", "US qt", "US_liquid_quart", ("us qt", "qt", "quart", "quarts")),
    "us_fl_oz": _Kind("volume", "US fl oz", "US_fluid_ounce", ("us fl oz", "fl oz", "fluid ounce")),
    "c": _Kind("temperature", "°C", "degC", ("c", "°c", "deg c", "celsius")),
    "f": _Kind("temperature", "°F", "degF", ("f", "°f", "deg f", "fahrenheit")),
    "g": _Kind("mass", "g", "gram", ("g", "gram", "grams")),
    "kg": _Kind("mass", "kg", "kilogram", ("kg", "kilogram", "kilograms")),
    "oz": _Kind("mass", "oz", "ounce", ("oz", "ounce", "ounces")),
    "lb": _Kind("mass", "lb", "pound", ("lb", "lbs", "pound", "pounds")),
    "cm2": _Kind("area", "cm²", "centimeter**2", ("cm2", "cm²", "sq cm")),
    "mm2": _Kind("area", "mm²", "millimeter**2", ("mm2", "mm²", "sq mm")),
    "m2": _Kind("area", "m²", "meter**2", ("m2", "m²", "sq m")),
    "in2": _Kind("area", "in²", "inch**2", ("in2", "in²", "sq in", "square inch", "square inches")),
}  # fmt: skip
_WORDS: Mapping[str, Unit] = {word: unit for unit, kind in _UNITS.items() for word in kind.words}


def to_display(value: float, quantity: Quantity, system: UnitSystem) -> float:
    """A kept value in the room's unit.

    >>> round(to_display(20.0, "volume", UnitSystem(volume="us_gal")), 3)
    5.283
    """
    unit = system.unit(quantity)
    if unit == KEPT_UNITS[quantity]:
        return value
    scale = _scale(unit)
    return value * scale.down / scale.up + scale.zero


def from_display(value: float, quantity: Quantity, system: UnitSystem) -> float:
    """A value typed in the room's unit as it is kept.

    >>> from_display(68.0, "temperature", UnitSystem(temperature="f"))
    20.0
    """
    return kept_value(value, system.unit(quantity), quantity)


def kept_value(value: float, unit: Unit, quantity: Quantity) -> float:
    """A value of any known unit in the unit the program keeps."""
    if unit == KEPT_UNITS[quantity]:
        return value
    scale = _scale(unit)
    return (value - scale.zero) * scale.up / scale.down


def label(quantity: Quantity, system: UnitSystem) -> str:
    """The room's unit of a quantity, as it stands beside a number."""
    return _UNITS[system.unit(quantity)].label


def format_value(value: float, quantity: Quantity, system: UnitSystem) -> str:
    """A kept value in the room's unit, to three figures or one decimal, with its unit.

    >>> format_value(208.2, "volume", UnitSystem(volume="us_gal"))
    '55.0 US gal'
    """
    shown = to_display(value, quantity, system)
    decimals = 1 if quantity == "temperature" or abs(shown) >= 9.995 else 2
    if abs(shown) >= 99.95 and quantity != "temperature":
        decimals = 0
    text = thousands(shown, decimals)
    written = text.replace("-", MINUS) if text.strip("-0.") else "0"
    return f"{written} {label(quantity, system)}"


def volume_words(volume_l: float, unit: str) -> str:
    """Litres in a room's unit of volume, as kept in its row.

    >>> volume_words(208.2, "us_gal")
    '55.0 US gal'
    """
    return format_value(volume_l, "volume", UnitSystem(volume=cast(VolumeUnit, unit)))


def parse_number(text: str, field: str = "value") -> float:
    """A number as people type it, with a decimal point or comma.

    Raises:
        FieldError: not a number, not finite, or a separator that may mean thousands.

    >>> parse_number("12,5")
    12.5
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if not plain:
        raise FieldError(field, "Enter a number.")
    if _THOUSAND.fullmatch(plain):
        small, large = plain.replace(",", "."), plain.replace(",", "")
        raise FieldError(field, f"“{plain}” may mean {small} or {large}. Write it as one of these.")
    if not _NUMBER.fullmatch(plain):
        raise FieldError(field, _not_a_number(plain))
    number = float(plain.replace(",", "."))
    if not math.isfinite(number):
        raise FieldError(field, f"“{plain[:20]}” is too large.")
    return number


def parse_money(text: str, currency: str, field: str = "value") -> int:
    """An amount as people type it, in whole smallest units of its currency; never a float.

    Raises:
        FieldError: as `parse_number`, or it has parts of the smallest unit.

    >>> parse_money("0,29", "EUR"), parse_money("1250", "JPY"), parse_money("0.125", "KWD")
    (29, 1250, 125)
    """
    parse_number(text, field)
    written = text.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    digits = money.digits_of(currency)
    minor = Decimal(written).scaleb(digits)
    if minor != minor.to_integral_value():
        example = money.plain(12 * 10**digits + 5 * 10**digits // 10, currency)
        if digits == 0:
            raise FieldError(field, f"{currency} has no decimals. Enter a whole number.")
        words = {2: "two", 3: "three", 4: "four"}[digits]
        raise FieldError(field, f"Enter at most {words} decimals, such as {example}.")
    return int(minor)


def parse_quantity(text: str, quantity: Quantity, field: str = "value") -> float:
    """A number with its unit as people write it, such as “5 gal”, in the kept unit.

    Raises:
        FieldError: no number, no unit, or a unit of something else.

    >>> round(parse_quantity("5 gal", "volume"), 3)
    18.927
    """
    parts = _WITH_UNIT.fullmatch(text.strip())
    if parts is None:
        raise FieldError(
            field, f"Write a number and its unit, for example 20 {_example(quantity)}."
        )
    return kept_value(parse_number(parts[1], field), read_unit(parts[2], quantity, field), quantity)


def read_unit(word: str, quantity: Quantity, field: str = "value") -> Unit:
    """The unit a word names.

    Raises:
        FieldError: unknown, of another quantity, or an imperial gallon.
    """
    plain = " ".join(word.lower().replace(".", " ").split())
    if _IMPERIAL.search(plain):
        raise FieldError(field, "Imperial gallons are not used here. Enter US gallons or litres.")
    unit = _WORDS.get(plain)
    if unit is None or _UNITS[unit].quantity != quantity:
        known = ", ".join(kind.label for kind in _UNITS.values() if kind.quantity == quantity)
        raise FieldError(field, f"“{word[:20]}” is not a unit of {quantity}. Known: {known}.")
    return unit


_NUMBER = re.compile(
    r"[+-]?(?:[0-9]{1,40}(?:[.,][0-9]{0,40})?|[.,][0-9]{1,40})(?:[eE][+-]?[0-9]{1,3})?"
)
# A comma before exactly three digits: the decimals of one country, the thousands of another.
_THOUSAND = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[ .,'\u00a0\u2009\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_WITH_UNIT = re.compile(r"([^a-zA-Z°]*[0-9][^a-zA-Z°]*)([a-zA-Z°][^0-9]*[23²³]?)")
_IMPERIAL = re.compile(r"\b(?:imp|imperial|uk|british)\b")


def _not_a_number(text: str) -> str:
    if _GROUPED.fullmatch(text):
        return f"Write “{text[:20]}” without thousands separators."
    if _WITH_UNIT.fullmatch(text):
        return "Enter just the number. Its unit is beside the field."
    return f"“{text[:20]}” is not a number."


def _example(quantity: Quantity) -> str:
    return _UNITS[KEPT_UNITS[quantity]].label


@dataclass(frozen=True)
class _Scale:
    """kept = (value - zero) * up / down."""

    up: float
    down: float
    zero: float


@cache
def _scale(unit: Unit) -> _Scale:
    """How a unit turns into the kept one; the definitions have at most twelve digits."""
    registry = _registry()
    kept = _UNITS[KEPT_UNITS[_UNITS[unit].quantity]].library_name
    name = _UNITS[unit].library_name
    if _UNITS[unit].quantity != "temperature":
        return _Scale(_clean(registry.Quantity(1.0, name).to(kept).magnitude), 1.0, 0.0)
    degrees = registry.Quantity(1.0, f"delta_{kept}").to(f"delta_{name}").magnitude
    zero = registry.Quantity(0.0, kept).to(name).magnitude
    return _Scale(1.0, _clean(degrees), _clean(zero))


def _clean(number: float) -> float:
    """The number without the rounding of the library's own steps."""
    return float(f"{number:.13g}")


@cache
def _registry() -> "pint.UnitRegistry[float]":
    import pint  # noqa: PLC0415 - takes 0.3 s, and most rooms need no factor

    return pint.UnitRegistry()
