"""What if: up to four cases side by side on the room's own load, kept by name, shared by link."""

import uuid
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds.spending import WhatIfCase
from app.domain.roomlog.naming import Names
from app.domain.solvents import SOLVENTS
from app.domain.spend.price_book import CaseState
from app.services import door
from app.services.spend.price_book import cases_of, prices_of
from app.services.spend.whatif import Prepared, outcomes_of, room_now
from app.web.below import site_url
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState
from app.web.money import money_of
from app.web.spend import comparing
from app.web.spend.cases import BATH_WORDS, FIELDS, PLACES, of_place, read_case, with_kept
from app.web.spend.comparing import Case

router = APIRouter(prefix="/rooms/{room}/spend/what-if")
TEMPLATE = "spend/whatif.html"
NOW = "As things are now"
ORDERS = {"": "As entered", "cost": "Cheapest first"}
MARKS = ("case", "kept", "submission", "place")  # of the address, but no value of a case


@router.get("")
def whatif_page(visit: VisitDep) -> Response:
    """The cases in the address, beside the room as it is kept."""
    return _page(visit, dict(visit.request.query_params), FormState())


@router.post("/keep")
def keep(visit: VisitDep, typed: FormDep) -> Response:
    """Keep a case under a name."""
    place = typed.get("place", "a")
    values = {name: text for name, text in typed.items() if name[:2] in ("a_", "b_", "c_")}
    values |= {"order": typed.get("order", "")}
    try:
        entry = _case_to_keep(visit, place if place in PLACES else PLACES[0], values)
        door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, values, FormState(values, error.by_field()), 422)
    asked = {name: text for name, text in values.items() if text} | {"kept": entry.name}
    return RedirectResponse(visit.address("spend", "what-if") + f"?{urlencode(asked)}", 303)


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
    door.enter(visit.store, visit.room.key, [entry], visit.now, None)
    return RedirectResponse(visit.address("spend", "what-if"), 303)


def _case_to_keep(visit: Visit, place: str, values: Mapping[str, str]) -> WhatIfCase:
    """The entry that a sound case with a name becomes.

    Raises:
        FieldErrors: it has no name, changes nothing, or does not fit.
    """
    prices = room_now(visit.session, visit.room, visit.now).prices
    changes = read_case(place, values, prices)
    name, case = values.get(f"{place}_name", "").strip(), f"Case {place.upper()}"
    if not name:
        raise FieldErrors([FieldError(f"{place}_name", f"{case}: give it a name to keep it.")])
    if not changes:
        message = f"{case}: nothing has been changed yet, so there is nothing to keep."
        raise FieldErrors([FieldError(f"{place}_name", message)])
    key = _key(name, cases_of(visit.session, visit.room_id))
    return WhatIfCase(at=visit.now, by=visit.person, what_if=key, name=name, changes=changes)


def _key(name: str, known: Mapping[str, CaseState]) -> str:
    """A kept case of the same name is brought up to date; another never is."""
    return Names((key, case.name) for key, case in known.items()).key_for(name)


def _page(visit: Visit, asked: dict[str, str], form: FormState, status: int = 200) -> Response:
    kept = cases_of(visit.session, visit.room_id)
    prepared = room_now(visit.session, visit.room, visit.now)
    values, has_place = with_kept(
        {name: text for name, text in asked.items() if name not in MARKS},
        kept.get(asked.get("case", "")),
    )
    changes, errors = _read_all(values, prepared)
    cases = _worked_out(visit, values, changes)
    errors |= form.errors
    money = money_of(prices_of(visit.session, visit.room_id))
    shown = comparing.in_order(cases, values.get("order", ""))
    context = {
        "form": FormState(values, errors), "places": PLACES, "fields": FIELDS, "money": money,
        "baths": list(BATH_WORDS.items()), "kept": kept, "prepared": prepared, "cases": shown,
        "solvents": [("", "as now"), *((key, one.name) for key, one in SOLVENTS.items())],
        "rows": comparing.rows(shown, money) if shown else [],
        "chart": comparing.chart(shown, money), "headline": comparing.headline(shown, money)
        if shown else "",
        "repeat": comparing.repeat_rows(prepared.repeat, money),
        "repeat_words": comparing.repeat_words(prepared.repeat, prepared.weeks),
        "assumes": comparing.by_case(shown, lambda one: one.assumes),
        "cautions": comparing.by_case(shown, lambda one: one.cautions),
        "submission": uuid.uuid4().hex, "was_kept": asked.get("kept", ""),
        "has_place": has_place,
        "is_gone": bool(asked.get("case")) and asked["case"] not in kept, **_links(visit, values),
    }  # fmt: skip
    return visit.page(TEMPLATE, context, 422 if errors else status)


def _read_all(
    values: Mapping[str, str], prepared: Prepared
) -> tuple[dict[str, dict[str, Any]], dict[str, str]]:
    """The changes of each case that says something, by place; and what does not fit."""
    changes: dict[str, dict[str, Any]] = {}
    errors: dict[str, str] = {}
    for place in PLACES:
        try:
            found = read_case(place, values, prepared.prices)
        except FieldErrors as error:
            errors |= error.by_field()
            continue
        if found or values.get(f"{place}_name", "").strip():
            changes[place] = found
    return changes, errors


def _worked_out(
    visit: Visit, values: Mapping[str, str], changes: Mapping[str, Mapping[str, Any]]
) -> list[Case]:
    """The room as it is kept and each sound case with what comes of it; none without a bath."""
    if room_now(visit.session, visit.room, visit.now).missing:
        return []
    found = outcomes_of(visit.session, visit.room, visit.now, {"": {}, **changes})
    if not found:
        return []
    cases = [Case("", NOW, found[""])]
    for place, case in changes.items():
        name = values.get(f"{place}_name", "").strip()
        title = f"{place.upper()}: {name}" if name else f"Case {place.upper()}"
        cases.append(Case(place, title, found[place], is_unchanged=not case))
    return cases


def _links(visit: Visit, values: Mapping[str, str]) -> dict[str, Any]:
    """Addresses that keep all cases: ordered otherwise, with a case cleared, with one added."""
    page = visit.address("spend", "what-if")
    full = {name: text for name, text in values.items() if text and text != "as_now"}

    def link(**changed: str) -> str:
        asked = {name: text for name, text in (full | changed).items() if text}
        return f"{page}?{urlencode(asked)}" if asked else page

    order = full.get("order", "")
    cleared = {place: dict.fromkeys(of_place(place, full), "") for place in PLACES}
    return {
        "order": order,
        "orders": [(link(order=key), text, key == order) for key, text in ORDERS.items()],
        "clear": {place: link(**names) for place, names in cleared.items() if names},
        "link": site_url(visit.request) + link(),
        "show_kept": {key: link(case=key) for key in cases_of(visit.session, visit.room_id)},
    }
