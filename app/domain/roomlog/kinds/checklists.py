"""The swap as it is done: the template of its steps, each tick, its close."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from app.domain.checklists.template import checked_steps
from app.domain.errors import FieldError
from app.domain.roomlog.fields import KEY_PATTERN, number, spec
from app.domain.roomlog.kinds.base import HOLD, LedgerEntry
from app.domain.roomlog.life import Page, Way

SWAP = "swap"
CHECKLIST = "checklist"
GATES = (
    "ppe", "drum", "drum_room", "drained", "moved", "inspection", "refit", "filled", "lot", "step",
    "contents", "part", "isolate", "bond", "hands", "clean", "leak_check", "plastic",
    "full_look", "refilled_look", "purity", "isolate_clean", "rinse_clean", "refit_clean",
    "running",
)  # fmt: skip
OVERRULABLE = ("ppe", "drum", "drum_room", "inspection", "part", "refit", "lot", "step",
               "plastic", "full_look", "refilled_look", "purity")  # fmt: skip
"""What a lead may overrule; `step` passes a required step over."""
GATE_WORDS = {
    "ppe": "protection", "drum_room": "room in the drum", "part": "part to replace",
    "lot": "lot of the solvent", "step": "step required", "plastic": "much through plastic",
    "purity": "purity of the solvent",
    "full_look": "look at the full tank", "refilled_look": "look at the refilled tank",
}  # fmt: skip

MOST_L = 20_000.0
MOST_ANSWERS, LONGEST_ANSWER, MOST_WRITTEN = 40, 500, 20
EXAMPLE_STEPS = [
    {"key": "protect", "title": "Put on gloves and glasses", "role": "ppe", "confirms": ["On"]},
    {"key": "isolate", "title": "Isolate the bath", "role": "isolate", "confirms": ["Locked"]},
    {"key": "choose", "title": "Choose the drum", "role": "drum"},
    {"key": "bond", "title": "Bond tank and drum", "role": "bond", "confirms": ["Bonded"]},
    {"key": "drain", "title": "Drain the bath", "role": "drain"},
    {"key": "inspect", "title": "Inspect the tank", "role": "inspection"},
    {"key": "refit", "title": "Refit the tank", "role": "refit", "confirms": ["Drain is closed"]},
    {"key": "fill", "title": "Fill the bath", "role": "fill"},
    {"key": "leaks", "title": "Look for leaks", "role": "leak_check", "confirms": ["No drop"]},
    {"key": "restart", "title": "Restart the bath", "role": "restart", "confirms": ["It runs"]},
]


def check_answers(value: Any) -> dict[str, Any]:
    """What a step was answered: text, numbers or yes and no, by name.

    Raises:
        ValueError: something else.
    """
    if not isinstance(value, Mapping) or len(value) > MOST_ANSWERS:
        raise ValueError(f"At most {MOST_ANSWERS} answers, each with a name.")
    for name, answer in value.items():
        if not isinstance(name, str) or not KEY_PATTERN.fullmatch(name):
            raise ValueError("The name of an answer must be a key.")
        is_number = isinstance(answer, int | float) and math.isfinite(answer)
        is_text = isinstance(answer, str) and len(answer) <= LONGEST_ANSWER
        if not (is_number or is_text):
            raise ValueError(f"The answer “{name}” must be a number, yes or no, or a short text.")
    return dict(value)


def check_ids(value: Any) -> list[str]:
    """Ids of entries.

    Raises:
        ValueError: something else.
    """
    if not isinstance(value, list | tuple) or len(value) > MOST_WRITTEN:
        raise ValueError(f"At most {MOST_WRITTEN} ids of entries.")
    if not all(isinstance(one, str) and KEY_PATTERN.fullmatch(one) for one in value):
        raise ValueError("These are not ids of entries.")
    return list(value)


@dataclass(frozen=True, kw_only=True)
class Checklist(LedgerEntry):
    """A checklist in a new version; swaps under way keep the one they began with."""

    kind: ClassVar[str] = "checklist"
    summary: ClassVar[str] = "Checklist changed"
    sentence: ClassVar[str] = "{by} changed the checklist {name} to version {version}"
    reached: ClassVar[Way] = Page("/checklist")

    checklist: str = spec("key", "Checklist", required=True, thing=CHECKLIST)
    name: str = spec("text", "Name", required=True)
    version: int = spec("whole", "Version", low=1, high=100_000, required=True)
    steps: Any = spec("data", "Steps", required=True, check=checked_steps, example=EXAMPLE_STEPS)


@dataclass(frozen=True, kw_only=True)
class SwapOpened(LedgerEntry):
    """The checklist of a swap is taken up: its steps as they stand then, and what the bath held.

    With `from_tank` the liquid of that clean bath is moved here, and only it is filled fresh.
    """

    kind: ClassVar[str] = "swap_opened"
    summary: ClassVar[str] = "Checklist of a swap opened"
    sentence: ClassVar[str] = (
        "{by} opened the checklist for the swap of {tank}[, to be filled from {from_tank}]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    tank: str = spec("key", "Tank", required=True)
    checklist: str = spec("key", "Checklist", required=True)
    version: int = spec("whole", "Version", low=0, high=100_000, required=True)
    steps: Any = spec("data", "Steps", required=True, check=checked_steps, example=EXAMPLE_STEPS)
    estimated_l: float = number("Estimated in the bath", "L", 0, MOST_L, required=True)
    capacity_l: float = number("Volume to the upper mark", "L", 0.1, MOST_L, required=True)
    min_l: float | None = number("Volume to the lower mark", "L", 0, MOST_L)
    solvent: str = spec("key", "Solvent", required=True)
    from_tank: str | None = spec("key", "Filled with the bath of", names="tank")
    from_estimated_l: float | None = number("Estimated in the clean bath", "L", 0, MOST_L)
    from_capacity_l: float | None = number("Its volume to the upper mark", "L", 0.1, MOST_L)
    from_min_l: float | None = number("Its volume to the lower mark", "L", 0, MOST_L)


@dataclass(frozen=True, kw_only=True)
class StepDone(LedgerEntry):
    """A step was ticked. With `repeats` it had been ticked before, and nothing follows from it.

    Attributes:
        answers: what the step asked for, in the kept units.
        wrote: ids of the entries that followed from the tick.
    """

    kind: ClassVar[str] = "step_done"
    summary: ClassVar[str] = "Step done"
    sentence: ClassVar[str] = "{by} ticked “{step}” [repeats?once more ]in the swap of {swap}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    step: str = spec("key", "Step", required=True, names="step")
    repeats: str | None = spec("key", "Id of the tick before it")
    answers: Any = spec("data", "Answers", check=check_answers, example={"drained_l": 38.5})
    wrote: Any = spec("data", "Entries that followed", check=check_ids, example=["a1"])


@dataclass(frozen=True, kw_only=True)
class StepOverruled(LedgerEntry):
    """A lead let a step be done, or passed over, against its gate."""

    kind: ClassVar[str] = "step_overruled"
    summary: ClassVar[str] = "Gate overruled"
    sentence: ClassVar[str] = (
        "{by}[ and {second}] overruled the gate “{gate}” at “{step}” in the swap of {swap}"
        "[, for {about}]: {reason}"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    step: str = spec("key", "Step", required=True, names="step")
    gate: str = spec("choice", "Gate", choices=OVERRULABLE, words=GATE_WORDS, required=True)
    reason: str = spec("text", "Reason", required=True)
    second: str | None = spec(
        "text", "Second person", help="Who agrees, if a part out of service holds it."
    )
    about: str | None = spec(
        "text",
        "Of which lot or purity",
        help="Item and lot, with | between them, or mass percent. The decision covers no other.",
    )


@dataclass(frozen=True, kw_only=True)
class StepNoted(LedgerEntry):
    """Something was noted at a step that is not done yet."""

    kind: ClassVar[str] = "step_noted"
    summary: ClassVar[str] = "Noted at a step"
    sentence: ClassVar[str] = "{by} noted at “{step}” in the swap of {swap}: {text}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    step: str = spec("key", "Step", required=True, names="step")
    text: str = spec("text", "What was seen", required=True)


@dataclass(frozen=True, kw_only=True)
class SwapClosed(LedgerEntry):
    """A swap is complete: where each litre went. The loss is what no other line accounts for."""

    kind: ClassVar[str] = "swap_closed"
    summary: ClassVar[str] = "Swap closed"
    sentence: ClassVar[str] = (
        "{by} closed the swap of {tank}: {drained_l} drained[, {moved_l} moved from the clean "
        "bath], {filled_l} filled, {heel_l} left in it, loss {loss_l}[, into {drum}]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    tank: str = spec("key", "Tank", required=True)
    estimated_l: float = number("Estimated in the bath before", "L", 0, MOST_L, required=True)
    drained_l: float = number("Drained", "L", 0, MOST_L, required=True)
    rinsed_l: float = number("Rinse into the drum", "L", 0, MOST_L, required=True)
    heel_l: float = number("Left in the tank", "L", 0, MOST_L, required=True)
    moved_l: float | None = number("Moved from the clean bath", "L", 0, MOST_L)
    filled_l: float = number("Filled with fresh solvent", "L", 0, MOST_L, required=True)
    loss_l: float = number("Loss against the estimate", "L", -MOST_L, MOST_L, required=True)
    drum: str | None = spec("key", "Drum")
    wrote: Any = spec("data", "Entries that followed", check=check_ids, example=["a1"])


FOUND = ("asked", "as_before", "empty", "partly", "filled")
"""What may be in a tank whose swap stopped on the way; `asked`: nobody has said yet."""
FOUND_WORDS = {
    "asked": "not said yet", "as_before": "the bath as before", "empty": "only its heel",
    "partly": "a part of it", "filled": "the new fill",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class TankContents(LedgerEntry):
    """What is in a tank whose swap stopped on the way, or that this is asked.

    While the swap is under way it sets the level. Once it was given up this entry says that the
    bath is as before; anything else is a removal or a swap that names the swap. Until somebody
    answers, the tank is held; the answer lifts that by itself.
    """

    kind: ClassVar[str] = "tank_contents"
    summary: ClassVar[str] = "What is in the tank"
    sentence: ClassVar[str] = "What is in {tank}: {found}[, {left_l}]"
    reached: ClassVar[Way] = Page("/tanks/{tank}/contents")

    tank: str = spec("key", "Tank", required=True, thing=HOLD)
    swap: str = spec("key", "Swap", required=True, thing=SWAP)
    found: str = spec("choice", "In the tank", choices=FOUND, words=FOUND_WORDS, required=True)
    left_l: float | None = number("Litres in the tank", "L", 0, MOST_L)

    def problems(self) -> list[FieldError]:
        """A part is so many litres."""
        if self.found == "partly" and self.left_l is None:
            return [FieldError("left_l", "Enter how many litres are in the tank.")]
        return []


KINDS_OF_CONTENTS: tuple[type[LedgerEntry], ...] = (TankContents,)
KINDS_OF_CHECKLISTS: tuple[type[LedgerEntry], ...] = (
    Checklist, SwapOpened, StepDone, StepOverruled, StepNoted, SwapClosed,
)  # fmt: skip
