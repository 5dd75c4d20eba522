"""What an item asks for, in words: when it runs out, what to order, which swap it threatens."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from app.domain.supplies.ordering import Limit
from app.domain.supplies.outlook import RunOut
from app.domain.supplies.plan import ItemPlan, Standing
from app.domain.supplies.state import Order
from app.store.tables import RoomRow
from app.web.supplies.words import day_words, quantity, whole_up
from app.web.words import State

TAGS: Mapping[Standing, tuple[State, str]] = {
    "short": ("over", "Too little"),
    "none": ("over", "None left"),
    "recount": ("check", "Count it"),
    "low": ("soon", "Order now"),
    "full": ("check", "Check its limits"),
    "late": ("check", "Order late"),
    "expired": ("check", "Expired"),
    "expiring": ("soon", "Use soon"),
    "new": ("check", "Nothing known"),
    "soon": ("ok", ""),
    "ok": ("ok", ""),
}
NO_SUPPLIER = "No supplier has been entered. Set one for the item, or enter it with the order."
CUT_WORDS: Mapping[Limit, str] = {
    "fire": "Cut to fit the room in the fire area.",
    "cabinet": "Cut to fit the room in its cabinet.",
    "shelf": "Cut to the most that may be kept.",
    "spoils": "Cut to what gets used before it spoils.",
}
NO_USE = "No use yet. Set a reorder point, or count it."
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
    return Remark(state, tag, _SAY[plan.standing](plan, today, room))


def run_out_words(run_out: RunOut, today: date) -> tuple[str, str]:
    """The expected run-out day, and the range from early to late."""
    if run_out.expected_on is None:
        early = day_words(run_out.early_on, today)
        return "in more than a year", f"{early} at the earliest" if early else ""
    if run_out.expected_on == today:
        return "today", ""
    late = day_words(run_out.late_on, today) or "later than a year"
    reach = f"{day_words(run_out.early_on, today)} to {late}"
    if run_out.early_on == run_out.late_on:
        reach = ""
    return day_words(run_out.expected_on, today), reach


def on_hand_words(plan: ItemPlan, today: date) -> tuple[str, str]:
    """When what is on hand runs out, and the range: without anything that is on order."""
    if plan.state.on_hand <= 0:
        return "none left", ""
    if not plan.is_used:
        return "no use yet", ""
    return run_out_words(plan.run_out, today)


def with_orders_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """The run-out day with the orders that are counted on; nothing where none is."""
    if not plan.counted or not plan.is_used:
        return ""
    day, _ = run_out_words(plan.run_out_with_orders, today)
    return f"with {quantity(plan.counted, plan.state, room)} on order: {day}"


def counted_words(plan: ItemPlan, room: RoomRow) -> str:
    """Which part of what is on order the latest day to order counts on."""
    state, rest = plan.state, plan.state.outstanding - plan.counted
    said = []
    if plan.counted:
        said.append(f"{quantity(plan.counted, state, room)} on order included")
    if rest > 1e-6:
        said.append(f"{quantity(rest, state, room)} late, not counted")
    return ", ".join(said)


def threat_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """Which swap will lack how much."""
    threat = plan.threat
    if threat is None:
        return ""
    when = "today" if threat.due_on == today else f"on {day_words(threat.due_on, today)}"
    short = quantity(whole_up(threat.short, plan.state), plan.state, room)
    needed = quantity(threat.needed, plan.state, room)
    why, cure = _why_words(plan, today, room), cure_words(plan, today)
    return f"The swap of {threat.name} {when} takes {needed}; {short} will be missing{why}.{cure}"


def lack_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """The same in short, for a list of the swap's tank."""
    threat = plan.threat
    if threat is None:
        return ""
    when = "today" if threat.due_on == today else f"on {day_words(threat.due_on, today)}"
    short = quantity(whole_up(threat.short, plan.state), plan.state, room)
    why, cure = _why_words(plan, today, room), cure_words(plan, today)
    return f"{plan.state.name}: {short} short for its swap {when}{why}.{cure}"


def cure_words(plan: ItemPlan, today: date) -> str:
    """What to do about a swap that no order comes in time for; nothing where one does."""
    threat = plan.threat
    if threat is None or not plan.is_too_late:
        return ""
    if threat.cured_on is not None:
        there = day_words(threat.cured_on, today)
        return f" No order comes in time. Put the swap off to {there}, when the open order is here."
    comes = day_words(plan.comes_on, today)
    return (
        f" An order placed now comes on {comes}. Put the swap off until then, or get some "
        "elsewhere."
    )


def obstacle_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """Why an order does not help with an item, or not at once, and what does; else nothing."""
    if plan.needs_order and plan.buy.quantity <= 0:
        return _full_words(plan, today, room)
    if plan.is_too_late:
        return threat_words(plan, today, room)
    if plan.needs_order and not plan.state.rules.supplier:
        return NO_SUPPLIER
    return ""


