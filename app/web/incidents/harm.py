"""What the room answers to each fault, act by act: the harm matrix as a table."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.harm.acts import ACTS
from app.domain.harm.faults import FAULTS, UNSEEN, Fault
from app.domain.harm.matrix import MATRIX, Answer, Cell
from app.web.deps import VisitDep

router = APIRouter(prefix="/rooms/{room}/harm")
TEMPLATE = "incidents/harm.html"
THINGS = {
    "person": "Person", "station": "Curing station", "tank": "Tank", "room": "Room",
    "drum": "Waste drum", "lot": "Lot of solvent",
}  # fmt: skip
SIGNS: dict[Answer, str] = {"forbidden": "No", "asked": "Ask", "told": "Tell", "none": ""}
WORDS: dict[Answer, str] = {
    "forbidden": "not stored", "asked": "stored only after you answer a question",
    "told": "stored; the fault shows on the room page", "none": "does not apply",
}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A fault and its answers, act by act."""

    fault: Fault
    cells: tuple[Cell, ...]


@router.get("")
def harm_page(visit: VisitDep) -> Response:
    """The matrix, by what has the fault."""
    groups = {
        title: [
            Row(fault, tuple(MATRIX[fault.key, act] for act in ACTS))
            for fault in FAULTS.values()
            if fault.thing == thing
        ]
        for thing, title in THINGS.items()
    }
    counts = {answer: sum(cell.answer == answer for cell in MATRIX.values()) for answer in SIGNS}
    context = {
        "groups": groups, "acts": list(ACTS.values()), "signs": SIGNS, "words": WORDS,
        "counts": counts, "unseen": UNSEEN,
    }  # fmt: skip
    return visit.page(TEMPLATE, context)
