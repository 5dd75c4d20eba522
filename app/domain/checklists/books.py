"""The book of a checklist: its last version."""

from dataclasses import dataclass
from datetime import datetime

from app.domain.checklists.dangers import renewed
from app.domain.checklists.default_template import DEFAULT, SWAP_CHECKLIST
from app.domain.checklists.template import Step, Template, restored_steps
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import CHECKLIST, Checklist
from app.domain.things import Thing


@dataclass(frozen=True)
class Edition:
    """A version that was kept."""

    version: int
    at: datetime
    by: str
    note: str
    steps: int


@dataclass(frozen=True)
class ChecklistState:
    """A checklist as its last version has it, and the versions before."""

    key: str
    name: str = ""
    version: int = 0
    steps: tuple[Step, ...] = ()
    editions: tuple[Edition, ...] = ()


EDITIONS_KEPT = 100


def _after(state: ChecklistState, entry: Entry) -> ChecklistState:
    if not isinstance(entry, Checklist):
        return state
    steps = restored_steps(entry.steps)
    edition = Edition(entry.version, entry.at, entry.by, entry.note, len(steps))
    editions = (*state.editions, edition)[-EDITIONS_KEPT:]
    if not steps or entry.version < state.version:
        return ChecklistState(state.key, state.name, state.version, state.steps, editions)
    return ChecklistState(state.key, entry.name, entry.version, steps, editions)


def template_of(state: ChecklistState | None) -> Template:
    """The checklist that the next swap begins with; the default where the room has none."""
    if state is None or not state.steps:
        return DEFAULT
    return Template(state.key, state.name, state.version, renewed(state.steps))


CHECKLIST_BOOK = Thing(CHECKLIST, ChecklistState, ChecklistState, _after)

__all__ = (
    "CHECKLIST_BOOK",
    "SWAP_CHECKLIST",
    "ChecklistState",
    "Edition",
    "template_of",
)
