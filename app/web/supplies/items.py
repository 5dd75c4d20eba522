"""Setting an item on the shelf up, and changing how it is bought, kept and used."""

import json
import uuid
from functools import partial
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import CATEGORIES, ITEM, UNITS, Item, ItemChanged
from app.domain.supplies.state import ItemState
from app.services.supplies.stock import unit_words
from app.store.solvents import solvents_here
from app.store.things import things
from app.units import from_display, label, parse_number
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.filters import units_of
from app.web.forms import FormDep, FormState, key_of_new, read_entry, refuse_double, text_of
from app.web.kinds.places import item_of
from app.web.supplies import words
from app.web.tanks.purity import beside, note_of, purity_of

router = APIRouter(prefix="/rooms/{room}/shelf")
PLACE = ("location", "supplier")
IN_ITS_UNIT = ("reorder_at", "order_minimum", "max_on_shelf", "used_per_swap")
FIGURES = (
    "reorder_at", "used_per_swap", "order_minimum", "max_on_shelf", "shelf_life_days",
    "opened_life_days",
    "lead_days", "lead_sd_days", "service_percent", "list_price_cents", "order_cost_cents",
    "holding_percent",
)  # fmt: skip


@router.get("/new")
def new_item(visit: VisitDep) -> Response:
    """The form of a new item."""
    key = visit.request.query_params.get("item", "")
    return _form(visit, None, FormState({"category": "protection", "unit": "pair", "item": key}))


@router.post("/new")
def add_item(visit: VisitDep, typed: FormDep) -> Response:
    """Put an item on the shelf's list."""
    items: dict[str, ItemState] = things(visit.session, visit.room_id, ITEM)
    key = key_of_new(typed, "item", [(item.key, item.name) for item in items.values()])
    values = {**typed, "item": key}
    if typed.get("category") != "solvent":
        values |= {"solvent": "", "purity_value": ""}
    try:
        values = purity_of(values, "purity", values.get("solvent", ""))
        entry = _read(Item.kind, values, typed.get("unit", ""), visit)
        if key in items and items[key].name and not visit.is_repeated(typed):
            raise refuse_double(typed, "item", key, "item")
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _form(visit, None, form_of(back, typed, partial(beside, "purity")), 422)
    return RedirectResponse(visit.address("shelf", "items", key), 303)


@router.get("/items/{item}/settings")
def item_settings(visit: VisitDep, item: str) -> Response:
    """The form of an item's settings."""
    state = item_of(visit, item)
    return _form(visit, state, FormState(_shown(state, visit)))


@router.post("/items/{item}/settings")
def change_item(visit: VisitDep, item: str, typed: FormDep) -> Response:
    """Change what was typed anew; what is left as it was is not entered again."""
    state = item_of(visit, item)
    shown = _shown(state, visit)
    changed = {
        name: text
        for name, text in typed.items()
        if name in shown and text.strip() != shown[name] and name != "is_retired"
    }
    errors = {name: EMPTIED for name, text in changed.items() if not text.strip()}
    is_retired = "is_retired" in typed
    kept = {} if is_retired == state.is_retired else {"is_retired": is_retired}
    try:
        if errors:
            raise FieldErrors([FieldError(name, text) for name, text in errors.items()])
        if changed.keys() & {"purity_value", "purity_basis"}:
            changed = purity_of({**changed, **_purity_typed(typed)}, "purity", state.solvent or "")
        if changed or kept:
            entry = _read(ItemChanged.kind, {**changed, "item": item}, state.unit, visit, kept)
            enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _form(visit, state, form_of(back, typed, partial(beside, "purity")), 422)
    return RedirectResponse(visit.address("shelf", "items", item), 303)


EMPTIED = "A setting can be changed but not emptied. Enter its new value."


