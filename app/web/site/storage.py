"""Flammable liquids against the site's limits, and what vapour would do: cautions, no clearance."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.air import (
    FILM_M,
    POOL_DEPTH_M,
    VAPOUR_SOURCE,
    VAPOURS,
    Room,
    air_needed_m3_h,
    all_evaporated_ppm,
    evaporation_kg_s,
    headspace_percent,
    near_field_m3_s,
    near_mg_m3,
    ppm,
    spill_mg_m3,
)
from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.fields import FieldSpec, check_value
from app.domain.site import SiteState
from app.domain.solvents import SOLVENTS
from app.domain.solvents.vapour import Limit, Vapour
from app.domain.storage import CATEGORIES, REFERENCES, Inventory, fits_in
from app.services.duties.due import rules_looked_on
from app.services.storage import flammable_to_c, stored
from app.services.waste import rulebook
from app.store import queries
from app.store.site import site
from app.store.solvents import own_solvents, solvent_limits, solvents_here
from app.units import from_display, parse_number, to_display
from app.web.deps import Visit, VisitDep
from app.web.filters import units_of
from app.web.forms import FormState, unit_label

router = APIRouter(prefix="/rooms/{room}/storage")
TEMPLATE = "site/storage.html"
WHERE = {"tanks": "Baths", "shelf": "Shelf", "drums": "Waste drums"}
LEAVE_PERCENT = 10.0  # of the lower flammable limit: usual alarm of meters, from memory
MINUTES = (1, 5, 15, 60, 240)
DEEPEST_M = 0.01  # a pool on a floor is flatter: common practice, no source
ENOUGH_L = 1e6  # an open bath does not run dry while its lid is off
SPECS = {
    "area_m2": FieldSpec("number", "Open surface", "m²", 0.001, 100),
    "air_m_s": FieldSpec("number", "Air over it", "m/s", 0.01, 5),
    "volume_l": FieldSpec("number", "Spilled", "L", 0.01, 1000),
    "temperature_c": FieldSpec("number", "Temperature", "C", -10, 60),
    "room_volume_m3": FieldSpec("number", "Volume of the room", "m3", 1, 1_000_000),
    "air_changes_per_hour": FieldSpec("number", "Air changes", "per hour", 0, 200),
    "mixing": FieldSpec("number", "How badly the air mixes", "times", 1, 10),
}
MORE = FieldSpec("number", "A delivery of", "L", 0.1, 100_000)
CASES = {
    "lid": "A lid is open", "rack": "Wet parts dry on a rack",
    "spill": "Something was spilled",
}  # fmt: skip
THICKEST_M = 1e-3  # of a film on parts; more runs off: common practice, no source


@dataclass(frozen=True)
class Course:
    """So long after it began: what the mixed air holds, and what a head over the source breathes.

    Attributes:
        ppm, near_ppm: of vapour; `near_ppm` as `ppm` once all has evaporated.
        percent: of the lower flammable limit, in mixed air; None where none is known.
    """

    minutes: int
    ppm: float
    near_ppm: float
    percent: float | None


@dataclass(frozen=True)
class Estimate:
    """What the box model says of one case. For planning alone.

    Attributes:
        lasts_min: until a spill or a film has evaporated; None for an open lid.
        needs_m3_h: pairs of a limit of the site's rules and the exchange of air that it would take.
        elsewhere: limits of other countries.
    """

    grams_per_hour: float
    courses: tuple[Course, ...]
    worst_ppm: float | None
    lasts_min: float | None
    headspace: float
    vapour: Vapour
    needs_m3_h: tuple[tuple[Limit, float], ...]
    elsewhere: tuple[Limit, ...]
    is_flammable_at_liquid: bool
    is_spill: bool = False

    @property
    def must_leave(self) -> bool:
        """What somebody breathes may be dangerous to life, or mixed air reach a tenth of the
        flammable limit."""
        danger = self.vapour.leave_at
        return any(
            (danger is not None and one.near_ppm >= danger.ppm)
            or (one.percent or 0.0) >= LEAVE_PERCENT
            for one in self.courses
        )


@router.get("")
def storage_page(visit: VisitDep) -> Response:
    """What stands in the fire area, and what its vapour might do."""
    state = site(visit.session, visit.room_id)
    asked = dict(visit.request.query_params)
    form, estimate, status = _estimate(visit, state, asked)
    stock = stored(visit.session, visit.room_id, visit.now)
    delivery, answer = _delivery(visit, stock, asked)
    status = max(status, 422 if delivery.errors else 200)
    own = own_solvents(visit.session, visit.room_id).solvents
    here = solvents_here(visit.session, visit.room_id, form.value("solvent"))
    context = {
        "stock": stock,
        "delivery": delivery,
        "answer": answer,
        "site": state,
        "categories": CATEGORIES,
        "references": REFERENCES,
        "to_c": flammable_to_c(visit.session, visit.room_id),
        "where": WHERE,
        "form": form,
        "estimate": estimate,
        "specs": SPECS | {"more_l": MORE},
        "units": {
            name: unit_label(spec, visit.room) for name, spec in (SPECS | {"more_l": MORE}).items()
        },
        "solvents": [(key, one.name) for key, one in here.items() if key in VAPOURS],
        "without": [one.name for one in own.values() if one.key not in VAPOURS],
        "cases": list(CASES.items()),
        "vapour_source": VAPOUR_SOURCE,
        "rule_set": rulebook(visit.session, visit.room_id).set.name,
        "today": visit.today,
        "looked_on": rules_looked_on(visit.session, visit.room),
        "solvent_name": SOLVENTS[form.value("solvent")].name
        if form.value("solvent") in SOLVENTS
        else "",
    }
    return visit.page(TEMPLATE, context, status)


def _delivery(visit: Visit, stock: Inventory, asked: dict[str, str]) -> tuple[FormState, str]:
    """Whether so much more may come in; asked before a delivery is booked."""
    text = asked.get("more_l", "")
    if not text.strip():
        return FormState(), ""
    try:
        more_l = _number(visit, "more_l", MORE, text)
    except FieldError as error:
        return FormState(asked, {"more_l": error.message}), ""
    if stock.limit_l is None:
        return FormState(asked), "No limit has been entered, so there is no answer."
    said = fits_in(stock, more_l) or "It stays within the limit the site has entered."
    return FormState(asked), said


def _estimate(
    visit: Visit, state: SiteState, asked: dict[str, str]
) -> tuple[FormState, Estimate | None, int]:
    values = {**_defaults(visit, state), **asked}
    if "solvent" not in asked:
        return FormState(values), None, 200
    case = values["case"] if values["case"] in CASES else "lid"
    numbers, errors = _numbers(visit, values, case)
    rule_set = rulebook(visit.session, visit.room_id).rule_set
    own = solvent_limits(visit.session, visit.room_id)
    vapour = own.vapour(values["solvent"], rule_set)
    if vapour is None:
        errors["solvent"] = "Choose one of the solvents."
    if errors or vapour is None:
        return FormState(values, errors), None, 422
    try:
        found = _worked(vapour, values["solvent"], numbers, case, rule_set)
    except DomainError as error:
        return FormState(values, {"temperature_c": str(error)}), None, 422
    return FormState(values), found, 200


def _numbers(
    visit: Visit, values: dict[str, str], case: str
) -> tuple[dict[str, float], dict[str, str]]:
    """The figures that a case needs, and what is wrong with them by field."""
    numbers: dict[str, float] = {}
    errors: dict[str, str] = {}
    for name, spec in SPECS.items():
        may_be_empty = (name == "area_m2" and case == "spill") or name == "volume_l"
        is_left_out = name == "volume_l" and case == "lid"
        if is_left_out or (case != "lid" and may_be_empty and not values.get(name)):
            continue
        try:
            numbers[name] = _number(visit, name, spec, values.get(name, ""))
        except FieldError as error:
            errors[name] = error.message
    if case == "spill" and "volume_l" not in numbers and "volume_l" not in errors:
        errors["volume_l"] = "Enter how much was spilled."
    if case != "lid" and not errors and {"area_m2", "volume_l"} <= numbers.keys():
        errors |= _too_deep(case, numbers["volume_l"] / 1000 / numbers["area_m2"])
    return numbers, errors


def _too_deep(case: str, deep_m: float) -> dict[str, str]:
    """A pool or film that no floor and no parts hold."""
    if case == "spill" and deep_m > DEEPEST_M:
        return {"area_m2": (
            f"This pool would be {100 * deep_m:.0f} cm deep, but a spill spreads. Leave it empty, "
            "or enter the wet area."
        )}  # fmt: skip
    if case == "rack" and deep_m > THICKEST_M:
        return {"volume_l": (
            f"This film would be {1000 * deep_m:.0f} mm thick, but what is thicker runs off. "
            "Leave it empty, or enter what stays on the parts."
        )}  # fmt: skip
    return {}


def _worked(
    vapour: Vapour, key: str, given: dict[str, float], case: str, rule_set: str
) -> Estimate:
    room = Room(given["room_volume_m3"], given["air_changes_per_hour"], given["mixing"])
    celsius = given["temperature_c"]
    is_spill, is_lid = case == "spill", case == "lid"
    film_l = 1000 * FILM_M * given.get("area_m2", 0.0)
    litres = ENOUGH_L if is_lid else given.get("volume_l", film_l)
    area_m2 = given.get("area_m2") or litres / 1000 / POOL_DEPTH_M
    beta_m3_s = near_field_m3_s(given["air_m_s"], area_m2)
    rate = evaporation_kg_s(vapour, area_m2, given["air_m_s"], celsius)
    mass_kg = litres * SOLVENTS[key].density_g_ml(20.0, 100.0)
    courses = []
    for minutes in MINUTES:
        mixed = spill_mg_m3(rate, mass_kg, room, 60 * minutes)
        is_wet = 60 * minutes * rate < mass_kg
        near = near_mg_m3(mixed, rate, beta_m3_s) if is_wet else mixed
        level = ppm(mixed, vapour.molar_mass_g_mol)
        share = None if vapour.lower_percent is None else level / 100 / vapour.lower_percent
        courses.append(Course(minutes, level, ppm(near, vapour.molar_mass_g_mol), share))
    lower, upper = vapour.lower_percent, vapour.upper_percent
    headspace = headspace_percent(vapour, celsius)
    return Estimate(
        grams_per_hour=rate * 3.6e6,
        courses=tuple(courses),
        worst_ppm=all_evaporated_ppm(mass_kg, vapour.molar_mass_g_mol, room.volume_m3)
        if is_spill
        else None,
        lasts_min=None if is_lid else mass_kg / rate / 60,
        headspace=headspace,
        vapour=vapour,
        needs_m3_h=tuple(
            (limit, air_needed_m3_h(rate, limit.ppm, vapour.molar_mass_g_mol, room.mixing))
            for limit in vapour.held_in(rule_set)
        ),
        elsewhere=vapour.held_elsewhere(rule_set),
        is_flammable_at_liquid=lower is not None
        and lower <= headspace
        and (upper is None or headspace <= upper),
        is_spill=is_spill,
    )


def _defaults(visit: Visit, state: SiteState) -> dict[str, str]:
    tanks = queries.board(visit.session, visit.room_id, visit.now).tanks
    first = next((tank.solvent for tank in tanks if tank.solvent in VAPOURS), "isopropanol")
    shown = {
        "solvent": first, "case": "lid", "area_m2": "", "air_m_s": "0.25",
        "volume_l": _shown(visit, "volume_l", 1.0),
        "temperature_c": _shown(visit, "temperature_c", state.room_temperature_c),
        "mixing": "3",
    }  # fmt: skip
    if state.room_volume_m3 is not None:
        shown["room_volume_m3"] = f"{state.room_volume_m3:g}"
    if state.air_changes_per_hour is not None:
        shown["air_changes_per_hour"] = f"{state.air_changes_per_hour:g}"
    return shown


def _shown(visit: Visit, name: str, value: float) -> str:
    quantity = "volume" if SPECS[name].unit == "L" else "temperature"
    return f"{to_display(value, quantity, units_of(visit.room)):.3g}"  # type: ignore[arg-type]


def _number(visit: Visit, name: str, spec: FieldSpec, text: str) -> float:
    try:
        value = parse_number(text)
    except FieldError as error:
        raise FieldError(name, error.message) from None
    if spec.unit == "L":
        value = from_display(value, "volume", units_of(visit.room))
    elif spec.unit == "C":
        value = from_display(value, "temperature", units_of(visit.room))
    checked: float = check_value(name, spec, value)
    return checked
