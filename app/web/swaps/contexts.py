"""What the pages of a swap are made from."""

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Any

from app.domain.checklists.filling import fill_target_l
from app.domain.checklists.gates import may_flow
from app.domain.checklists.pairs import saving
from app.domain.checklists.run import SwapState, Tick, steps_for
from app.domain.checklists.tank_contents import LONG_STOP, last_act_at, moved_liquid
from app.domain.checklists.template import Step
from app.domain.errors import NotFound
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import LOOK_WORDS
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import swapping
from app.services.entries import entry_of
from app.services.incidents.doubts import spoiled_by
from app.services.incidents.holds import hold
from app.services.swaps.checklists import checklist
from app.services.swaps.checks import swap_is_out_of_service
from app.services.swaps.looks import looks_around
from app.store import queries
from app.store.log import find_entry
from app.store.site import crew
from app.store.solvents import solvents_here
from app.store.tables import TankRow
from app.store.things import thing
from app.web.deps import Visit
from app.web.forms import FormState, text_of, unit_label
from app.web.planning.views import tank_card
from app.web.swaps.answers import answered
from app.web.swaps.balancing import accounts_of
from app.web.swaps.forms import typed_of
from app.web.swaps.labelled import photos_of_swap
from app.web.swaps.views import lot_of_rinse, passable, rail, step_context
from app.web.tanks.purity import as_entered, note_of

DRAINABLE = 0.98  # of the bath; the rest stays as the heel (common practice, no source)


def swap_address(visit: Visit, tank: str) -> str:
    """The address of a tank's swap."""
    return visit.address("tanks", tank, "swap")


def tank_of(visit: Visit, tank: str) -> TankRow:
    """The row of a tank.

    Raises:
        NotFound: there is none.
    """
    row = visit.session.get(TankRow, (visit.room_id, tank))
    if row is None:
        raise NotFound(f"There is no tank “{tank[:64]}” in this room.")
    return row


def names_of(visit: Visit, state: SwapState) -> dict[str, str]:
    """The tanks of a swap by their names."""
    keys = (key for key in (state.tank, state.from_tank) if key)
    return {key: tank_of(visit, key).name for key in keys}


def shared_context(visit: Visit, tank: str, state: SwapState) -> dict[str, Any]:
    """What all pages of a swap under way show."""
    row = tank_of(visit, tank)
    moved = tank_of(visit, state.from_tank) if state.from_tank else None
    dirty = row if row.key == state.tank else tank_of(visit, state.tank)
    done = sum(1 for step in state.steps if state.is_settled(step))
    return {
        "tank": dirty,
        "clean": moved,
        "base": swap_address(visit, tank),
        "state": state,
        "contents": visit.address("tanks", tank, "contents"),
        "is_spoiled": bool(spoiled_by(visit.session, visit.room, state.tank)),
        "may_have_moved": _may_have_moved(state),
        "idle": _idle_since(visit, state),
        "done": done,
        "people": queries.people(visit.session, visit.room_id),
        "submission": uuid.uuid4().hex,
    }


def _idle_since(visit: Visit, state: SwapState) -> datetime | None:
    """Since when nothing was ticked or said, where that is long and liquid may have moved."""
    last = last_act_at(state)
    is_long = last is not None and visit.now - last > LONG_STOP
    return last if is_long and _may_have_moved(state) else None


def _may_have_moved(state: SwapState) -> bool:
    """Its liquid was moved, or all that a drain waits for is done."""
    return moved_liquid(state) or may_flow(state, state.tank) is not None


