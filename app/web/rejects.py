"""The room's own reject rate by saturation: what should set its limits."""

from datetime import timedelta

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.domain.baths.rejects import BAND_PERCENT, FEWEST_REJECTS, FEWEST_WASHES, reject_rate
from app.store.queries import reject_counts
from app.web.deps import NowDep, RoomDep, SessionDep
from app.web.render import page

router = APIRouter(prefix="/rooms/{room}/rejects")
SPANS_DAYS = {91: "13 weeks", 182: "26 weeks", 364: "52 weeks"}


@router.get("")
def rejects_page(
    request: Request, session: SessionDep, room: RoomDep, now: NowDep, days: str = "182"
) -> Response:
    """Reject rate by band, with its interval and what can be said of it."""
    span = int(days) if days.isdecimal() and len(days) < 5 and int(days) in SPANS_DAYS else 182
    counts = reject_counts(session, room.id or 0, now - timedelta(days=span), BAND_PERCENT)
    context = {
        "room": room,
        "now": now,
        "rate": reject_rate(*counts),
        "days": span,
        "spans": SPANS_DAYS,
        "fewest_washes": FEWEST_WASHES,
        "fewest_rejects": FEWEST_REJECTS,
    }
    return page(request, "rejects/rate.html", context)
