"""What follows from a look: a lead decides otherwise, a new part is fitted, something is undone."""

from collections.abc import Callable

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.inspections.components import ComponentState
from app.domain.roomlog.fields import LONGEST_NOTE
from app.domain.roomlog.kinds import Withdrawal
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    ComponentReplaced,
    InspectionOverruled,
)
from app.domain.roomlog.kinds.supplies import ITEM
from app.services.acts import fitting_parts
from app.services.acts import inspections as service
from app.services.door import Recorded
from app.store.things import thing
from app.web.asking import SentBack, ask
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
    kind, do = ComponentReplaced.kind, fitting_parts.fit_part
    sent = typed | {"because": typed.get("because") or "finding"}
    if "|" in sent.get("item_lot", ""):  # keys hold no bar
        sent["item"], _, sent["lot"] = sent["item_lot"].partition("|")
    item = sent.get("item", "")
    try:
        ask(visit, typed, [], lambda: _other_part(visit, component, item))
    except SentBack as back:
        return part_page(visit, inspection, component, {"fit": back.form}, 422)
    return _store(visit, inspection, component, "fit", kind, sent, do)


def _other_part(visit: Visit, component: str, item: str) -> tuple[str, ...]:
    """What is asked about an item that is not the one this position takes; empty where it is."""
    position: ComponentState | None = thing(visit.session, visit.room_id, COMPONENT, component)
    if not item or position is None or position.item in (None, "", item):
        return ()
    usual = thing(visit.session, visit.room_id, ITEM, position.item)
    name = usual.name if usual is not None else position.item
    return (f"{position.name} usually takes {name}.",)


@router.post("/undo")
def undo(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """An answer, a photo, a fitting or a lead's decision was wrong: it stays in the history."""
    word = Withdrawal(
        at=visit.now, by=visit.person, note=service.TAKEN_BACK, withdraws=typed.get("entry", "")
    )
    lead, reason = typed.get("lead", ""), typed.get("reason", "")[:LONGEST_NOTE]
    try:
        service.take_back(
            visit.store, visit.room.key, inspection, component, word, None, lead, reason
        )
    except FieldErrors as error:
        shown = {"undo": FormState(typed, error.by_field())}
        return part_page(visit, inspection, component, shown, 422)
    to = visit.address("inspections", inspection, "parts", component)
    return RedirectResponse(to, 303)


def _store(
    visit: Visit, inspection: str, component: str, form: str, kind: str, typed: dict[str, str],
    do: Callable[..., Recorded],
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