def page_of_step(
    visit: Visit, tank: str, state: SwapState, step: Step, form: FormState
) -> dict[str, Any]:
    """What the page of a step shows."""
    saved = visit.request.query_params.get("saved", "")
    own = kept_tick(visit, state, visit.request.query_params.get("mine", ""))
    own = own if own is not None and own.step == step.key else None
    if own is not None and state.tick(step.key) is None and not form.errors and not form.doubts:
        form = FormState({**form.values, **typed_of(step, own.answers or {}, visit.room)})
    if not form.value("lot") and (lot := lot_of_rinse(visit, state, step)):
        form = replace(form, values={**form.values, "lot": lot})
    return {
        **shared_context(visit, tank, state),
        **step_context(visit, state, step, form),
        "own": own,
        "own_answers": answered(visit, step, tick_of(own)) if own else [],
        "rail": rail(state, step.key),
        "form": form,
        "is_touched": False,
        "saved": kept_tick(visit, state, saved),
        "is_undone": bool(visit.request.query_params.get("undone")),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def kept_tick(visit: Visit, state: SwapState, uid: str) -> StepDone | None:
    """A tick of a swap that was stored: the one that counts, or one that came second."""
    if not uid:
        return None
    try:
        entry = entry_of(find_entry(visit.session, visit.room_id, uid))
    except NotFound:
        return None
    is_ours = isinstance(entry, StepDone) and entry.swap == state.key
    return entry if is_ours and isinstance(entry, StepDone) else None


def tick_of(entry: StepDone) -> Tick:
    """A tick that came second, as one that counts would stand."""
    return Tick(entry.id, entry.step, entry.at, entry.by, entry.note, dict(entry.answers or {}))


def page_of_close(visit: Visit, tank: str, state: SwapState, form: FormState) -> dict[str, Any]:
    """What the close of a swap shows."""
    found = swap_closing.balance_of(visit.session, visit.room_id, state)
    names = names_of(visit, state)
    return {
        **shared_context(visit, tank, state),
        "found": found,
        "accounts": accounts_of(state, found.balance, names, visit.room, found),
        "around": looks_around(visit.session, visit.room_id, state),
        "tank_names": names,
        "look_words": LOOK_WORDS,
        "photos": photos_of_swap(visit, state, names),
        "rail": rail(state),
        "form": form,
        "is_touched": False,
        "saved": kept_tick(visit, state, form.value("saved")),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def page_of_problem(
    visit: Visit, tank: str, state: SwapState, step: Step, form: FormState
) -> dict[str, Any]:
    """What the page for a problem at a step shows."""
    return {
        **shared_context(visit, tank, state),
        "step": step,
        "rail": rail(state, step.key),
        "form": form,
        "passable": passable(visit, state, step),
        "leads": crew(visit.session, visit.room_id).leads,
        "others": crew(visit.session, visit.room_id).here,
        "is_out_of_service": swap_is_out_of_service(visit.session, visit.room_id, state),
    }


def usual_swap(visit: Visit, tank: str) -> dict[str, str]:
    """What a swap that is entered at once was probably like."""
    view, volume = visit.tank(tank), Swap.specs()["filled_l"]
    drained_l = round(DRAINABLE * view.volume_l, 1)
    filled_l = round(fill_target_l(view.capacity_l, view.min_l, view.volume_l - drained_l), 1)
    return {
        "by": visit.person,
        "drained_l": text_of(volume, drained_l, visit.room),
        "filled_l": text_of(volume, filled_l, visit.room),
        "solvent": view.solvent,
        **as_entered(visit, view),
    }


def _may_move(visit: Visit, tank: str) -> bool:
    """The bath of a tank may be offered for another: the tank is not held, nor the bath spoiled."""
    state: HoldState | None = thing(visit.session, visit.room_id, HOLD, tank)
    return not (state is not None and state.is_held) and not spoiled_by(
        visit.session, visit.room, tank
    )


def page_of_start(visit: Visit, tank: str, state: FormState) -> dict[str, Any]:
    """What is needed to start a swap, or to enter one at once."""
    specs, view = Swap.specs(), visit.tank(tank)
    template = checklist(visit.session, visit.room_id)
    clean = visit.tank(view.pair) if view.pair and _may_move(visit, view.pair) else None
    gain = None
    if clean is not None:
        gain = saving(view.mean_percent, clean.mean_percent, view.capacity_l, clean.capacity_l)
    return {
        "tank": view,
        "hold": hold(visit.session, visit.room_id, tank),
        "clean": clean,
        "saving": gain,
        "readiness": tank_card(visit, view),
        "form": state,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "specs": specs,
        "solvents": solvents_here(visit.session, visit.room_id, view.solvent),
        "purity_note": note_of(state.values, "fresh_purity", state.value("solvent")),
        "template": template,
        "steps": len(steps_for(template.steps, False)),
        "past": swapping.past_swaps(visit.session, visit.room_id, tank, 1),
        "people": queries.people(visit.session, visit.room_id),
        "submission": state.value("submission") or uuid.uuid4().hex,
    }
