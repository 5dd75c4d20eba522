"""How templates write numbers, times and choices."""

import re
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta, tzinfo
from typing import Any, cast

from markupsafe import Markup, escape

from app.domain.calendar_words import MONTHS, WEEKDAYS, day_words, moment_words
from app.domain.money import plain
from app.domain.plural import MINUS, counted, thousands
from app.domain.solvents import SOLVENTS, Solvent
from app.store.tables import RoomRow
from app.units import (
    AreaUnit,
    MassUnit,
    TemperatureUnit,
    UnitSystem,
    VolumeUnit,
    format_value,
)


def units_of(room: RoomRow) -> UnitSystem:
    """The units a room is shown in."""
    return UnitSystem(
        volume=cast(VolumeUnit, room.volume_unit),
        temperature=cast(TemperatureUnit, room.temperature_unit),
        mass=cast(MassUnit, room.mass_unit),
        area=cast(AreaUnit, room.area_unit),
    )


def number(value: float, decimals: int = 1) -> str:
    """A number with so many decimals, its thousands apart, never minus zero.

    >>> number(12000.0, 0), number(-2.108, 2), number(-0.01)
    ('12,000', '−2.11', '0.0')
    """
    text = thousands(value, decimals)
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", MINUS)


def figure(value: float) -> str:
    """A number with the decimals that it has, its thousands apart.

    >>> figure(6000.0), figure(208.2)
    ('6,000', '208.2')
    """
    return f"{value:,g}"


def percent(value: float, decimals: int = 1) -> str:
    """A percentage."""
    return f"{number(value, decimals)} %"


def moment(at: datetime | None, zone: tzinfo) -> str:
    """A day and time in the room's zone, such as “Sun 29 Nov 06:41”."""
    if at is None:
        return ""
    local = at.astimezone(zone)
    return f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local:%H:%M}"


def sentence(text: str) -> str:
    """What somebody typed, as a sentence among others.

    >>> sentence("light stays on"), sentence("It sticks.")
    ('Light stays on.', 'It sticks.')
    """
    said = text.strip().rstrip(".")
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def signed(value: float, decimals: int = 0) -> str:
    """A change, with its sign."""
    text = number(value, decimals)
    return text if text.startswith(MINUS) or not text.strip("0.") else f"+{text}"


def volume(value_l: float, room: RoomRow) -> str:
    """A volume in the room's unit."""
    return format_value(value_l, "volume", units_of(room))


def amount(minor: int, room: RoomRow) -> str:
    """An amount with all its digits and its currency, the same in every place."""
    return f"{plain(minor, room.currency)} {room.currency}".rstrip()


def span(length: timedelta) -> str:
    """A length of time in words, to the minute below two days: “2 h 5 min”, “12 days”."""
    minutes = round(abs(length.total_seconds()) / 60)
    if minutes >= 2 * 24 * 60:
        return f"{minutes // (24 * 60)} days"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def clock(at: datetime, zone: tzinfo) -> str:
    """The time of day in the room's zone."""
    return f"{at.astimezone(zone):%H:%M}"


CODE = re.compile(r"\b[A-Za-z]{1,8}(?:-[0-9A-Za-z]{1,12}){1,3}\b")
"""A lot or an order as labels have it; a word with a hyphen is one only where it has a digit."""
WHOLE = Markup('<span class="whole">{}</span>')


def whole_codes(text: str) -> Markup:
    """A text whose lots and orders stand on one line each: a browser breaks behind a hyphen.

    >>> whole_codes("order R-1187, well-known <b>")
    Markup('order <span class="whole">R-1187</span>, well-known &lt;b&gt;')
    """
    pieces, end = [Markup()], 0
    for found in CODE.finditer(text):
        if any(letter.isdigit() for letter in found[0]):
            pieces += [escape(text[end : found.start()]), WHOLE.format(found[0])]
            end = found.end()
    return Markup().join([*pieces, escape(text[end:])])


def key_and_name(item: Any) -> tuple[str, str]:
    """A choice of something that has a key and a name."""
    return item.key, item.name


def pair_with(keys: Iterable[str], texts: Mapping[str, str]) -> list[tuple[str, str]]:
    """Choices of keys, each with its text or its own words."""
    return [(key, texts.get(key, key.replace("_", " "))) for key in keys]


def solvent_name(key: str) -> str:
    """A solvent's name."""
    return SOLVENTS[key].name if key in SOLVENTS else key


def solvent_choices(solvents: Mapping[str, Solvent]) -> list[tuple[str, str]]:
    """All solvents as choices."""
    return [(key, solvent.name) for key, solvent in solvents.items()]


FILTERS = {
    function.__name__: function
    for function in (
        number, figure, thousands, counted, percent, amount, moment, moment_words, day_words, clock,
        sentence, signed, volume, whole_codes, key_and_name, pair_with, solvent_name,
        solvent_choices, span,
    )
}  # fmt: skip