def _read(
    kind: str, typed: dict[str, str], unit: str, visit: Visit, kept: dict[str, Any] | None = None
) -> Entry:
    """The entry of the form; amounts in the room's unit become the item's."""
    values, errors = dict(typed), []
    is_volume = unit == "L"
    for name in IN_ITS_UNIT:
        if is_volume and values.get(name, "").strip():
            try:
                values[name] = repr(_litres(values[name], name, visit))
            except FieldError as error:
                errors.append(error)
                values[name] = ""
    if (text := values.pop("container_sizes", "").strip()) != "":
        try:
            values["container_sizes"] = json.dumps(_sizes(text, is_volume, visit))
        except FieldError as error:
            errors.append(FieldError("container_sizes", error.message))
    values.setdefault("by", visit.person)
    try:
        entry = read_entry(kind, values, visit.room, visit.person, visit.now, kept)
    except FieldErrors as error:
        raise FieldErrors(errors + error.errors) from None
    if errors:
        raise FieldErrors(errors)
    return entry


def _sizes(text: str, is_volume: bool, visit: Visit) -> list[float]:
    """Sizes apart by spaces or semicolons, such as “18.9 3.8”."""
    parts = text.replace(";", " ").replace(", ", " ").split()
    if is_volume:
        return [_litres(part, "container_sizes", visit) for part in parts]
    return [parse_number(part, "container_sizes") for part in parts]


def _litres(text: str, name: str, visit: Visit) -> float:
    amount = from_display(parse_number(text, name), "volume", units_of(visit.room))
    return round(amount, 6)


def _shown(state: ItemState, visit: Visit) -> dict[str, str]:
    """The settings as the form shows them."""
    specs, rules = ItemChanged.specs(), state.rules
    shown = {"name": state.name, "location": rules.location, "supplier": rules.supplier}
    for name in FIGURES:
        value = getattr(rules, name)
        if value is None:
            shown[name] = ""
        elif name in IN_ITS_UNIT:
            shown[name] = words.typed_quantity(value, state, visit.room)
        else:
            shown[name] = text_of(specs[name], value, visit.room)
    sizes = (words.typed_quantity(size, state, visit.room) for size in state.container_sizes)
    shown["container_sizes"] = " ".join(sizes)
    if state.category == "solvent":
        shown |= _purity_shown(state)
    shown["is_retired"] = "on" if state.is_retired else ""
    return shown


def _purity_shown(state: ItemState) -> dict[str, str]:
    """The purity as it was entered; without one, nothing."""
    by_mass, by_volume = state.purity_percent, state.purity_volume_percent
    figure = by_mass if by_volume is None else by_volume
    if figure is None:
        return {"purity_value": "", "purity_basis": ""}
    basis = "mass_percent" if by_volume is None else "volume_percent"
    return {"purity_value": f"{figure:g}", "purity_basis": basis}


def _purity_typed(typed: dict[str, str]) -> dict[str, str]:
    return {name: typed.get(name, "") for name in ("purity_value", "purity_basis")}


def _form(visit: Visit, state: ItemState | None, form: FormState, status: int = 200) -> Response:
    specs, here = Item.specs(), solvents_here(visit.session, visit.room_id)
    volume = label("volume", units_of(visit.room))
    currency = words.money_here(visit).unit
    units = {name: _unit(specs[name], name, state, volume) for name in FIGURES}
    per = f"a {'litre' if state.unit == 'L' else state.unit}" if state else "one unit, a litre"
    units |= {"order_cost_cents": currency, "list_price_cents": f"{currency} for {per}".strip()}
    context = {
        "state": state,
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        "specs": specs,
        "figures": FIGURES,
        "units": units,
        "categories": [(key, words.CATEGORY_WORDS[key]) for key in CATEGORIES],
        "counted_in": [(unit, volume if unit == "L" else unit_words(unit)) for unit in UNITS],
        "solvents": [("", "none"), *((key, one.name) for key, one in here.items())],
        "volume": volume,
        "purity_note": note_of(
            form.values, "purity", (state.solvent if state else form.value("solvent")) or ""
        ),
    }
    return visit.page("supplies/settings.html", context, status)


def _unit(spec: FieldSpec, name: str, state: ItemState | None, volume: str) -> str:
    if name not in IN_ITS_UNIT:
        return spec.unit
    if state is None:
        return "in its unit"
    return volume if state.unit == "L" else unit_words(state.unit)
