"""Exposure limits of the listed solvents: those that are carried, and those that the site sets."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.air import VAPOURS
from app.domain.roomlog.kinds.solvents import HOLDS_FOR, SOLVENT_LIMITS, SolventLimit
from app.domain.solvent_limits import NAMES, SiteLimit, SolventLimits, carried
from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import Sheet, sheet_of
from app.domain.solvents.vapour import Limit
from app.services.duties.due import rules_looked_on
from app.services.waste import rulebook
from app.store.site import crew
from app.store.solvents import own_solvents, solvent_limits
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, unit_label

router = APIRouter(prefix="/rooms/{room}/solvents/limits")
TEMPLATE = "site/limits.html"
SPANS: Mapping[str, str] = {
    "eight_hours": "8 hours", "fifteen_minutes": "15 minutes",
    "danger_to_life": "Danger to life: leave at",
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A limit of a solvent under the site's rules.

    Attributes:
        own: the site's; None where the carried ones count.
        carried: what the program carries for these rules; elsewhere: for other countries.
        edit: what to ask the page with to change it.
    """

    words: str
    own: SiteLimit | None
    carried: tuple[Limit, ...]
    elsewhere: tuple[Limit, ...]
    edit: str

    @property
    def strictest_ppm(self) -> float | None:
        """The lowest of the site's and the rules', where there are two that differ."""
        found = {one.ppm for one in self.carried} | ({self.own.ppm} if self.own else set())
        return min(found) if len(found) > 1 else None


@router.get("")
def limits(visit: VisitDep) -> Response:
    """All limits, and the form to set one."""
    asked = visit.request.query_params
    values = {name: asked.get(name, "") for name in ("solvent", "holds_for")}
    own = solvent_limits(visit.session, visit.room_id)
    set_here = own.of(values["solvent"], NAMES.get(values["holds_for"], ""))
    if set_here is not None:
        values |= {"limit_ppm": f"{set_here.ppm:g}", "source": set_here.source}
    return visit.page(TEMPLATE, _context(visit, FormState(values)))


@router.post("")
def set_limit(visit: VisitDep, typed: FormDep) -> Response:
    """Set a limit, or go back to the one that is carried; a higher one is asked about."""
    sent = {**typed, "solvent_limits": SOLVENT_LIMITS, "by": typed.get("lead") or visit.person}
    try:
        entry = read_entry(SolventLimit.kind, sent, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, form_of(back, typed)), 422)
    return go_on(visit.address("solvents", "limits") + "?saved=1", entry.by)


def _context(visit: Visit, form: FormState) -> dict[str, Any]:
    book = rulebook(visit.session, visit.room_id)
    own = solvent_limits(visit.session, visit.room_id)
    specs = SolventLimit.specs()
    return {
        "form": form,
        "specs": specs,
        "unit": unit_label(specs["limit_ppm"], visit.room),
        "solvents": [(key, SOLVENTS[key].name) for key in VAPOURS],
        "spans": list(SPANS.items()),
        "tables": [(SOLVENTS[key].name, _rows(own, key, book.rule_set)) for key in VAPOURS],
        "sheets": _sheets(visit),
        "rule_set": book.set.name,
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "today": visit.today,
        "looked_on": rules_looked_on(visit.session, visit.room),
        "is_saved": "saved" in visit.request.query_params,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def _rows(own: SolventLimits, solvent: str, rule_set: str) -> list[Row]:
    """The limits of a solvent, one row for each span."""
    vapour = VAPOURS[solvent]
    return [
        Row(
            SPANS[span],
            own.of(solvent, NAMES[span]),
            carried(solvent, NAMES[span], rule_set),
            tuple(one for one in vapour.held_elsewhere(rule_set) if one.name == NAMES[span]),
            f"solvent={solvent}&holds_for={span}",
        )
        for span in HOLDS_FOR
    ]


def _sheets(visit: Visit) -> list[tuple[Sheet, str]]:
    """The own solvents with their keys: their limit is that of their data sheet."""
    keys = own_solvents(visit.session, visit.room_id).keys
    return [(sheet, key) for key in keys if (sheet := sheet_of(key)) is not None]
