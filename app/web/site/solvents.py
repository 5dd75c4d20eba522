"""Solvents of the site's own: what their data sheets say, and what a sheet leaves open."""

import uuid
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.roomlog.kinds.solvents import OWN_SOLVENTS, OwnSolvent
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.own import BOUNDS, Sheet, missing, sheet_of
from app.domain.storage import CATEGORIES, category_of_solvent
from app.services.storage import flammable_to_c
from app.store.solvents import own_solvents
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label

router = APIRouter(prefix="/rooms/{room}/solvents")
TEMPLATE = "site/solvents.html"
FIGURES = (*BOUNDS, "sheet_on")


@dataclass(frozen=True)
class OwnView:
    """An own solvent: its figures in words, its category, and what its sheet leaves open."""

    key: str
    name: str
    figures: tuple[tuple[str, str], ...]
    category: str
    missing: tuple[str, ...]


@router.get("")
def solvents(visit: VisitDep) -> Response:
    """The own solvents, and the form of another one or of a new sheet."""
    sheet = sheet_of(visit.request.query_params.get("sheet", ""))
    return visit.page(TEMPLATE, _context(visit, FormState(_typed(visit, sheet))))


@router.post("")
def add_sheet(visit: VisitDep, typed: FormDep) -> Response:
    """Enter a solvent, or the new sheet of one."""
    sent = {**typed, "own_solvents": OWN_SOLVENTS, "by": visit.person}
    try:
        entry = read_entry(OwnSolvent.kind, sent, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, form_of(back, typed)), 422)
    return RedirectResponse(visit.address("solvents") + "?saved=1", 303)


def _typed(visit: Visit, sheet: Sheet | None) -> dict[str, str]:
    """The figures of a sheet as the form shows them."""
    if sheet is None:
        return {}
    specs, shown = OwnSolvent.specs(), {"name": sheet.name}
    for name in FIGURES:
        if (value := getattr(sheet, name)) is not None:
            shown[name] = text_of(specs[name], value, visit.room)
    return shown | ({"has_no_flash": "on"} if sheet.has_no_flash else {})


def _context(visit: Visit, form: FormState) -> dict[str, Any]:
    specs = OwnSolvent.specs()
    keys = own_solvents(visit.session, visit.room_id).keys
    return {
        "views": [view for key in keys if (view := _view(visit, key)) is not None],
        "form": form,
        "specs": specs,
        "figures": FIGURES,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "is_saved": "saved" in visit.request.query_params,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def _view(visit: Visit, key: str) -> OwnView | None:
    sheet, liquid = sheet_of(key), SOLVENTS.get(key)
    if sheet is None or liquid is None:
        return None
    specs, typed = OwnSolvent.specs(), _typed(visit, sheet)
    figures = tuple(
        (specs[name].label, f"{typed[name]} {unit_label(specs[name], visit.room)}".strip())
        for name in FIGURES
        if name in typed
    )
    category = _category(liquid, flammable_to_c(visit.session, visit.room_id))
    return OwnView(key, sheet.name, figures, category, tuple(missing(sheet)))


def _category(liquid: Solvent, to_c: float) -> str:
    number = category_of_solvent(liquid, to_c)
    if number is None:
        return "Not a flammable liquid by its flash point"
    if liquid.is_flash_unknown:
        return f"Taken as category {number} until its flash point is entered"
    return f"Category {number}: {CATEGORIES[number].words}"
