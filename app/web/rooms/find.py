"""Find anything: a tank, lot, drum, part, person, swap or page by a few letters."""

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.finding import found
from app.web.deps import VisitDep
from app.web.render import wants_fragment
from app.web.rooms.finding import findables

router = APIRouter(prefix="/rooms/{room}/find")
TEMPLATE = "rooms/find.html"
LONGEST = 80
MOST, MOST_AS_TYPED = 60, 8


@router.get("")
def find_page(visit: VisitDep) -> Response:
    """What the letters lead to; as a list alone while somebody types."""
    asked = visit.request.query_params.get("q", "")[:LONGEST].strip()
    is_typing = wants_fragment(visit.request)
    most = MOST_AS_TYPED if is_typing else MOST
    matches = found(findables(visit), asked, most + 1) if asked else ()
    context = {"asked": asked, "found": matches[:most], "has_more": len(matches) > most}
    if is_typing:
        return visit.fragment(TEMPLATE, "found", context)
    return visit.page(TEMPLATE, context)
