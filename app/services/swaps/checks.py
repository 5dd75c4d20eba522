"""Entries about swaps that a program sends, held against the swap as it stands.

A program that ticks a step sends what follows from it itself, as entries of their own.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.checklists.gates import blocks
from app.domain.checklists.run import SwapState
from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    Checklist,
    StepDone,
    StepNoted,
    StepOverruled,
    SwapClosed,
    SwapOpened,
)
from app.services.swaps.amounts import inspection_forbids, inspection_lacks
from app.services.swaps.checklists import edition_problems
from app.services.swaps.remarks import overrule_problems
from app.services.swaps.swapping import open_swap, swap_state, under_way
from app.store.tables import RoomRow
from app.store.things import thing

Problems = list[FieldError]


def swap_problems(session: Session, room: RoomRow, entry: Any, _: datetime) -> Problems:
    """Why an entry about a swap or its checklist is refused; empty where it may be stored."""
    assert room.id is not None
    try:
        return _CHECKS[type(entry)](session, room.id, entry)
    except DomainError as error:
        return [FieldError("swap", str(error))]


def _opened(session: Session, room_id: int, entry: SwapOpened) -> Problems:
    known: SwapState | None = thing(session, room_id, SWAP, entry.swap)
    if known is not None and known.steps:
        return [FieldError("swap", "There is a swap with this key already.")]
    for name, tank in (("tank", entry.tank), ("from_tank", entry.from_tank)):
        if tank is not None and open_swap(session, room_id, tank) is not None:
            return [FieldError(name, f"A swap of “{tank}” is under way already.")]
    return []


def _done(session: Session, room_id: int, entry: StepDone) -> Problems:
    state = under_way(session, room_id, entry.swap)
    step, before = state.step(entry.step), state.tick(entry.step)
    if step is None:
        return [FieldError("step", "This swap has no such step.")]
    if before is not None and entry.repeats != before.id:
        who = before.by or "Somebody"
        message = f"{who} did this already. Send “{before.id}” as what it repeats to keep a try."
        return [FieldError("step", message)]
    if before is None and entry.repeats is not None:
        return [FieldError("repeats", "This step is not done yet.")]
    shut = blocks(state, step, inspection_forbids(session, room_id, state)) if not before else ()
    found = [FieldError("step", one.message) for one in shut]
    if step.role == "inspection" and not before and not state.overrule(step.key, "inspection"):
        lack = inspection_lacks(session, room_id, state)
        found += [FieldError("step", lack)] if lack else []
    return found


def _noted(session: Session, room_id: int, entry: StepNoted) -> Problems:
    found = under_way(session, room_id, entry.swap).step(entry.step)
    return [] if found else [FieldError("step", "This swap has no such step.")]


def _closed(session: Session, room_id: int, entry: SwapClosed) -> Problems:
    state = swap_state(session, room_id, entry.swap)
    if state.end != "entered":  # its new bath may be sent before the close of its list
        state = under_way(session, room_id, entry.swap)
    titles = ", ".join(f"“{step.title}”" for step in state.open_required)
    return [FieldError("swap", f"Still open: {titles}.")] if titles else []


_CHECKS: Mapping[type[Any], Callable[[Session, int, Any], Problems]] = {
    Checklist: edition_problems,
    SwapOpened: _opened,
    StepDone: _done,
    StepOverruled: overrule_problems,
    StepNoted: _noted,
    SwapClosed: _closed,
}
