"""One item of the order list: how much, in which containers, by when and why."""

from dataclasses import dataclass

from app.domain.supplies.plan import ItemPlan, Standing
from app.services.supplies.shelf import Shelf
from app.web.deps import Visit
from app.web.forms import FormState
from app.web.money import Money
from app.web.supplies import advice, words

SAID: tuple[Standing, ...] = ("short", "none", "late", "full", "new")


@dataclass(frozen=True)
class ToOrder:
    """An item on the order list."""

    plan: ItemPlan
    quantity: str
    typed: str
    pack: str
    order_by: str
    why: str
    cost: str
    unit: str
    is_ticked: bool
    counted: str


def to_order(
    visit: Visit,
    shelf: Shelf,
    plan: ItemPlan,
    form: FormState,
    is_sent: bool,
    money: Money,
) -> ToOrder:
    """An item as its line of the order list shows it, with what was typed where it was sent."""
    state, room, key = plan.state, visit.room, plan.state.key
    said = advice.remark(plan, shelf.today, room)
    is_known = plan.buy.quantity > 0
    typed = words.typed_quantity(plan.buy.quantity, state, room) if is_known else ""
    return ToOrder(
        plan,
        words.quantity(plan.buy.quantity, state, room),
        form.value(f"quantity.{key}") if is_sent else typed,
        words.containers_words(plan.buy.containers, state, room),
        words.day_words(plan.order_by, shelf.today),
        _why(plan, said.text, is_known),
        money(plan.buy.cost_cents),
        words.unit_of(state, room),
        bool(form.value(f"take.{key}")) if is_sent else _is_ticked(plan),
        advice.counted_words(plan, room),
    )


def _is_ticked(plan: ItemPlan) -> bool:
    return plan.needs_order and plan.buy.quantity > 0 and bool(plan.state.rules.supplier)


def _why(plan: ItemPlan, said: str, is_known: bool) -> str:
    """What stands beside an item to order: its first remark, what cut the quantity, no supplier."""
    texts = [
        said if plan.standing in SAID or not is_known else "",
        advice.CUT_WORDS.get(plan.buy.limit, "") if is_known else "",
        "" if plan.state.rules.supplier else advice.NO_SUPPLIER,
    ]
    return " ".join(text for text in texts if text)
