"""The shelf in words and in the room's units."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.domain import calendar_words
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import COUNTED_UNITS
from app.domain.roomlog.lines import own_fields
from app.domain.supplies.outlook import RunOut
from app.domain.supplies.plan import ItemPlan, Standing
from app.domain.supplies.reorder import Containers
from app.domain.supplies.state import ItemState
from app.services.spend.rates import prices_of
from app.services.supplies.stock import unit_words
from app.store.tables import RoomRow
from app.units import from_display, label, to_display
from app.web.deps import Visit
from app.web.filters import number, units_of
from app.web.money import Money, money_of
from app.web.words import State

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
TAGS: Mapping[Standing, tuple[State, str]] = {
    "short": ("over", "Too little"),
    "none": ("over", "None left"),
    "recount": ("check", "Count it"),
    "low": ("soon", "Order now"),
    "late": ("check", "Order late"),
    "expired": ("check", "Expired"),
    "expiring": ("soon", "Use soon"),
    "soon": ("ok", ""),
    "ok": ("ok", ""),
}


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
    unit = unit_of(state, room)
    if state.unit == "L" or state.unit in ("kg", "m"):
        unit = state.unit if state.unit != "L" else unit
    elif text == "1":
        unit = state.unit
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


def run_out_words(run_out: RunOut, today: date) -> tuple[str, str]:
    """The expected run-out day, and the range from early to late."""
    if run_out.expected_on is None:
        early = day_words(run_out.early_on, today)
        return "not within a year", f"early {early}" if early else ""
    late = day_words(run_out.late_on, today) or "later than a year"
    reach = f"{day_words(run_out.early_on, today)} to {late}"
    if run_out.early_on == run_out.late_on:
        reach = ""
    return day_words(run_out.expected_on, today), reach


LOOKED_AHEAD_DAYS = 60


@dataclass(frozen=True)
class Remark:
    """What an item asks for: its state in shape and word, and why."""

    state: State
    tag: str
    text: str


def remark(plan: ItemPlan, today: date, room: RoomRow) -> Remark:
    """The first thing to say of an item, with the swap that it threatens."""
    state, tag = TAGS[plan.standing]
    texts = {
        "short": threat_words,
        "none": lambda *_: "Nothing is on the shelf.",
        "recount": lambda *_: "More was used than the books had.",
        "low": _order_words,
        "late": _late_words,
        "expired": _spoiled_words,
        "expiring": _spoiled_words,
        "soon": _order_words,
        "ok": _later_words,
    }
    say = texts.get(plan.standing)
    return Remark(state, tag, say(plan, today, room) if say else "")


def threat_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """Which swap will lack how much."""
    threat = plan.threat
    if threat is None:
        return ""
    when = "today" if threat.due_on == today else f"on {day_words(threat.due_on, today)}"
    short = quantity(whole_up(threat.short, plan.state), plan.state, room)
    needed = quantity(threat.needed, plan.state, room)
    return f"The swap of {threat.name} {when} takes {needed}; {short} will be missing."


def lack_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """The same in short, for a list of the swap's tank."""
    threat = plan.threat
    if threat is None:
        return ""
    when = "today" if threat.due_on == today else f"on {day_words(threat.due_on, today)}"
    short = quantity(whole_up(threat.short, plan.state), plan.state, room)
    return f"{plan.state.name}: {short} too little for its swap {when}."


def _order_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    if plan.order_by is None:
        return "At its reorder point."
    when = "today" if plan.order_by == today else f"by {day_words(plan.order_by, today)}"
    return f"Order {quantity(plan.buy.quantity, plan.state, room)} {when}."


def _later_words(plan: ItemPlan, today: date, _: RoomRow) -> str:
    if plan.order_by is None or (plan.order_by - today).days > LOOKED_AHEAD_DAYS:
        return ""
    return f"Order by {day_words(plan.order_by, today)}."


def _late_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    order = plan.overdue[0]
    since = day_words(order.expected_on, today)
    left = quantity(order.outstanding, plan.state, room)
    return f"{left} of order {order.order} should have come on {since}."


def _spoiled_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    lot = next(lot for lot in plan.lots if lot.is_expired or lot.spoils > 0)
    amount = quantity(whole_up(lot.spoils, plan.state), plan.state, room)
    if lot.is_expired:
        return f"{amount} of lot {lot.lot} were good until {day_words(lot.use_by, today)}."
    return f"{amount} of lot {lot.lot} will not be used by {day_words(lot.use_by, today)}."


def move_words(entry: Entry, state: ItemState, room: RoomRow, money: Money) -> str:
    """An entry in an item's book, without the item's name."""
    parts = []
    for name, value in own_fields(entry).items():
        if name in ("item", "unit", "name", "category") or name not in entry.specs():
            continue
        spec = entry.specs()[name]
        if name in ("quantity", "expected", "max_on_shelf", "used_per_swap"):
            said = quantity(value, state, room)
            parts.append(said if name == "quantity" else f"{spec.label.lower()} {said}")
        elif name == "container_sizes":
            parts.append("in " + ", ".join(quantity(size, state, room) for size in value))
        elif name == "purpose":
            parts.append(PURPOSE_WORDS[value])
        elif spec.type == "money":
            parts.append(f"{spec.label.lower()} {money(value)}")
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
