"""The room's own reject rate by saturation: what should set its limits."""

from datetime import timedelta

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.baths.rejects import BAND_PERCENT, FEWEST_REJECTS, FEWEST_WASHES, reject_rate
from app.store.queries import reject_counts
from app.web.deps import VisitDep

router = APIRouter(prefix="/rooms/{room}/rejects")
SPANS = {"91": "13 weeks", "182": "26 weeks", "364": "52 weeks"}


@router.get("")
def rejects_page(visit: VisitDep, days: str = "182") -> Response:
    """Reject rate by band, with its interval and what can be said of it."""
    span = days if days in SPANS else "182"
    since = visit.now - timedelta(days=int(span))
    rate = reject_rate(*reject_counts(visit.session, visit.room_id, since, BAND_PERCENT))
    context = {
        "rate": rate,
        "highest": max((band.high_rate for band in rate.bands if band.washes), default=1.0),
        "days": span,
        "spans": SPANS,
        "fewest_washes": FEWEST_WASHES,
        "fewest_rejects": FEWEST_REJECTS,
    }
    return visit.page("tanks/rejects.html", context)
