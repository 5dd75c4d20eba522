"""The room for a screen on the wall, read from three metres: who needs somebody; no controls."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.store.site import crew
from app.web import words
from app.web.deps import Visit, VisitDep
from app.web.render import ASSETS, wants_fragment
from app.web.rooms.board import board_of, vessels_of
from app.web.rooms.problems import open_problems

router = APIRouter(prefix="/rooms/{room}/wall")
TEMPLATE = "rooms/wall.html"
SHOWN = 6
SHOWN_PROBLEMS = 2
ACTS: dict[words.State, str] = {
    "held": "Held", "stop": "Stop", "over": "Swap", "soon": "Soon", "check": "Check",
    "measure": "Measure", "swapping": "Finish",
}  # fmt: skip
"""What to do in one word."""
SHORT = {"out of use": "out", "held, swap": "held", "not known": "?"}
"""What stands in a picture that shows no level, where that is too long."""


@router.get("")
def wall(visit: VisitDep) -> Response:
    """The open problems, the worst six tanks and the verdict; follows the room by itself."""
    context = _context(visit)
    if wants_fragment(visit.request):
        return visit.fragment(TEMPLATE, "wall", context)
    return visit.page(TEMPLATE, context)


def _context(visit: Visit) -> dict[str, Any]:
    board = board_of(visit)
    vessels, problems = vessels_of(visit, board), open_problems(visit, board)
    needy = [one for one in vessels if one.is_needy]
    shown = vessels[:SHOWN]
    leads = crew(visit.session, visit.room_id).leads
    return {
        "needy": [one for one in shown if one.is_needy],
        "calm": [one for one in shown if not one.is_needy],
        "verdict": words.headline_of(
            len(needy),
            len(vessels),
            sum(one.tank.is_too_early for one in vessels),
            len(problems),
        ),
        "problems": problems[:SHOWN_PROBLEMS],
        "more_problems": max(0, len(problems) - SHOWN_PROBLEMS),
        "more": max(0, len(needy) - SHOWN),
        "acts": ACTS,
        "short": SHORT,
        "tell": leads[0] if leads else "",
        "as_of": board.days_as_of,
        "version": ASSETS.version,
    }
