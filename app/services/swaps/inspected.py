"""What the inspection of a swap's tanks forbids, what is still missing, and what a step finds."""

from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.gates import Block, blocks
from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.errors import FieldError
from app.domain.holds import HoldState
from app.domain.inspections.components import ComponentState
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import EMPTY
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    INSPECTION,
    Component,
    InspectionStarted,
)
from app.services.baths.building import swap_forbids
from app.services.swaps.looks import looks_missing
from app.services.swaps.scene import Outcome, Scene
from app.store.things import thing, things

TO_REPLACE = ("replace", "replace_with_mate")
OUT_OF_SERVICE = "take_out_of_service"
REFITS = ("refit", "refit_clean")
AFTER_LOOKING = ("refit", "move", "clean", "fill")
"""Roles that wait for parts that are to be replaced, and for a look that was begun."""
FILLING = ("move", "fill")
REFILL, RESTART = "The inspection forbids the refill:", "Leave it switched off:"
SENSOR_STATE, DAMAGED = "sensor_state", "damaged"


def shut_before(session: Session, room_id: int, state: SwapState, step: Step) -> tuple[Block, ...]:
    """The gates that are shut before a step: of its list, and of what was found on the tank."""
    forbids = inspection_forbids(session, room_id, state)
    found = list(blocks(state, step, forbids))
    if forbids and step.role in FILLING and not _passed_since(session, room_id, state, step):
        found = [one for one in found if one.gate != "inspection"]
        found.insert(0, Block("inspection", forbids))
    if step.role == "bond" and not _is_plastic_agreed(state, step):
        words = swap_forbids(session, room_id, state)
        found += [Block("plastic", f"{words} Only if a lead agrees.")] if words else []
    found += looks_missing(session, room_id, state, step)
    if step.role == "clean" and state.overrule(step.key, "inspection") is None:
        lack = _not_looked_at(session, room_id, state, step.role)
        found += [Block("inspection", lack)] if lack else []
    if step.role in REFITS and (parts := _out_of_service(session, room_id, state, step.role)):
        names = ", ".join(part.name for part in parts)
        message = f"Do not refit it: {names}. The last look takes it out of service."
        found.insert(0, _part_block(message, parts[0]))
    if forbids and step.role == "restart" and not _known_since(session, room_id, state):
        found.insert(0, Block("inspection", forbids.replace(REFILL, RESTART)))
    if step.role not in AFTER_LOOKING:
        return tuple(found)
    if parts := _to_replace(session, room_id, state):
        names = ", ".join(part.name for part in parts)
        message = f"Replace first: {names}. The last look calls for it."
        found.insert(0, _part_block(message, parts[0]))
    is_known = any(one.gate == "inspection" for one in found)
    if not is_known and (unsigned := _unsigned(session, room_id, state)):
        message = "An inspection of this tank has begun but is not signed. Finish it first."
        found.append(Block("inspection", message, inspection=unsigned.key))
    return tuple(found)


def _part_block(message: str, part: ComponentState) -> Block:
    """The gate that a new part opens, with the look that asks for one."""
    inspection = part.standing.inspection if part.standing is not None else ""
    return Block("part", message, inspection=inspection, part=part.key)


def _is_plastic_agreed(state: SwapState, step: Step) -> bool:
    """A lead let the bath go through plastic, into the drum that is chosen now."""
    ticks = (state.tick(one.key) for one in state.with_role("drum"))
    chosen_at = max((tick.at for tick in ticks if tick is not None), default=None)
    words = (one for one in state.overrules if one.step == step.key and one.gate == "plastic")
    return any(chosen_at is None or one.at >= chosen_at for one in words)


def _unsigned(session: Session, room_id: int, state: SwapState) -> InspectionState | None:
    """An inspection of its tanks that has begun, and that no lead has let the swap pass since."""
    words = [one.at for one in state.overrules if one.gate == "inspection"]
    unsigned = (
        one
        for one in open_inspections(session, room_id, state)
        if one.started_at is None or not any(at >= one.started_at for at in words)
    )
    return next(unsigned, None)


