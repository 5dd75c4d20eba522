"""The swap of a bath, led step by step; or entered at once where it is done already."""

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.errors import FieldErrors, NotFound
from app.domain.roomlog.kinds import Entry, Swap, SwapStarted
from app.domain.roomlog.kinds.checklists import StepNoted, StepOverruled
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import remarks as swap_words
from app.services.acts.swaps import swapping
from app.services.acts.swaps.ticking import tick
from app.services.swaps.asking import swap_that_asks
from app.services.swaps.under_way import Hand, open_swap, swap_state, under_way
from app.web.asking import CHANGE, SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import ANSWER, FormDep, FormState, read_entry
from app.web.kinds.body import store_typed
from app.web.kinds.different import Asked
from app.web.kinds.places import PLACES
from app.web.swaps.contexts import (
    kept_tick,
    page_of_close,
    page_of_problem,
    page_of_start,
    page_of_step,
    shared_context,
    swap_address,
    usual_swap,
)
from app.web.swaps.forms import read_hand, read_said
from app.web.swaps.photos import StepFormDep, with_photos
from app.web.swaps.touched import forget, kept
from app.web.swaps.views import rail, scale_context

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
START, STEP, LIST, CLOSE, PROBLEM = (
    f"swaps/{name}.html" for name in ("start", "step", "list", "close", "problem")
)
PARTS = ("rail", "seen", "scale")


@router.get("")
def swap_page(visit: VisitDep, tank: str, step: str = "", view: str = "") -> Response:
    """The step at hand of the swap under way, or what is needed to start one."""
    asked = visit.request.query_params
    if asked.get("part") in PARTS and asked.get("swap"):
        return _part(visit, tank, asked["part"], asked["swap"], step)
    found = open_swap(visit.session, visit.room_id, tank)
    if found is None:
        return _without_list(visit, tank)
    form, chosen = FormState({**asked}), _chosen(found, step)
    if view == "all":
        return visit.page(LIST, shared_context(visit, tank, found) | {"rail": rail(found)})
    if view == "problem" and chosen is not None:
        return visit.page(PROBLEM, page_of_problem(visit, tank, found, chosen, form))
    at = None if view == "close" else chosen
    typed = kept(visit, found, at, form.value("method"))
    form, is_touched = FormState({**typed, **asked}), {"is_touched": bool(typed)}
    if at is None:
        return visit.page(CLOSE, page_of_close(visit, tank, found, form) | is_touched)
    return visit.page(STEP, page_of_step(visit, tank, found, at, form) | is_touched)


def _without_list(visit: Visit, tank: str) -> Response:
    """What starts a swap; before it what the last one left in the tank, where nobody said."""
    if swap_that_asks(visit.session, visit.room_id, tank) is not None:
        return RedirectResponse(visit.address("tanks", tank, "contents"), 303)
    brought = {name: text for name, text in visit.request.query_params.items() if name == "at"}
    return visit.page(
        START, page_of_start(visit, tank, FormState(usual_swap(visit, tank) | brought))
    )


def _part(visit: Visit, tank: str, part: str, key: str, step: str) -> Response:
    """What an open page of the swap fetches anew when the room changes."""
    state = swap_state(visit.session, visit.room_id, key)
    shown = state.step(step)
    context: dict[str, Any] = {"rail": rail(state, step), "step": shown}
    if part == "scale" and shown is not None:
        context |= scale_context(visit, state, shown)
    return visit.fragment("swaps/live.html", part, shared_context(visit, tank, state) | context)


