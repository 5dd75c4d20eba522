"""What a step of a swap waits for. Most gates a lead may overrule, with a reason that stays."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.roomlog.kinds.checklists import OVERRULABLE


@dataclass(frozen=True)
class Block:
    """A gate that is shut.

    Attributes:
        step: the step that opens it; empty where none does.
    """

    gate: str
    message: str
    step: str = ""

    @property
    def can_be_overruled(self) -> bool:
        """Whether a lead may let it pass."""
        return self.gate in OVERRULABLE


WANTED: Mapping[str, tuple[str, ...]] = {
    "drain": ("ppe", "drum"),
    "rinse": ("ppe", "drum", "drain"),
    "inspection": ("ppe", "drain"),
    "refit": ("ppe", "drain"),
    "move": ("ppe", "drain", "inspection", "refit"),
    "fill": ("ppe", "drain", "move", "inspection", "refit"),
    "reading": ("fill",),
}
"""Roles that must be settled before the step of a role."""

NEEDS_CONTENTS = ("drain", "rinse", "move", "fill", "reading")
"""Roles that wait until somebody has said what is in the tank."""

_GATE_OF = {"drain": "drained", "move": "moved", "fill": "filled"}
_MESSAGES = {
    "ppe": "Protection is not confirmed yet",
    "drum": "No drum is chosen yet",
    "drained": "The bath is not drained yet",
    "moved": "The clean bath is not moved yet",
    "inspection": "The empty tank is not inspected yet",
    "refit": "The tank is not refitted yet: refit before filling",
    "filled": "The bath is not filled yet",
}


def blocks(state: SwapState, step: Step, inspection: str = "") -> tuple[Block, ...]:
    """The gates that are shut before a step, those that a lead let pass left out.

    Args:
        inspection: why the inspection forbids a refill; empty where it does not.
    """
    found = [
        Block(gate, f"{_MESSAGES[gate]}.", one.key)
        for role in WANTED.get(step.role, ())
        for one in state.with_role(role)
        if one.is_required and not state.is_settled(one)
        for gate in [_GATE_OF.get(role, role)]
    ]
    if inspection and step.role in ("move", "fill"):
        found = [one for one in found if one.gate != "inspection"]
        found.insert(0, Block("inspection", inspection))
    if state.asks and step.role in NEEDS_CONTENTS:
        found.insert(0, Block("contents", "Say first what is in the tank now."))
    return tuple(one for one in found if state.overrule(step.key, one.gate) is None)
