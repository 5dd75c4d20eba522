"""The cure recipe of each resin: a dose, or a time at a reference output, and what goes with it."""

import re
import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.curing.recipes import RecipeState
from app.domain.curing.working_curve import WorkingCurve, fit_curve
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds.curing import CureRecipe
from app.services.acts.curing import record_station
from app.services.curing import stations as curing
from app.services.curing.checks import entry_problems
from app.services.curing.doubts import RecipeDoubt, recipe_doubt
from app.store import queries
from app.units import parse_number
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.curing.words import units_of_fields
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.tanks.points import points_text

router = APIRouter(prefix="/rooms/{room}/cure/recipes")
NUMBERS = (
    "dose_mj_cm2", "reference_minutes", "reference_mw_cm2", "wavelength_nm", "temperature_c",
    "least_mw_cm2", "longest_minutes", "dry_minutes",
)  # fmt: skip
PAIR = "Write the exposure in mJ/cm², a semicolon and the cured depth in mm."
MOST_PAIRS = 50


@router.get("")
def recipes_page(visit: VisitDep) -> Response:
    """The recipes of all resins."""
    context = {
        "names": visit.resin_names(),
        "recipes": curing.recipes(visit.session, visit.room_id),
        "temperatures": _temperatures(visit),
        "saved": visit.request.query_params.get("saved", ""),
    }
    return visit.page("curing/recipes.html", context)


@router.get("/{resin}")
def recipe_form(visit: VisitDep, resin: str) -> Response:
    """The recipe of a resin, to be changed."""
    recipe = curing.recipes(visit.session, visit.room_id).get(resin)
    return _form(visit, resin, FormState(_shown(visit, recipe) if recipe else {}))


@router.post("/{resin}")
def store_recipe(visit: VisitDep, resin: str, typed: FormDep) -> Response:
    """Store the recipe as it stands on the form."""
    _name(visit, resin)
    if typed.get("as_dose"):
        typed = {**typed, "dose_mj_cm2": typed["as_dose"]}
    doubt: RecipeDoubt | None = None
    try:
        kept = _curve(typed.get("working_curve", ""))
        values = {**typed, "resin": resin}
        entry = read_entry(CureRecipe.kind, values, visit.room, visit.person, visit.now, kept)
        assert isinstance(entry, CureRecipe)
        problems = entry_problems(visit.session, visit.room_id, entry)
        if problems and not visit.is_repeated(typed):
            raise FieldErrors(problems)
        doubt = _doubt(visit, entry)
        texts = doubt.texts if doubt else ()
        ask(visit, typed, [entry], lambda: texts)
        record_station(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _form(visit, resin, form_of(back, typed), 422, doubt)
    return go_on(visit.address("cure", "recipes") + f"?saved={resin}", entry.by)


def _doubt(visit: Visit, entry: CureRecipe) -> RecipeDoubt | None:
    names = visit.resin_names()
    return recipe_doubt(visit.session, visit.room_id, entry, names, visit.now)


def _curve(text: str) -> dict[str, Any]:
    """The measured working curve, a pair a line.

    Raises:
        FieldErrors: a line that is no pair, or pairs through which no curve goes.
    """
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines:
        return {"working_curve": None}
    try:
        pairs = [_pair(number, line) for number, line in enumerate(lines, 1)]
        if len(pairs) > MOST_PAIRS:
            raise ValueError(f"At most {MOST_PAIRS} pairs.")
        fit_curve(pairs)
    except (FieldError, ValueError) as error:
        message = error.message if isinstance(error, FieldError) else str(error)
        raise FieldErrors([FieldError("working_curve", message)]) from None
    return {"working_curve": pairs}


def _pair(number: int, line: str) -> tuple[float, float]:
    parts = re.split(r"[;\t]", line.strip().rstrip(";"))
    if len(parts) != 2:
        raise FieldError("working_curve", f"Line {number}: {PAIR}")
    try:
        exposure, depth = (parse_number(part) for part in parts)
    except FieldError as error:
        raise FieldError("working_curve", f"Line {number}: {error.message}") from None
    return exposure, depth


def _name(visit: Visit, resin: str) -> str:
    names = visit.resin_names()
    if resin not in names:
        raise NotFound(f"There is no resin “{resin[:64]}” in this room.")
    return names[resin]


def _shown(visit: Visit, recipe: RecipeState) -> dict[str, str]:
    specs = CureRecipe.specs()
    shown = {
        name: text_of(specs[name], value, visit.room)
        for name in NUMBERS
        if (value := getattr(recipe, name)) is not None
    }
    if recipe.reference_minutes is not None:
        del shown["dose_mj_cm2"]  # worked out from the time, not entered
    shown |= {
        "preparation": recipe.preparation,
        "turn_half_way": "on" if recipe.turn_half_way else "",
    }
    return shown | {"working_curve": points_text(recipe.working_curve)}


def _temperatures(visit: Visit) -> dict[str, str]:
    spec = CureRecipe.specs()["temperature_c"]
    unit = unit_label(spec, visit.room)
    return {
        key: f"{text_of(spec, recipe.temperature_c, visit.room)} {unit}"
        for key, recipe in curing.recipes(visit.session, visit.room_id).items()
        if recipe.temperature_c is not None
    }


def _fitted(recipe: RecipeState | None) -> WorkingCurve | None:
    if recipe is None or not recipe.working_curve:
        return None
    try:
        return fit_curve(recipe.working_curve)
    except ValueError:  # entered elsewhere, and no curve
        return None


def _form(
    visit: Visit, resin: str, form: FormState, status: int = 200, doubt: RecipeDoubt | None = None
) -> Response:
    specs = CureRecipe.specs()
    recipe = curing.recipes(visit.session, visit.room_id).get(resin)
    context = {
        "resin": resin,
        "resin_name": _name(visit, resin),
        "recipe": recipe,
        "curve": _fitted(recipe),
        "meant": f"{doubt.dose_mj_cm2:.0f}" if doubt and doubt.dose_mj_cm2 else "",
        "people": queries.people(visit.session, visit.room_id),
        "form": form,
        "specs": specs,
        "units": units_of_fields(specs, visit.room),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("curing/recipe.html", context, status)