def out_of_service_at(session: Session, room_id: int, state: SwapState) -> datetime | None:
    """When an inspection last took a part of its tanks out of service; None where none is out."""
    held: list[datetime] = []
    for tank in filter(None, (state.tank, state.from_tank)):
        hold: HoldState | None = thing(session, room_id, HOLD, tank)
        held += [one.since_at for one in hold.holds if one.cause == "inspection"] if hold else []
    return max(held, default=None)


def _known_since(session: Session, room_id: int, state: SwapState) -> bool:
    """A lead let the swap pass its inspection at any step, knowing what that found."""
    since = out_of_service_at(session, room_id, state)
    words = (one for one in state.overrules if one.gate == "inspection")
    return any(since is None or one.at >= since for one in words)


def _passed_since(session: Session, room_id: int, state: SwapState, step: Step) -> bool:
    """A lead let the step pass its inspection, knowing what that found: not before it did."""
    since = out_of_service_at(session, room_id, state)
    words = (one for one in state.overrules if one.step == step.key and one.gate == "inspection")
    return any(since is None or one.at >= since for one in words)


def _to_replace(session: Session, room_id: int, state: SwapState) -> list[ComponentState]:
    """Parts that the last look says to replace, no new one fitted since, those left out that a
    lead has let pass after that look."""
    return [
        part
        for part in _parts_of(session, room_id, state)
        if part.standing is not None
        and part.standing.verdict in TO_REPLACE
        and not _is_passed(state, part.standing.at)
    ]


def _out_of_service(
    session: Session, room_id: int, state: SwapState, role: str
) -> list[ComponentState]:
    """Parts of the tank that is refitted, which the last look takes out of service: a tank that is
    put together with them has to be taken apart again before it is filled."""
    tank = state.tank if role == "refit" else state.from_tank
    return [
        part
        for part in _parts_of(session, room_id, state)
        if part.tank == tank
        and part.standing is not None
        and part.standing.verdict == OUT_OF_SERVICE
        and not _is_passed(state, part.standing.at)
    ]


def _is_passed(state: SwapState, at: datetime) -> bool:
    """A lead has let the swap pass a part after the look that was at an instant."""
    return any(one.at >= at for one in state.overrules if one.gate == "part")


def findings(scene: Scene) -> list[Entry]:
    """What a step's answers open: a damaged sensor is looked at, part by part, before the refill.

    An inspection of the same tank that is open already takes it in.
    """
    asks = any(ask.key == SENSOR_STATE for ask in scene.step.asks)
    if not asks or scene.answers.get(SENSOR_STATE) != DAMAGED:
        return []
    tank, hand = scene.state.tank, scene.hand
    under_way = open_inspections(scene.session, scene.room_id, scene.state)
    if any(one.tank == tank for one in under_way):
        return []
    parts = [
        one
        for one in _parts_of(scene.session, scene.room_id, scene.state)
        if one.part == "sensor" and one.tank == tank
    ]
    entries: list[Entry] = []
    positions = [{"component": p.key, "part": p.part, "name": p.name} for p in parts]
    if not parts:
        new = Component(
            at=hand.at, by=hand.by, component=f"{tank[:50]}-sensor", part="sensor", name="Sensor",
            tank=tank,
        )  # fmt: skip
        entries.append(new)
        positions = [{"component": new.component, "part": new.part, "name": new.name}]
    key = f"{tank[:36]}-sensor-{scene.now:%Y%m%d-%H%M%S}"
    started = InspectionStarted(
        at=hand.at, by=hand.by, inspection=key, positions=positions, tank=tank,
        swap=scene.state.key, note="Found damaged when cleaned in the swap",
    )  # fmt: skip
    return [*entries, started]


