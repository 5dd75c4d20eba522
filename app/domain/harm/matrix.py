"""The harm matrix: for every fault and every act what the room answers, as data.

What stands here is what every door does: `services/harm` looks for the faults and answers as the
cell says. The page for the lead, the test that walks all cells and the docs read the same cells.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from app.domain.harm.acts import ACTS, LETTERS, Task
from app.domain.harm.faults import FAULTS, Fault
from app.domain.harm.late import QUESTIONS_LATE

Answer = Literal["forbidden", "asked", "told", "none"]
ANSWERS: Mapping[str, Answer] = {"F": "forbidden", "A": "asked", "T": "told", "-": "none"}
APART = "Nothing with this fault is used."


@dataclass(frozen=True)
class Cell:
    """What an act answers to a fault, why, and by which source.

    Its name is that of the rule that refuses, or of the question that asks.
    """

    fault: str
    act: str
    answer: Answer
    reason: str
    source: str

    @property
    def name(self) -> str:
        """Name of the rule or question."""
        return self.fault


def build(
    faults: Iterable[Fault], letters: str, acts: Iterable[Task]
) -> dict[tuple[str, str], Cell]:
    """All cells by (fault, act).

    Raises:
        ValueError: a row lacks an answer, has one too many, or a letter that is none.
    """
    known, cells = list(acts), {}
    if len(set(letters)) != len(known):
        raise ValueError("Two acts have the same letter.")
    for fault in faults:
        if not fault.way:
            raise ValueError(f"{fault.key} has no way out.")
        if len(fault.row) != len(known):
            raise ValueError(f"{fault.key} has {len(fault.row)} answers for {len(known)} acts.")
        for act, letter in zip(known, fault.row, strict=True):
            if letter not in ANSWERS:
                raise ValueError(f"{fault.key} and {act.key}: “{letter}” is no answer.")
            answer = ANSWERS[letter]
            is_apart = answer == "none"
            cells[fault.key, act.key] = Cell(
                fault.key, act.key, answer, APART if is_apart else fault.harm,
                "" if is_apart else fault.source,
            )  # fmt: skip
    return cells


MATRIX: Mapping[tuple[str, str], Cell] = MappingProxyType(
    build(FAULTS.values(), LETTERS, ACTS.values())
)


def cells_of(act: str) -> tuple[Cell, ...]:
    """The cells of an act that apply."""
    return tuple(cell for (_, of), cell in MATRIX.items() if of == act and cell.answer != "none")


QUESTIONS: tuple[str, ...] = tuple(
    sorted({cell.name for cell in MATRIX.values() if cell.answer == "asked"} | {*QUESTIONS_LATE})
)
"""The names of all questions of the matrix, those of what is told late among them."""
