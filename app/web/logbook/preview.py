"""What a reading means, shown beside its form before it is saved."""

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.roomlog.kinds import Reading
from app.web.deps import VisitDep
from app.web.forms import FormState
from app.web.kinds.body import form_context
from app.web.kinds.different import Asked

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}")


@router.get("/preview")
def preview(visit: VisitDep, tank: str) -> Response:
    """What is typed, converted, against what the log says."""
    values = {**visit.request.query_params, "tank": tank}
    asked = Asked(visit, Reading, visit.tank(tank), FormState(values))
    return visit.fragment("logbook/reading.html", "preview", form_context(asked, tank))