@router.post("/start")
def start(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Take up the checklist: the tank is out of use until the swap is completed or given up."""
    try:
        hand = read_hand(visit, typed)
        clean = typed.get("from_tank") or None
        ask(visit, typed, _opening(tank, clean, hand))
        swapping.start(
            visit.store, visit.room.key, tank, clean, hand, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        form = form_of(back, {**usual_swap(visit, tank), **typed})
        return visit.page(START, page_of_start(visit, tank, form), 422)
    return go_on(swap_address(visit, tank), hand.by)


@router.post("/steps/{step}/tick")
def tick_step(visit: VisitDep, tank: str, step: str, sent: StepFormDep) -> Response:
    """Tick a step, or show it again with what does not fit."""
    state, found = _open_step(visit, tank, step)
    typed, key = sent.values, sent.values.get("submission")
    try:
        typed = with_photos(visit, found, sent)
        if typed.get(ANSWER) == CHANGE:
            return visit.page(STEP, page_of_step(visit, tank, state, found, FormState(typed)), 422)
        said = read_said(visit, state, found, typed)
        done = tick(visit.store, visit.room.key, state.key, said, visit.now, key)
    except SENT_BACK as back:
        form = form_of(back, typed)
        return visit.page(STEP, page_of_step(visit, tank, state, found, form), 422)
    forget(visit, state, found)
    visit.session.rollback()  # read what has just been stored: it may open other steps again
    state = swap_state(visit.session, visit.room_id, state.key)
    where = _own_figures(visit, state, found, done.ids[0]) or _following(state, found)
    address = f"{swap_address(visit, tank)}?{where}&saved={done.ids[0]}"
    return go_on(address, said.hand.by)


@router.post("/steps/{step}/undo")
def undo_step(visit: VisitDep, tank: str, step: str, typed: FormDep) -> Response:
    """Take a tick back, with all that followed from it."""
    state, _ = _open_step(visit, tank, step)
    hand = read_hand(visit, typed, needs_name=False)
    key = typed.get("submission")
    swapping.undo(visit.store, visit.room.key, state.key, step, hand, visit.now, key)
    mine = f"&mine={quote(typed['mine'])}" if typed.get("mine") else ""
    return RedirectResponse(f"{swap_address(visit, tank)}?step={step}&undone=1{mine}", 303)


@router.post("/steps/{step}/overrule")
def overrule_step(visit: VisitDep, tank: str, step: str, typed: FormDep) -> Response:
    """A lead lets a step pass a gate, or passes it over."""
    return _at_problem(visit, tank, step, typed, StepOverruled.kind, swap_words.overrule)


@router.post("/steps/{step}/note")
def note_step(visit: VisitDep, tank: str, step: str, typed: FormDep) -> Response:
    """Keep what was seen at a step."""
    return _at_problem(visit, tank, step, typed, StepNoted.kind, swap_words.note)


@router.post("/complete")
def complete(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Complete the swap by its list."""
    state = _swap_of(visit, typed)
    key, closes = typed.get("submission"), bool(typed.get("closes_drum"))
    try:
        hand = read_hand(visit, typed)
        swap_closing.complete(
            visit.store, visit.room.key, state.key, hand, closes, visit.now, key,
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return visit.page(CLOSE, page_of_close(visit, tank, state, form_of(back, typed)), 422)
    forget(visit, state, None)
    return go_on(_record_address(visit, tank, state), hand.by)


@router.post("/reopen")
def reopen(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Take a completion or a giving up back."""
    state = _swap_of(visit, typed)
    hand = read_hand(visit, typed, needs_name=False)
    key = typed.get("submission")
    again = swap_closing.take_up_again if state.end == "abandoned" else swap_closing.reopen
    again(visit.store, visit.room.key, state.key, hand, visit.now, key)
    return RedirectResponse(visit.address("tanks", tank, "contents"), 303)


@router.post("/at-once")
def at_once(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """A swap that is done already, without its steps: the estimate starts again from the heel."""
    state = open_swap(visit.session, visit.room_id, tank)
    values = {**typed, **({"swap": state.key} if state else {})}
    if typed.get("heel_l", "").strip():
        values["heel_basis"] = "seen"
    asked = Asked(visit, Swap, visit.tank(tank), FormState(values))
    return store_typed(
        asked, PLACES["tank"], tank,
        lambda form: visit.page(START, page_of_start(visit, tank, form), 422),
    )  # fmt: skip


def _opening(tank: str, clean: str | None, hand: Hand) -> list[Entry]:
    """What a start says, as far as the harm matrix asks about it."""
    return [SwapStarted(at=hand.at, by=hand.by, tank=key) for key in (tank, clean) if key]


def _at_problem(
    visit: Visit, tank: str, step: str, typed: dict[str, str], kind: str, keep: Callable[..., Any]
) -> Response:
    """Store what the page of problems was told, or show it again with what does not fit."""
    state, found = _open_step(visit, tank, step)
    try:
        gate, _, about = typed.get("gate", "").partition(":")
        values = {**typed, "swap": state.key, "step": step, "at": "", "note": ""}
        values |= {"gate": gate, "about": about} if gate else {}
        entry = read_entry(kind, values, visit.room, visit.person, visit.now)
        keep(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return visit.page(PROBLEM, page_of_problem(visit, tank, state, found, form), 422)
    return RedirectResponse(f"{swap_address(visit, tank)}?step={step}", 303)


def _open_step(visit: Visit, tank: str, key: str) -> tuple[SwapState, Step]:
    state = open_swap(visit.session, visit.room_id, tank)
    if state is None:
        past = swapping.past_swaps(visit.session, visit.room_id, tank, 1)
        if past:
            under_way(visit.session, visit.room_id, past[0].key)  # says how it ended
        raise NotFound("No swap with a checklist is under way at this tank.")
    step = state.step(key)
    if step is None:
        raise NotFound("This swap has no such step.")
    return state, step


def _swap_of(visit: Visit, typed: dict[str, str]) -> SwapState:
    return swap_state(visit.session, visit.room_id, typed.get("swap", ""))


def _chosen(state: SwapState, key: str) -> Step | None:
    return state.step(key) or state.next_step


def _following(state: SwapState, step: Step) -> str:
    """Where to go after a step: the first open one behind it, else the first open one at all."""
    behind = state.steps[state.steps.index(step) + 1 :]
    rest = [*behind, *state.steps]
    following = next((s for s in rest if s != step and not state.is_settled(s)), None)
    return f"step={following.key}" if following else "view=close"


def _own_figures(visit: Visit, state: SwapState, step: Step, uid: str) -> str:
    """Back to the step where somebody was first with other figures: both are shown there."""
    mine, first = kept_tick(visit, state, uid), state.tick(step.key)
    is_other = mine is not None and first is not None and mine.repeats is not None
    if not is_other or dict(mine.answers or {}) == dict(first.answers):  # type: ignore[union-attr]
        return ""
    return f"step={step.key}&mine={uid}"


def _record_address(visit: Visit, tank: str, state: SwapState) -> str:
    return f"{swap_address(visit, tank)}/record?swap={state.key}"
