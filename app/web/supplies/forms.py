"""Forms about an item's stock to entries, in the room's units and by the room's calendar."""

from collections.abc import Mapping

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.supplies import StockEntry
from app.domain.supplies.state import ItemState
from app.units import from_display, parse_number
from app.web.deps import Visit
from app.web.filters import units_of
from app.web.forms import read_entry


def read_stock(kind: str, typed: Mapping[str, str], state: ItemState, visit: Visit) -> StockEntry:
    """The entry that a form about an item's stock describes, its quantity in the room's unit.

    Raises:
        FieldErrors: with a message for each field that does not fit.
    """
    values = {**typed, "item": state.key}
    problem = None
    if (text := typed.get("quantity", "").strip()) != "":
        try:
            amount = parse_number(text)
        except FieldError as error:
            problem = FieldError("quantity", error.message)
        else:
            problem = _amount_problem(kind, amount)
            if state.unit == "L":
                amount = from_display(amount, "volume", units_of(visit.room))
            values["quantity"] = repr(round(amount, 6))
    if problem is not None:
        values["quantity"] = "1"
    try:
        entry = read_entry(kind, values, visit.room, visit.person, visit.now)
    except FieldErrors as error:
        raise FieldErrors(([problem] if problem else []) + error.errors) from None
    if problem is not None:
        raise FieldErrors([problem])
    assert isinstance(entry, StockEntry)
    if early := _early(entry, visit):
        raise FieldErrors([early])
    return entry


def _early(entry: StockEntry, visit: Visit) -> FieldError | None:
    """A day that lies before the entry's own in the room."""
    day = entry.at.astimezone(visit.zone).date()
    expected_on = getattr(entry, "expected_on", None)
    if expected_on is not None and expected_on < day:
        return FieldError("expected_on", "This day is before the order.")
    return None


def _amount_problem(kind: str, amount: float) -> FieldError | None:
    if kind == "stock_counted" and amount < 0:
        return FieldError("quantity", "Enter 0 or more.")
    if kind != "stock_counted" and amount <= 0:
        return FieldError("quantity", "Enter more than 0.")
    return None
