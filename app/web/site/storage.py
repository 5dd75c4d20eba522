"""Flammable liquids against the site's limits, and what vapour would do: cautions, no clearance."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.air import (
    POOL_DEPTH_M,
    VAPOUR_SOURCE,
    VAPOURS,
    Room,
    air_needed_m3_h,
    all_evaporated_ppm,
    evaporation_kg_s,
    headspace_percent,
    ppm,
    spill_mg_m3,
)
from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.fields import FieldSpec, check_value
from app.domain.site import SiteState
from app.domain.solvents import SOLVENTS
from app.domain.solvents.vapour import LIMITS_AS_OF, LIMITS_REVIEW_ON, Vapour
from app.domain.storage import CATEGORIES, REFERENCES, Inventory, fits_in
from app.services.storage import flammable_to_c, stored
from app.store import queries
from app.store.site import site
from app.store.solvents import own_solvents, solvents_here
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
    "area_m2": FieldSpec("number", "Open surface", "m2", 0.001, 100),
    "air_m_s": FieldSpec("number", "Air over it", "m/s", 0.01, 5),
    "volume_l": FieldSpec("number", "Spilled", "L", 0.01, 1000),
    "temperature_c": FieldSpec("number", "Temperature", "C", -10, 60),
    "room_volume_m3": FieldSpec("number", "Volume of the room", "m3", 1, 1_000_000),
    "air_changes_per_hour": FieldSpec("number", "Air changes", "per hour", 0, 200),
    "mixing": FieldSpec("number", "How badly the air mixes", "times", 1, 10),
}
MORE = FieldSpec("number", "A delivery of", "L", 0.1, 100_000)
CASES = {"lid": "A lid stands open", "spill": "Something was spilled"}


@dataclass(frozen=True)
class Estimate:
    """What the box model says of one case. For planning alone.

    Attributes:
        courses: minutes, ppm, percent of the lower flammable limit (None where none is known).
        lasts_min: until a spill has evaporated; None for an open lid.
        needs_m3_h: pairs of a limit and the exchange of air that it would take.
    """

    grams_per_hour: float
    courses: tuple[tuple[int, float, float | None], ...]
    worst_ppm: float | None
    lasts_min: float | None
    headspace: float
    vapour: Vapour
    needs_m3_h: tuple[tuple[Any, float], ...]
    is_flammable_at_liquid: bool
    is_spill: bool = False

    @property
    def must_leave(self) -> bool:
        """The mixed air may reach what is dangerous to life, or a tenth of the flammable limit."""
        danger = self.vapour.leave_at
        return any(
            (danger is not None and level >= danger.ppm) or (share or 0.0) >= LEAVE_PERCENT
            for _, level, share in self.courses
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
        "limits_as_of": LIMITS_AS_OF,
        "is_review_due": visit.today >= LIMITS_REVIEW_ON,
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
    errors: dict[str, str] = {}
    numbers: dict[str, float] = {}
    is_spill = values.get("case") == "spill"
    skipped = {"area_m2"} if is_spill and not values.get("area_m2") else set()
    for name, spec in SPECS.items():
        if name in skipped or (name == "volume_l" and not is_spill):
            continue
        try:
            numbers[name] = _number(visit, name, spec, values.get(name, ""))
        except FieldError as error:
            errors[name] = error.message
    vapour = VAPOURS.get(values["solvent"])
    if vapour is None:
        errors["solvent"] = "Choose one of the solvents."
    if is_spill and "area_m2" in numbers and "volume_l" in numbers:
        deep_m = numbers["volume_l"] / 1000 / numbers["area_m2"]
        if deep_m > DEEPEST_M:
            errors["area_m2"] = (
                f"This pool would be {100 * deep_m:.0f} cm deep, but a spill spreads. Leave it "
                "empty, or enter the wet area."
            )
    if errors or vapour is None:
        return FormState(values, errors), None, 422
    try:
        found = _worked(vapour, values["solvent"], numbers, is_spill)
    except DomainError as error:
        return FormState(values, {"temperature_c": str(error)}), None, 422
    return FormState(values), found, 200


def _worked(vapour: Vapour, key: str, given: dict[str, float], is_spill: bool) -> Estimate:
    room = Room(given["room_volume_m3"], given["air_changes_per_hour"], given["mixing"])
    celsius = given["temperature_c"]
    litres = given["volume_l"] if is_spill else ENOUGH_L
    area_m2 = given.get("area_m2") or litres / 1000 / POOL_DEPTH_M
    rate = evaporation_kg_s(vapour, area_m2, given["air_m_s"], celsius)
    mass_kg = litres * SOLVENTS[key].density_g_ml(20.0, 100.0)
    courses = []
    for minutes in MINUTES:
        level = ppm(spill_mg_m3(rate, mass_kg, room, 60 * minutes), vapour.molar_mass_g_mol)
        share = None if vapour.lower_percent is None else level / 100 / vapour.lower_percent
        courses.append((minutes, level, share))
    lower, upper = vapour.lower_percent, vapour.upper_percent
    headspace = headspace_percent(vapour, celsius)
    return Estimate(
        grams_per_hour=rate * 3.6e6,
        courses=tuple(courses),
        worst_ppm=all_evaporated_ppm(mass_kg, vapour.molar_mass_g_mol, room.volume_m3)
        if is_spill
        else None,
        lasts_min=mass_kg / rate / 60 if is_spill else None,
        headspace=headspace,
        vapour=vapour,
        needs_m3_h=tuple(
            (limit, air_needed_m3_h(rate, limit.ppm, vapour.molar_mass_g_mol, room.mixing))
            for limit in vapour.held
        ),
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
