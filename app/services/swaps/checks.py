"""Entries about swaps that a program sends, held against the swap as it stands.

A program that ticks a step sends what follows from it itself, as entries of their own.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.checklists.filling import SLACK, marks_of
from app.domain.checklists.roles import RINSES, ROLES
from app.domain.checklists.run import SwapState, said_percent
from app.domain.checklists.tank_contents import seen_left_l
from app.domain.checklists.template import restored_steps
from app.domain.errors import DomainError, FieldError, NotFound
from app.domain.roomlog.kinds import Removal, SwapAbandoned, SwapStarted
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    Checklist,
    StepDone,
    StepNoted,
    StepOverruled,
    SwapClosed,
    SwapOpened,
    TankContents,
)
from app.domain.solvents import SOLVENTS
from app.services.incidents.holds import hold, is_out_of_service, second_problems
from app.services.swaps.asking import asked_of
from app.services.swaps.checklists import edition_problems, lead_problems, opening_problems
from app.services.swaps.inspected import finding_waits, inspection_lacks, shut_before
from app.services.swaps.purities import purity_problems
from app.services.swaps.under_way import open_swap, swap_state, under_way
from app.store.tables import RoomRow, TankRow
from app.store.things import thing

Problems = list[FieldError]
OFF_BY = 0.1
"""How far below the log a program may say a bath is, as a share of its upper mark; common
practice, no source."""
ONLY_AT = {"drum_room": ("drum",), "lot": ("fill", *RINSES), "plastic": ("bond",),
           "purity": ("fill",), "full_look": ("drain",), "refilled_look": ("restart",)}  # fmt: skip
"""Roles of the steps at which a gate lets something pass; elsewhere the word changes nothing."""


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
        return [FieldError("swap", "A swap already has this key.")]
    for name, tank in (("tank", entry.tank), ("from_tank", entry.from_tank)):
        if tank is not None and open_swap(session, room_id, tank) is not None:
            return [FieldError(name, f"A swap of “{tank}” is already under way.")]
    found = _pair(session, room_id, entry) or _figures(session, room_id, entry)
    return found or opening_problems(restored_steps(entry.steps))


def _begun(session: Session, room_id: int, entry: SwapStarted) -> Problems:
    row = session.get(TankRow, (room_id, entry.tank))
    if row is not None and row.is_retired:
        return [FieldError("tank", f"{row.name} is out of use.")]
    known = open_swap(session, room_id, entry.tank)
    if known is not None and known.key != entry.swap:
        return [FieldError("tank", f"A swap of “{entry.tank}” is already under way.")]
    return []


def _pair(session: Session, room_id: int, entry: SwapOpened) -> Problems:
    """Tanks that are out of use, and a bath that is not moved into this tank."""
    rows = {
        name: session.get(TankRow, (room_id, key))
        for name, key in (("tank", entry.tank), ("from_tank", entry.from_tank))
        if key
    }
    gone = [(name, row) for name, row in rows.items() if row is not None and row.is_retired]
    if gone:
        return [FieldError(name, f"{row.name} is out of use.") for name, row in gone]
    dirty, clean = rows.get("tank"), rows.get("from_tank")
    if dirty is None or clean is None:
        return []
    if dirty.pair != clean.key:
        return [FieldError("from_tank", f"{clean.name} is not its clean bath.")]
    if dirty.solvent != clean.solvent:
        message = f"{clean.name} holds another solvent. Do not move it here."
        return [FieldError("from_tank", message)]
    return []


def _figures(session: Session, room_id: int, entry: SwapOpened) -> Problems:
    """What is said of the baths and is not so by the log: gates of the swap go by it."""
    found: Problems = []
    for key, of in ((entry.tank, ""), (entry.from_tank, "from_")):
        row = session.get(TankRow, (room_id, key)) if key else None
        if row is None:
            continue
        liquid = SOLVENTS.get(row.solvent)
        if not of and entry.solvent != row.solvent:
            name = liquid.name if liquid is not None else row.solvent
            found.append(FieldError("solvent", f"{row.name} holds {name}."))
        mark_l = getattr(entry, f"{of}capacity_l")
        if mark_l is not None and mark_l > row.capacity_l * SLACK:
            words = f"The upper mark of {row.name} is at {row.capacity_l:.1f} L."
            found.append(FieldError(f"{of}capacity_l", words))
        held_l = getattr(entry, f"{of}estimated_l")
        if held_l is not None and held_l < row.volume_l - OFF_BY * row.capacity_l:
            words = f"{row.name} holds about {row.volume_l:.1f} L by the log."
            found.append(FieldError(f"{of}estimated_l", words))
    return found


def _done(session: Session, room_id: int, entry: StepDone) -> Problems:
    state = under_way(session, room_id, entry.swap)
    step, before = state.step(entry.step), state.tick(entry.step)
    if step is None:
        return [FieldError("step", "This swap has no such step.")]
    if before is not None and entry.repeats != before.id:
        who = before.by or "Somebody"
        message = (
            f"{who} has already done this. Send “{before.id}” as what it repeats to keep a try."
        )
        return [FieldError("step", message)]
    if before is None and entry.repeats is not None:
        return [FieldError("repeats", "This step is not done yet.")]
    shut = shut_before(session, room_id, state, step) if not before else ()
    found = [FieldError("step", one.message) for one in shut]
    if step.role == "inspection" and not before and not state.overrule(step.key, "inspection"):
        lack = inspection_lacks(session, room_id, state)
        found += [FieldError("step", lack)] if lack else []
    if waits := finding_waits(session, room_id, state, entry):
        found.append(FieldError("step", waits))
    if step.role == "fill" and not before:
        found += [
            FieldError("step", one.message, one.rule)
            for one in purity_problems(session, room_id, state, entry.answers or {})
        ]
    return found or _overfilled(state, step.role, entry)


def _overfilled(state: SwapState, role: str, entry: StepDone) -> Problems:
    """What a step pours into a tank is above its upper mark, with what was seen left in it."""
    name = {"fill": "filled_l", "move": "moved_l"}.get(role, "")
    poured_l = (entry.answers or {}).get(name)
    if not name or entry.repeats or not isinstance(poured_l, int | float):
        return []
    tank = state.tank if role == "move" else state.filled_tank
    capacity_l = state.capacity_l if role == "move" else marks_of(state)[0]
    after_l = float(poured_l) + seen_left_l(state, tank)
    if after_l <= capacity_l * SLACK:
        return []
    message = f"{after_l:.1f} L is above the upper mark of the tank, {capacity_l:.1f} L."
    return [FieldError("step", message)]


def _noted(session: Session, room_id: int, entry: StepNoted) -> Problems:
    found = under_way(session, room_id, entry.swap).step(entry.step)
    return [] if found else [FieldError("step", "This swap has no such step.")]


def _closed(session: Session, room_id: int, entry: SwapClosed) -> Problems:
    state = swap_state(session, room_id, entry.swap)
    if state.end != "entered":  # its new bath may be sent before the close of its list
        state = under_way(session, room_id, entry.swap)
    if state.asks:
        return [FieldError("swap", "First say what is in the tank.")]
    titles = ", ".join(f"“{step.title}”" for step in state.open_required)
    return [FieldError("swap", f"Still open: {titles}.")] if titles else []


def _abandoned(session: Session, room_id: int, entry: SwapAbandoned) -> Problems:
    """A swap that has drained or filled its tank is not given up without a word on that."""
    state = open_swap(session, room_id, entry.tank)
    if state is None or entry.asks_contents:
        return []
    if entry.tank not in {one.tank for one in asked_of(session, room_id, state)}:
        return []
    message = (
        "This swap has moved the liquid of the tank. Send true: the tank is held until a removal "
        "with this swap and left_l, or tank_contents as_before, says what is in it."
    )
    return [FieldError("asks_contents", message)]


def _contents(session: Session, room_id: int, entry: TankContents) -> Problems:
    state = swap_state(session, room_id, entry.swap)
    asked = [one.tank for one in asked_of(session, room_id, state)]
    if entry.tank not in asked:
        message = (
            "Nothing was moved from this tank in the swap, or its contents have already been "
            "entered."
        )
        return [FieldError("tank", message)]
    is_new_bath = entry.found == "filled" and entry.tank in state.filled
    if state.end and entry.found not in ("as_before", "asked") and not is_new_bath:
        message = "The swap is given up: send a removal with the swap and left_l, or its new bath."
        return [FieldError("found", message)]
    return []


def _removal(session: Session, room_id: int, entry: Removal) -> Problems:
    """A removal that names a swap says what is left: of a bath whose swap was given up, or of the
    new bath that its swap has made."""
    if entry.swap is None:
        return []
    state = swap_state(session, room_id, entry.swap)
    if entry.tank not in (*(state.asks if state.end else ()), *state.filled):
        return [
            FieldError("swap", "The contents of this tank after this swap are not in question.")
        ]
    return [] if entry.left_l is not None else [FieldError("left_l", "Enter what is left.")]


def overrule_problems(session: Session, room_id: int, word: StepOverruled) -> list[FieldError]:
    """Why a lead's word is refused; empty where it counts.

    Raises:
        NotFound, Conflict: there is no such swap or step, or it has ended.
    """
    step = under_way(session, room_id, word.swap).step(word.step)
    if step is None:
        raise NotFound("This swap has no such step.")
    errors = lead_problems(session, room_id, word.by)
    if not word.reason.strip():
        errors.append(FieldError("reason", "Say why. The reason stays with the swap."))
    if word.gate == "step" and (stays := ROLES[step.role].stays):
        message = f"“{step.title}” cannot be passed over: {stays}."
        errors.append(FieldError("gate", message))
    if word.gate in ("inspection", "part") and swap_is_out_of_service(
        session, room_id, under_way(session, room_id, word.swap)
    ):
        errors += second_problems(session, room_id, word.second, word.by)
    if word.gate == "lot" and "|" not in (word.about or ""):
        message = "Say which lot, as item|lot. The decision covers no other."
        errors.append(FieldError("about", message))
    if word.gate == "purity" and said_percent(word.about or "") is None:
        message = "Say which purity, in mass percent. The decision covers no other."
        errors.append(FieldError("about", message))
    if step.role not in ONLY_AT.get(word.gate, (step.role,)):
        message = f"This changes nothing at “{step.title}”: that gate is at another step."
        errors.append(FieldError("gate", message))
    return errors


def swap_is_out_of_service(session: Session, room_id: int, state: SwapState) -> bool:
    """A part that is out of service holds a tank of the swap."""
    tanks = filter(None, (state.tank, state.from_tank))
    return any(is_out_of_service(session, room_id, hold(session, room_id, tank)) for tank in tanks)


_CHECKS: Mapping[type[Any], Callable[[Session, int, Any], Problems]] = {
    Checklist: edition_problems,
    SwapOpened: _opened,
    SwapStarted: _begun,
    StepDone: _done,
    StepOverruled: overrule_problems,
    StepNoted: _noted,
    SwapClosed: _closed,
    SwapAbandoned: _abandoned,
    TankContents: _contents,
    Removal: _removal,
}