def inspection_forbids(session: Session, room_id: int, state: SwapState) -> str:
    """Why the inspection of its tanks forbids to fill them again; empty where it does not."""
    for found in open_inspections(session, room_id, state):
        if found.blocks_refill:
            return f"{REFILL} {found.reasons[0]}"
    held = tanks_out_of_service(session, room_id, state)
    return next((f"{REFILL} {reason}" for reason in held.values()), "")


def tanks_out_of_service(session: Session, room_id: int, state: SwapState) -> dict[str, str]:
    """The tanks of a swap that an inspection holds, each with why."""
    found: dict[str, str] = {}
    for tank in filter(None, (state.tank, state.from_tank)):
        hold: HoldState | None = thing(session, room_id, HOLD, tank)
        for one in hold.holds if hold is not None and hold.is_held else ():
            if one.cause == "inspection":
                found.setdefault(tank, one.reason)
    return found


def open_inspections(session: Session, room_id: int, state: SwapState) -> list[InspectionState]:
    """The inspections of its tanks that are not closed yet."""
    tanks = {state.tank, state.from_tank} - {None}
    found = things(session, room_id, INSPECTION, only_open=True).values()
    return [one for one in found if one.tank in tanks]


def inspection_lacks(session: Session, room_id: int, state: SwapState) -> str:
    """Why nobody can say yet that its tanks are inspected; empty where nothing is left open."""
    if open_inspections(session, room_id, state):
        return "The inspection of this tank is open. Finish and sign it first."
    parts = _parts_at(session, room_id, state, "inspection")
    names = [one.name for one in parts if one.missed is not None]
    if names:
        return (
            f"Nothing could be seen of {', '.join(names)}. Check again before filling, or have a "
            "lead let it pass under “Cannot do this step”."
        )
    return _not_looked_at(session, room_id, state, "inspection")


def inspect(scene: Scene) -> Outcome:
    """The inspection is done when it is closed and all was seen, or a lead lets it pass; where
    no parts are set up, looking is all there is.
    """
    if scene.is_overruled("inspection"):
        return Outcome()
    if lack := inspection_lacks(scene.session, scene.room_id, scene.state):
        return Outcome(errors=[FieldError("gate", lack)])
    return Outcome()


def _parts_of(session: Session, room_id: int, state: SwapState) -> list[ComponentState]:
    """The parts that are set up in its tanks."""
    tanks = {state.tank, state.from_tank} - {None, ""}
    found = things(session, room_id, COMPONENT, only_open=True).values()
    return [one for one in found if one.part and one.tank in tanks]


def _parts_at(session: Session, room_id: int, state: SwapState, role: str) -> list[ComponentState]:
    """The parts that are looked at by a step: where a step of its own readies the clean tank, which
    is full before that, only there; else all with the drained tank."""
    parts = _parts_of(session, room_id, state)
    if not state.with_role("clean"):
        return parts
    tank = state.from_tank if role == "clean" else state.tank
    return [one for one in parts if one.tank == tank]


def _not_looked_at(session: Session, room_id: int, state: SwapState, role: str) -> str:
    """Which parts of a tank nobody looked at since the swap began, or since the clean bath left it;
    empty where somebody looked at each. A look at one, or a new one, says nothing of the others."""
    here, since = _parts_at(session, room_id, state, role), state.started_at
    parts = [part for part in here if asked(part.part, EMPTY)]
    if role == "clean":
        ticks = (state.tick(one.key) for one in state.with_role("move"))
        since = next((tick.at for tick in ticks if tick is not None), None)
    left = [
        part for part in parts
        if since is None or part.last_seen_at is None or part.last_seen_at < since
    ]  # fmt: skip
    if not left:
        return ""
    is_all = len(left) == len(parts)
    what = "this tank's parts" if is_all else ", ".join(sorted(part.name for part in left))
    return (
        f"Nobody has checked {what} in this swap. Inspect them and sign, or have a lead let it "
        "pass under “Cannot do this step”."
    )
