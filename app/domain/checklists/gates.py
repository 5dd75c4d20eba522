"""What a step of a swap waits for. Most gates a lead may overrule, with a reason that stays."""

from dataclasses import dataclass

from app.domain.checklists.roles import BY_HAND, ROLES
from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.roomlog.kinds.checklists import OVERRULABLE


@dataclass(frozen=True)
class Block:
    """A gate that is shut.

    Attributes:
        step: the step that opens it; empty where none does.
        tank: the tank that is to be looked at, where that opens it.
        inspection, part: the inspection that is to be signed, or that asks for a new part.
    """

    gate: str
    message: str
    step: str = ""
    tank: str = ""
    inspection: str = ""
    part: str = ""

    @property
    def can_be_overruled(self) -> bool:
        """Whether a lead may let it pass."""
        return self.gate in OVERRULABLE


def blocks(state: SwapState, step: Step, inspection: str = "") -> tuple[Block, ...]:
    """The gates that are shut before a step, those that a lead let pass left out.

    Args:
        inspection: why the inspection forbids a refill; empty where it does not.
    """
    found = [
        Block(role.opens, f"{role.shut}.", one.key)
        for role in (ROLES[key] for key in ROLES[step.role].waits_for)
        for one in state.with_role(role.key)
        if one.is_required and not state.is_settled(one)
    ]
    if inspection and step.role in ("move", "fill"):
        found = [one for one in found if one.gate != "inspection"]
        found.insert(0, Block("inspection", inspection))
    if step.role in BY_HAND:
        found[:0] = _running(state)
    if state.asks and ROLES[step.role].needs_contents:
        found.insert(0, Block("contents", "First say what is in the tank now."))
    return tuple(one for one in found if state.overrule(step.key, one.gate) is None)


def may_flow(state: SwapState, tank: str) -> Step | None:
    """The step by which a tank's liquid may be on its way out though nobody has ticked it: all that
    it waits for is done. None while a gate is shut, once it is ticked, and of another tank."""
    if tank not in (state.tank, state.from_tank):
        return None
    role = "drain" if tank == state.tank else "move"
    step = next((one for one in state.with_role(role) if state.tick(one.key) is None), None)
    if step is None or any(one.gate != "contents" for one in blocks(state, step)):
        return None
    return step


def _running(state: SwapState) -> list[Block]:
    """That the bath was restarted: its lock came off, and no isolation from before it counts."""
    return [
        Block("running", f"The bath runs. Stop, lock and tag it. Then undo “{one.title}”.", one.key)
        for one in state.with_role("restart")
        if state.tick(one.key) is not None
    ]