def _why_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    """What keeps stock from a threatened swap: a late order, a lot that is past its day by then."""
    said = [f"order {order.order} is late" for order in plan.overdue[:1]]
    due_on = plan.threat.due_on if plan.threat else today
    gone = "{} held or expired" if any(lot.held for lot in plan.state.lots) else "{} expired"
    for is_expired, text in ((True, gone), (False, "{} will have expired by then")):
        lost = sum(
            lot.spoils for lot in plan.lots if lot.is_expired == is_expired and lot.use_by < due_on
        )
        if lost > 0:
            amount = quantity(whole_up(lost, plan.state), plan.state, room)
            said.append(text.format(amount))
    return f" ({', '.join(said)})" if said else ""


def _none_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    if plan.needs_order:
        return f"Nothing is on the shelf. {_order_words(plan, today, room)}"
    coming = [order for order in plan.state.on_order if order not in plan.overdue]
    if coming:
        return f"Nothing is on the shelf. {_coming_words(coming, plan, today, room)}"
    return "Nothing is on the shelf."


def _coming_words(coming: list[Order], plan: ItemPlan, today: date, room: RoomRow) -> str:
    first = min(coming, key=lambda order: order.expected_on or date.max)
    left = quantity(first.outstanding, plan.state, room)
    expected = f", expected {day_words(first.expected_on, today)}" if first.expected_on else ""
    return f"On order: {left}{expected}."


def _order_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    if plan.buy.quantity <= 0:
        return _full_words(plan, today, room)
    when = "today"
    if plan.order_by is None:
        when = "now, it is at its reorder point"
    elif plan.order_by != today:
        when = f"by {day_words(plan.order_by, today)}"
    return _with_counted(
        f"Order {quantity(plan.buy.quantity, plan.state, room)} {when}", plan, room
    )


def _full_words(plan: ItemPlan, _: date, room: RoomRow) -> str:
    wanted = quantity(whole_up(plan.buy.wanted, plan.state), plan.state, room)
    most = quantity(plan.state.rules.max_on_shelf or 0.0, plan.state, room)
    least = quantity(plan.state.rules.order_minimum or 0.0, plan.state, room)
    return {
        "spoils": f"{wanted} should be ordered, but would spoil unused. Order smaller containers, "
        "or lower the reorder point.",
        "fire": f"{wanted} should be ordered, but the fire area has no room for a container. "
        "Have a drum collected first, or move a delivery. Your fire authority decides what counts.",
        "cabinet": (
            f"{wanted} should be ordered, but its cabinet has no room for a container. Use up "
            "what is in it first, or keep it in another cabinet."
        ),
        "minimum": (
            f"{wanted} should be ordered. The supplier takes no order below {least}, and there is "
            "no room for that much. Ask for a smaller order, or try another supplier."
        ),
    }.get(
        plan.buy.limit,
        f"{wanted} should be ordered, but not one more container may be kept (at most {most}). "
        "Make room, or raise the limit in the item's settings.",
    )


def _later_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    if not plan.is_used:
        return NO_USE
    if plan.order_by is None or (plan.order_by - today).days > LOOKED_AHEAD_DAYS:
        return ""
    return _with_counted(f"Order by {day_words(plan.order_by, today)}", plan, room)


def _with_counted(text: str, plan: ItemPlan, room: RoomRow) -> str:
    counted = counted_words(plan, room)
    return f"{text}; {counted}." if counted else f"{text}."


def _late_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    order = plan.overdue[0]
    left = quantity(order.outstanding, plan.state, room)
    if order.expected_on is None:
        placed = day_words(order.placed_on, today)
        return (
            f"{left} of order {order.order} of {placed} should have come. Ask when the rest will."
        )
    since = day_words(order.expected_on, today)
    return f"{left} of order {order.order} should have come on {since}. Ask when it will arrive."


def _spoiled_words(plan: ItemPlan, today: date, room: RoomRow) -> str:
    lot = next(lot for lot in plan.lots if lot.is_expired or lot.spoils > 0)
    amount = quantity(whole_up(lot.spoils, plan.state), plan.state, room)
    known = plan.state.lot(lot.lot)
    if known is not None and known.held:
        return f"{amount} of lot {lot.lot} are held: {known.held_reason.rstrip('.')}."
    if lot.is_expired:
        return f"{amount} of lot {lot.lot} were good until {day_words(lot.use_by, today)}."
    return f"{amount} of lot {lot.lot} will not be used by {day_words(lot.use_by, today)}."


def _new_words(plan: ItemPlan, _: date, __: RoomRow) -> str:
    if plan.state.first_week is None:
        return "No use yet. Enter what is there, and set a reorder point."
    return "No use is known. Order a first quantity, or set a reorder point."


_SAY: Mapping[Standing, Callable[[ItemPlan, date, RoomRow], str]] = {
    "short": threat_words,
    "none": _none_words,
    "recount": lambda *_: "More was used than the books had.",
    "low": _order_words,
    "full": _full_words,
    "late": _late_words,
    "expired": _spoiled_words,
    "expiring": _spoiled_words,
    "new": _new_words,
    "soon": _order_words,
    "ok": _later_words,
}
