"""The shelf in words and in the room's units."""

import math
from collections.abc import Mapping
from datetime import date
from zoneinfo import ZoneInfo

from app.domain import calendar_words
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import COUNTED_UNITS
from app.domain.roomlog.lines import own_fields
from app.domain.supplies.reorder import Containers
from app.domain.supplies.state import ItemState
from app.services.spend.price_book import prices_of
from app.services.supplies.stock import unit_beside, unit_words
from app.store.tables import RoomRow
from app.units import from_display, label, to_display
from app.web.deps import Visit
from app.web.filters import number, units_of
from app.web.money import Money, money_of

QUANTITIES = (
    "quantity", "expected", "order_minimum", "max_on_shelf", "used_per_swap", "reorder_at",
)  # fmt: skip
CATEGORY_WORDS: Mapping[str, str] = {
    "solvent": "Solvents",
    "part": "Parts",
    "protection": "Protection",
    "cleaning": "Cleaning",
    "waste_container": "Empty drums and containers",
    "other": "Other",
}
PURPOSE_WORDS: Mapping[str, str] = {
    "hand_out": "handed out",
    "swap": "for a swap",
    "top_up": "for a top-up",
    "inspection": "for an inspection",
    "cleaning": "for cleaning",
    "spill": "for a spill",
    "other": "for something else",
}
MOVE_WORDS: Mapping[str, str] = {
    "stock_received": "Received",
    "stock_used": "Used",
    "stock_counted": "Counted",
    "stock_scrapped": "Scrapped",
}
USUAL_PURPOSE: Mapping[str, str] = {
    "solvent": "top_up", "part": "inspection", "protection": "hand_out", "cleaning": "cleaning",
    "waste_container": "swap",
}  # fmt: skip

STANDING_WORDS: Mapping[str, str] = {
    "good": "", "expired": "Expired", "quarantined": "In quarantine", "withdrawn": "Withdrawn",
}  # fmt: skip
"""What stands beside a lot that is not used."""


def day_words(day: date | None, today: date) -> str:
    """A day such as “Tue 3 Mar”, with its year where it is another one."""
    return calendar_words.day_words(day, today)


def unit_of(state: ItemState, room: RoomRow) -> str:
    """The unit an item is typed and shown in: the room's own for litres."""
    return label("volume", units_of(room)) if state.unit == "L" else unit_words(state.unit)


def figure(value: float, state: ItemState, room: RoomRow) -> str:
    """A quantity without its unit: whole where it is counted, else to one or two decimals."""
    shown = to_display(value, "volume", units_of(room)) if state.unit == "L" else value
    if abs(shown - round(shown)) < 1e-6:
        return number(shown, 0)
    return number(shown, 1 if abs(shown) >= 10 else 2)


def quantity(value: float, state: ItemState, room: RoomRow) -> str:
    """A quantity with its unit, such as “1 pair” or “18.9 L”."""
    text = figure(value, state, room)
    unit = unit_of(state, room) if state.unit == "L" else unit_beside(text, state.unit)
    return f"{text} {unit}"


def whole_up(value: float, state: ItemState) -> float:
    """A computed amount of what is counted whole, rounded up to the next one."""
    return math.ceil(value - 1e-9) if state.unit in COUNTED_UNITS else value


def signed_quantity(value: float, state: ItemState, room: RoomRow) -> str:
    """A difference, with its sign and unit."""
    return f"{'+' if value > 0 else ''}{quantity(value, state, room)}"


def shown_step(state: ItemState) -> float:
    """Differences below half of this are those of rounding: a whole piece, or a hundredth."""
    return 1.0 if state.unit in COUNTED_UNITS else 0.01


def typed_quantity(value: float, state: ItemState, room: RoomRow) -> str:
    """A quantity as a form shows it, with all the digits that were typed."""
    shown = to_display(value, "volume", units_of(room)) if state.unit == "L" else value
    return f"{shown:.6g}"


def containers_words(containers: tuple[Containers, ...], state: ItemState, room: RoomRow) -> str:
    """Containers such as “2 × 18.9 L and 1 × 3.8 L”."""
    return " and ".join(f"{one.count} × {quantity(one.size, state, room)}" for one in containers)


def move_words(
    entry: Entry, state: ItemState, room: RoomRow, money: Money, tanks: Mapping[str, str]
) -> str:
    """An entry in an item's book, without the item's name; `tanks` are the names by key."""
    parts = []
    today = entry.at.astimezone(ZoneInfo(room.time_zone)).date()
    for name, value in own_fields(entry).items():
        if name in ("item", "unit", "name", "category") or name not in entry.specs():
            continue
        spec = entry.specs()[name]
        if name in QUANTITIES:
            said = quantity(value, state, room)
            parts.append(said if name == "quantity" else f"{spec.label.lower()} {said}")
        elif name == "container_sizes":
            parts.append("in " + ", ".join(quantity(size, state, room) for size in value))
        elif name == "purpose":
            parts.append(PURPOSE_WORDS[value])
        elif spec.type == "money":
            parts.append(f"{spec.label.lower()} {money(value)}")
        elif name == "tank":
            parts.append(f"tank {tanks.get(value, value)}")
        elif spec.type == "day":
            day = value if isinstance(value, date) else date.fromisoformat(value)
            parts.append(f"{spec.label.lower()} {day_words(day, today)}")
        elif spec.type == "flag":
            parts.append(spec.label.lower())
        else:
            said = f"{value:g}" if isinstance(value, float) else str(value).replace("_", " ")
            parts.append(f"{spec.label.lower()} {said} {spec.unit}".strip())
    return ", ".join(parts)


def money_here(visit: Visit) -> Money:
    """How this room writes amounts."""
    return money_of(prices_of(visit.session, visit.room_id))


def price_of_one(cents: float | None, state: ItemState, room: RoomRow, money: Money) -> str:
    """What one of an item's unit costs, for litres one of the room's volume unit."""
    if cents is None:
        return ""
    if state.unit != "L":
        return money(cents)
    per_unit = cents * from_display(1.0, "volume", units_of(room))
    return f"{money(per_unit)} per {unit_of(state, room)}"
