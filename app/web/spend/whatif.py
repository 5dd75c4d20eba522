"""What if: up to four cases side by side on the room's own load, kept by name, shared by link."""

import re
import uuid
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds.spending import CASE_NUMBERS, CASE_WORDS, WhatIfCase, check_case
from app.domain.solvents import SOLVENTS
from app.domain.spend.whatif import Outcome, Room
from app.services import roomlog
from app.services.spend.rates import cases_of, prices_of
from app.services.spend.whatif import outcomes, room_now
from app.units import parse_number
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState
from app.web.money import money_of

router = APIRouter(prefix="/rooms/{room}/spend/what-if")
TEMPLATE = "spend/whatif.html"
PLACES = ("a", "b", "c")  # the first of the four is the room as it is kept
NOW = "As it is kept now"
FIELDS = {
    "limit_percent": ("Swap limit", "mass %"),
    "size_percent": ("Bath size", "% of now"),
    "renew_percent": ("Renewed at the limit, instead of all of it", "% of the bath"),
    "container_l": ("Container", "L"),
    "container_price": ("Price of a container", "money"),
    "disposal_per_drum": ("Disposal, per drum", "money"),
    "disposal_per_kg": ("Disposal, per kg", "money"),
    "recovery_percent": ("Solvent got back by a still", "% of the waste's"),
    "recovery_per_l": ("Cost of that, per litre", "money"),
}
BATH_WORDS = {"as_now": "as now", "single": "single baths", "paired": "dirty and clean pairs"}
NAME = re.compile(r"[^A-Za-z0-9]+")


@router.get("")
def whatif_page(visit: VisitDep) -> Response:
    """The cases in the address, beside the room as it is kept."""
    return _page(visit, dict(visit.request.query_params), FormState())


@router.post("/keep")
def keep(visit: VisitDep, typed: FormDep) -> Response:
    """Keep a case under a name, or take it off the list."""
    place = typed.get("place", "a")
    values = {name: text for name, text in typed.items() if name[:2] in ("a_", "b_", "c_")}
    try:
        name = typed.get(f"{place}_name", "").strip()
        if place not in PLACES or not name:
            raise FieldErrors([FieldError(f"{place}_name", "Give the case a name to keep it.")])
        changes = read_case(place, values)
        key = NAME.sub("-", name).strip("-")[:60].lower() or uuid.uuid4().hex[:12]
        entry = WhatIfCase(
            at=visit.now, by=visit.person, what_if=key, name=name[:200], changes=changes
        )
        roomlog.record(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, values, FormState(values, error.by_field()), 422)
    asked = urlencode({name: text for name, text in values.items() if text} | {"kept": key})
    return RedirectResponse(visit.address("spend", "what-if") + f"?{asked}", 303)


@router.post("/drop/{case}")
def drop(visit: VisitDep, case: str) -> Response:
    """Take a kept case off the list."""
    known = cases_of(visit.session, visit.room_id).get(case)
    if known is None:
        raise NotFound("There is no such case.")
    entry = WhatIfCase(
        at=visit.now, by=visit.person, what_if=case, name=known.name,
        changes=dict(known.changes), is_removed=True,
    )  # fmt: skip
    roomlog.record(visit.store, visit.room.key, [entry], visit.now, None)
    return RedirectResponse(visit.address("spend", "what-if"), 303)


def read_case(place: str, values: Mapping[str, str]) -> dict[str, Any]:
    """The changes typed for one of the cases.

    Raises:
        FieldErrors: with a message for each field that does not fit.
    """
    errors: list[FieldError] = []
    changes: dict[str, Any] = {}
    for name in (*CASE_NUMBERS, *CASE_WORDS, "solvent"):
        text = values.get(f"{place}_{name}", "").strip()
        if not text or text == "as_now":
            continue
        try:
            value: Any = parse_number(text) if name in CASE_NUMBERS else text
            changes |= check_case({name: value})
        except (FieldError, ValueError) as error:
            said = error.message if isinstance(error, FieldError) else str(error)
            errors.append(FieldError(f"{place}_{name}", said))
    if errors:
        raise FieldErrors(errors)
    return changes


