"""A purity as it is typed: a figure and its basis, and what it is in the other one."""

import json
from collections.abc import Mapping

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.purity import (
    PurityBasis,
    converted_words,
    in_mass_percent,
    usual_basis,
    volume_percent,
)
from app.store.log import LogFilter, log_page
from app.store.queries import TankView
from app.units import parse_number
from app.web.deps import Visit, VisitDep
from app.web.forms import read_entry
from app.web.kinds.different import Asked, Different

router = APIRouter(prefix="/rooms/{room}/purity")
FIELDS: Mapping[PurityBasis, str] = {
    "mass_percent": "percent", "volume_percent": "volume_percent",
}  # fmt: skip
LABELS = "Labels of isopropanol and ethanol give percent by volume."
SAME_PERCENT = 0.02  # a stored purity and the label it came from


@router.get("")
def note(visit: VisitDep, stem: str = "", solvent: str = "") -> Response:
    """What the purity being typed is in the other basis."""
    typed = dict(visit.request.query_params)
    context = {"said": note_of(typed, stem, solvent)}
    return visit.fragment("tanks/purity.html", "note", context)


def note_of(typed: Mapping[str, str], stem: str, solvent: str) -> str:
    """The purity of a form in the other basis, in words; what labels give while there is none."""
    liquid = SOLVENTS.get(solvent)
    if liquid is None or liquid.density.is_water:
        return "" if liquid else LABELS
    if liquid.is_own:
        return "Leave it empty. Its data sheet describes it as delivered."
    for basis, field in FIELDS.items():
        if text := typed.get(f"{stem}_{field}", "").strip():
            return _words(liquid, text, basis)
    text = typed.get(f"{stem}_value", "").strip()
    chosen = _basis(typed.get(f"{stem}_basis", ""), liquid)
    return _words(liquid, text, chosen) if text else _custom(liquid)


def purity_of(typed: Mapping[str, str], stem: str, solvent: str) -> dict[str, str]:
    """The form's purity, a figure and a basis, as the field of an entry that it fills."""
    values = dict(typed)
    figure, basis = values.pop(f"{stem}_value", ""), values.pop(f"{stem}_basis", "")
    if figure.strip():
        values[f"{stem}_{FIELDS[_basis(basis, SOLVENTS.get(solvent))]}"] = figure
    return values


def beside(stem: str, errors: Mapping[str, str]) -> dict[str, str]:
    """Messages by the names of the form's fields."""
    names = {f"{stem}_{field}": f"{stem}_value" for field in FIELDS.values()}
    return {names.get(name, name): message for name, message in errors.items()}


def as_entered(visit: Visit, tank: TankView) -> dict[str, str]:
    """The purity of a tank's fill as it was entered, for a form that begins with it."""
    if SOLVENTS[tank.solvent].is_own:
        return {}
    for kind in (Swap, Tank):
        shown = LogFilter(tank=tank.key, kind=kind.kind, with_voided=False)
        for logged in log_page(visit.session, visit.room_id, shown, most=5).entries:
            fields = json.loads(logged.row.fields)
            by_mass, by_volume = (fields.get(f"fresh_purity_{x}") for x in FIELDS.values())
            stored = in_mass_percent(SOLVENTS[tank.solvent], by_mass, by_volume)
            if stored is not None and abs(stored - tank.fresh_purity_percent) < SAME_PERCENT:
                basis = "mass_percent" if by_volume is None else "volume_percent"
                return _shown(by_mass if by_volume is None else by_volume, basis)
    return _shown(round(tank.fresh_purity_percent, 2), "mass_percent")


def _shown(figure: float, basis: str) -> dict[str, str]:
    return {"fresh_purity_value": f"{figure:g}", "fresh_purity_basis": basis}


def _basis(chosen: str, liquid: Solvent | None) -> PurityBasis:
    for basis in FIELDS:
        if chosen == basis:
            return basis
    return usual_basis(liquid) if liquid is not None else "mass_percent"


def _words(liquid: Solvent, text: str, basis: PurityBasis) -> str:
    try:
        figure = parse_number(text)
        if not 1 <= figure <= 100:
            return ""
        return converted_words(liquid, figure, basis)
    except (FieldError, DomainError):
        return ""  # the form says so once it is sent


def _custom(liquid: Solvent) -> str:
    usual = liquid.usual_purity_percent
    if usual_basis(liquid) == "mass_percent":
        return f"If empty: {usual:g} % by mass."
    by_volume = volume_percent(liquid, usual)
    return (
        "Labels give percent by volume. "
        f"If empty: {usual:g} % by mass, {by_volume:.1f} % by volume."
    )


def _read_swap(asked: Asked) -> Entry:
    visit, typed = asked.visit, asked.typed
    solvent = typed.get("solvent", "") or asked.thing.solvent
    values = purity_of(typed, "fresh_purity", solvent)
    return read_entry(Swap.kind, values, visit.room, visit.person, visit.now)


SWAP = Different(
    read=_read_swap,
    beside={f"fresh_purity_{field}": "fresh_purity_value" for field in FIELDS.values()},
)
