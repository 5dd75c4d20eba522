"""What follows from a look: a lead decides otherwise, a new part is fitted, something is undone."""

from collections.abc import Callable

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Withdrawal
from app.domain.roomlog.kinds.inspections import ComponentReplaced, InspectionOverruled
from app.services import roomlog
from app.services.inspections import fitting
from app.services.inspections import inspections as service
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.steps import part_page

router = APIRouter(prefix="/rooms/{room}/inspections/{inspection}/parts/{component}")


@router.post("/overrule")
def overrule(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """A lead decides otherwise, with a reason."""
    kind, do = InspectionOverruled.kind, service.overrule
    return _store(visit, inspection, component, "overrule", kind, typed, do)


@router.post("/replace")
def fit(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """A new part is fitted, from the shelf where an item is named."""
    kind, do = ComponentReplaced.kind, fitting.fit_part
    sent = typed | {"because": typed.get("because") or "finding"}
    if "|" in sent.get("item_lot", ""):  # keys hold no bar
        sent["item"], _, sent["lot"] = sent["item_lot"].partition("|")
    return _store(visit, inspection, component, "fit", kind, sent, do)


@router.post("/undo")
def undo(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """An answer, a photo, a fitting or a lead's decision was wrong: it stays in the history."""
    word = Withdrawal(
        at=visit.now, by=visit.person, note=service.TAKEN_BACK, withdraws=typed.get("entry", "")
    )
    service.take_back(visit.store, visit.room.key, inspection, component, word, None)
    to = visit.address("inspections", inspection, "parts", component)
    return RedirectResponse(to, 303)


def _store(
    visit: Visit, inspection: str, component: str, form: str, kind: str, typed: dict[str, str],
    do: Callable[..., roomlog.Recorded],
) -> Response:  # fmt: skip
    try:
        sent = {**typed, "inspection": inspection, "component": component}
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        do(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        shown = {form: FormState(typed, error.by_field())}
        return part_page(visit, inspection, component, shown, 422)
    to = visit.address("inspections", inspection, "parts", component)
    return RedirectResponse(f"{to}#decided", 303)