def _page(visit: Visit, values: dict[str, str], form: FormState, status: int = 200) -> Response:
    kept = cases_of(visit.session, visit.room_id)
    values = _with_kept(values, kept)
    errors = dict(form.errors)
    cases: dict[str, dict[str, Any]] = {NOW: {}}
    shown: list[tuple[str, str]] = [("", NOW)]
    for place in PLACES:
        try:
            changes = read_case(place, values)
        except FieldErrors as error:
            errors |= error.by_field()
            continue
        if changes:
            name = f"{place.upper()}: {values.get(f'{place}_name', '').strip() or 'unnamed'}"
            cases[name] = changes
            shown.append((place, name))
    room = room_now(visit.session, visit.room, visit.now)
    for place, name in shown[1:]:
        if (message := _without_price(room, cases[name])) is not None:
            errors[f"{place}_container_price"] = message
            del cases[name]
    shown = [(place, name) for place, name in shown if name in cases]
    found = outcomes(room, cases) if room.baths else {}
    money = money_of(prices_of(visit.session, visit.room_id))
    context = {
        "form": FormState(values, errors), "places": PLACES, "fields": FIELDS,
        "baths": list(BATH_WORDS.items()), "money": money, "kept": kept,
        "solvents": [("", "as now"), *((key, one.name) for key, one in SOLVENTS.items())],
        "cases": [(place, name, found[name]) for place, name in shown] if found else [],
        "rows": _rows(found, money), "chart": _chart(found), "room_now": room,
        "submission": uuid.uuid4().hex, "link": str(visit.request.url),
        "was_kept": values.get("kept", ""),
        "sure": round(100 * 1.645 * room.prices.relative_sd),
    }  # fmt: skip
    return visit.page(TEMPLATE, context, 422 if errors else status)


def _without_price(room: Room, changes: Mapping[str, Any]) -> str | None:
    """What is missing to price a case's solvent; None where its price is known."""
    solvent = changes.get("solvent")
    if solvent is None or solvent in room.prices.solvent_cents_per_l:
        return None
    if "container_price" in changes and (changes.get("container_l") or room.prices.container_l):
        return None
    return "Nobody has bought this solvent here yet: give the size and price of a container."


def _with_kept(values: dict[str, str], kept: Mapping[str, Any]) -> dict[str, str]:
    """A kept case asked for in the address is written into the first free column."""
    key = values.pop("case", "")
    if key not in kept:
        return values
    used = {name[0] for name, text in values.items() if name[1:2] == "_" and text}
    place = next((one for one in PLACES if one not in used), PLACES[-1])
    case = kept[key]
    shown = {
        f"{place}_{name}": f"{value:g}" if isinstance(value, float | int) else str(value)
        for name, value in case.changes.items()
    }
    return values | shown | {f"{place}_name": case.name}


def _rows(found: Mapping[str, Outcome], money: Any) -> list[tuple[str, list[str]]]:
    """The table of outcomes, a line for each figure."""
    every = list(found.values())
    if not every:
        return []
    first = every[0]
    return [
        ("Cost in a year", [money(one.cents) for one in every]),
        ("Likely between (90 %)", [f"{money(o.low_cents)} and {money(o.high_cents)}"
                                   for o in every]),
        ("Against now", ["", *(money.signed(one.cents - first.cents) for one in every[1:])]),
        ("Solvent", [money(one.parts["solvent"]) for one in every]),
        ("Disposal", [money(one.parts["disposal"]) for one in every]),
        ("Labour", [f"{money(o.parts['labour'])}, {o.labour_h:.0f} h" for o in every]),
        ("Recovery", [money(one.parts["recovery"]) for one in every]),
        ("Swaps", [str(one.swaps) for one in every]),
        ("Fresh solvent into baths", [f"{one.fresh_l:.0f} L" for one in every]),
        ("Containers bought", [str(one.containers) for one in every]),
        ("Waste", [f"{one.waste_kg:.0f} kg" for one in every]),
        ("Resin left on parts", [f"{one.residue_g:.0f} g" for one in every]),
    ]  # fmt: skip


def _chart(found: Mapping[str, Outcome]) -> list[dict[str, Any]]:
    """Each case's cost and range in percent of the widest."""
    highest = max((one.high_cents for one in found.values()), default=0) or 1
    return [
        {
            "name": name, "width": round(100 * one.cents / highest, 1),
            "low": round(100 * one.low_cents / highest, 1),
            "high": round(100 * one.high_cents / highest, 1), "cents": one.cents,
        }
        for name, one in found.items()
    ]  # fmt: skip
