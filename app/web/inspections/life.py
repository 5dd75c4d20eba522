"""How long parts last, how often to look, and what becomes of originals of photos."""

import uuid
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.inspections.advice import Assumptions, cheapest, intervals
from app.domain.inspections.components import lifetimes
from app.domain.inspections.terms import PART_NAMES
from app.domain.life import FEWEST_FOR_FIT, Step, Weibull, fit_weibull, kaplan_meier, median_days
from app.domain.roomlog.kinds.inspections import COMPONENT, PHOTO_RULES, PhotoRules
from app.domain.roomlog.kinds.spending import PRICES
from app.domain.spend.price_book import PricesState
from app.services import door
from app.services.incidents.holds import lead_problems
from app.services.inspections.belonging import strip
from app.store.site import crew
from app.store.things import thing, things
from app.units import parse_number
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.money import money_of

router = APIRouter(prefix="/rooms/{room}/parts/life")
TEMPLATE = "inspections/life.html"
LEFT, RIGHT, TOP, BOTTOM = 60.0, 980.0, 20.0, 300.0
START = {"look": "15", "stop": "300", "delay_days": "60", "swap_days": "14"}
ASKED = {
    "look": ("A look costs", "", 0.0, 1e6),
    "stop": ("An unplanned stop costs", "", 0.0, 1e7),
    "delay_days": ("From visible wear to a stop, on average", "days", 0.1, 3650.0),
    "swap_days": ("Days from swap to swap", "days", 0.5, 3650.0),
}


@dataclass(frozen=True)
class Curve:
    """The curve as paths of a drawing 1000 wide and 340 high, with its ticks."""

    line: str
    band: str
    fit: str
    ticks: list[tuple[float, str]]


@router.get("")
def life_page(visit: VisitDep) -> Response:
    """Time to replacement of one kind of part, and what it says about looking."""
    return _page(visit, FormState())


@router.post("/originals")
def originals(visit: VisitDep, typed: FormDep) -> Response:
    """A lead says whether originals are kept; where not, those that lie there are deleted."""
    keeps = typed.get("keep") == "yes"
    try:
        errors = lead_problems(visit.session, visit.room_id, typed.get("lead", ""))
        if typed.get("keep") not in ("yes", "no"):
            errors.append(FieldError("keep", "Choose one."))
        if errors:
            raise FieldErrors(errors)
        sent = {"rules": PHOTO_RULES, "lead": typed["lead"]}
        kept = {"keep_originals": keeps}
        entry = read_entry(PhotoRules.kind, sent, visit.room, visit.person, visit.now, kept)
        door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, FormState(typed, error.by_field()), 422)
    if not keeps:
        visit.session.rollback()  # read what has just been stored
        strip(visit.session, visit.photos, visit.room_id)
    return RedirectResponse(visit.address("parts", "life"), 303)


def _page(visit: Visit, rules_form: FormState, status: int = 200) -> Response:
    asked = visit.request.query_params
    states = list(things(visit.session, visit.room_id, COMPONENT).values())
    present = [part for part in PART_NAMES if any(state.part == part for state in states)]
    part = asked.get("part", "")
    part = part if part in present else (present[0] if present else "")
    lives = lifetimes(states, part, visit.now)
    steps, fit = kaplan_meier(lives), fit_weibull(lives)
    typed = {name: asked.get(name, start) for name, start in START.items()}
    money = money_of(thing(visit.session, visit.room_id, PRICES, PRICES) or PricesState())
    given, errors = _assumptions(typed, money.per_unit)
    sitting = sum(state.part == part and not state.is_retired for state in states)
    options = intervals(fit.mean_days, sitting, given) if fit and given and sitting else []
    context: dict[str, Any] = {
        "present": [(one, PART_NAMES[one]) for one in present],
        "part": part,
        "name": PART_NAMES.get(part, ""),
        "plural": _plural(PART_NAMES.get(part, "")),
        "lives": lives,
        "worn": sum(life.is_worn for life in lives),
        "unknown": sum(state.part == part and state.fitted_at is None for state in states),
        "fewest": FEWEST_FOR_FIT,
        "steps": steps,
        "median": median_days(steps),
        "fit": fit,
        "curve": _curve(steps, fit, max((life.days for life in lives), default=0.0)),
        "options": options,
        "best": cheapest(options) if options else None,
        "other": options[1 if cheapest(options).swaps == 1 else 0] if options else None,
        "money": money,
        "swap_days": given.swap_days if given else None,
        "next": _next(states, part, fit, given, visit),
        "form": FormState(typed, errors),
        "asked": {n: (text, unit or money.unit) for n, (text, unit, *_) in ASKED.items()},
        "rules": thing(visit.session, visit.room_id, PHOTO_RULES, PHOTO_RULES),
        "rules_form": rules_form,
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "submission": uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)


def _plural(name: str) -> str:
    """The parts of a kind in the middle of a sentence: O keeps its shape in O-rings."""
    text = name if name.startswith("O-") else name.lower()
    return text if text.endswith("s") else f"{text}s"


def _assumptions(typed: dict[str, str], per_unit: int) -> tuple[Assumptions | None, dict[str, str]]:
    values, errors = {}, {}
    for name, (label, unit, low, high) in ASKED.items():
        try:
            values[name] = parse_number(typed[name])
        except FieldError as error:
            errors[name] = error.message
            continue
        if not low <= values[name] <= high:
            errors[name] = f"{label}: {low:g} to {high:g} {unit}".strip() + "."
    if errors:
        return None, errors
    look, stop = round(per_unit * values["look"]), round(per_unit * values["stop"])
    return Assumptions(look, stop, values["delay_days"], values["swap_days"]), {}


def _next(
    states: list[Any], part: str, fit: Weibull | None, given: Assumptions | None, visit: Visit
) -> list[tuple[str, float, float]]:
    """Each part in service: its age in days, the chance in percent of wear by the next swap."""
    if fit is None or given is None:
        return []
    found = []
    for state in states:
        if state.part == part and state.fitted_at is not None and not state.is_retired:
            age = max((visit.now - state.fitted_at).total_seconds() / 86400, 0.0)
            where = state.tank or state.station
            chance = 100 * fit.chance_within(given.swap_days, age)
            found.append((f"{state.name}, {where}", age, chance))
    return sorted(found, key=lambda one: -one[2])


def _curve(steps: list[Step], fit: Weibull | None, longest: float) -> Curve | None:
    if not steps or longest <= 0:
        return None

    def x(days: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * days / longest, 1)

    def y(share: float) -> float:
        return round(BOTTOM - (BOTTOM - TOP) * share, 1)

    line = f"M{x(0)} {y(1)}"
    high, low = f"M{x(0)} {y(1)}", ""
    before_low = 1.0
    for step in steps:
        line += f"H{x(step.days)}V{y(step.survival)}"
        high += f"H{x(step.days)}V{y(step.high)}"
        low = f"L{x(step.days)} {y(step.low)}L{x(step.days)} {y(before_low)}" + low
        before_low = step.low
    band = f"{high}H{x(longest)}V{y(before_low)}{low}Z"
    shown = ""
    if fit is not None:
        points = (longest * i / 60 for i in range(61))
        shown = "M" + "L".join(f"{x(days)} {y(fit.survival(days))}" for days in points)
    ticks = [(x(longest * i / 5), f"{longest * i / 5:.0f}") for i in range(6)]
    return Curve(line + f"H{x(longest)}", band, shown, ticks)
