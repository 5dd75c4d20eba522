"""How far the forecasts can be trusted: the room's own past, replayed in the background."""

import threading
from dataclasses import dataclass
from typing import Any, cast

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.baths.scores import LEADS_DAYS, Hit, Miss, Scores
from app.domain.instruments import INSTRUMENTS
from app.services.baths.track_record import TooLong, track_record
from app.web.deps import Visit, VisitDep
from app.web.render import wants_fragment

router = APIRouter(prefix="/rooms/{room}/forecasts")
TEMPLATE = "tanks/forecasts.html"
FEWEST = 5


@dataclass
class Replay:
    """A replay under way or done: `share` of it, its scores, or why there are none."""

    version: int
    share: float = 0.0
    scores: Scores | None = None
    message: str = ""

    @property
    def is_running(self) -> bool:
        """The replay goes on in the background."""
        return self.scores is None and not self.message

    def note(self, share: float) -> None:
        """Note how far it is."""
        self.share = share


@dataclass(frozen=True)
class LeadRow:
    """The forecasts made so many days ahead, summed up."""

    low_days: int
    high_days: int
    count: int
    median_error_days: float | None
    share_inside: float


@dataclass(frozen=True)
class MethodRow:
    """The readings of one instrument against the estimates before them, summed up."""

    name: str
    count: int
    middle_percent: float
    rms_percent: float


@router.get("")
def record_page(visit: VisitDep) -> Response:
    """The record, or how far its replay is."""
    context = _context(visit, _replays(visit).get(visit.room.key))
    if wants_fragment(visit.request):
        return visit.fragment(TEMPLATE, "record", context)
    return visit.page(TEMPLATE, context)


@router.post("")
def start(visit: VisitDep) -> Response:
    """Begin a replay, unless one is under way."""
    replays = _replays(visit)
    known = replays.get(visit.room.key)
    if known is None or not known.is_running:
        replay = replays[visit.room.key] = Replay(visit.room.version)
        threading.Thread(target=_run, args=(visit, replay), daemon=True).start()
    return RedirectResponse(visit.address("forecasts"), 303)


def _run(visit: Visit, replay: Replay) -> None:
    try:
        replay.scores = track_record(visit.store, visit.room.key, replay.note)
    except TooLong:
        replay.message = (
            "This log is too long to replay here. Export it and run “python3 -m app backtest”."
        )
    except Exception:
        replay.message = "The replay did not come to its end. Try again."
        raise


def _replays(visit: Visit) -> dict[str, Replay]:
    state = visit.request.app.state
    if not hasattr(state, "replays"):
        state.replays = {}
    return cast(dict[str, Replay], state.replays)


def _context(visit: Visit, replay: Replay | None) -> dict[str, Any]:
    scores = replay.scores if replay else None
    return {
        "replay": replay,
        "is_old": replay is not None and replay.version != visit.room.version,
        "leads": _leads(scores.hits) if scores else [],
        "methods": _methods(scores.misses) if scores else [],
        "passings": scores.passings if scores else 0,
        "verdict": _verdict(scores) if scores else "",
    }


def _verdict(scores: Scores) -> str:
    """What the share of days that fell into their range says, in a sentence."""
    if scores.passings < FEWEST:
        return "With so few, this says little yet."
    inside = sum(hit.is_inside for hit in scores.hits) / max(1, len(scores.hits))
    if inside > 0.9:
        return "Here it is more: the ranges are wider than they need to be."
    if inside < 0.7:
        return "Here it is less: take the early day more seriously than it looks."
    return "Here it is about that: the ranges can be planned by."


def _leads(hits: list[Hit]) -> list[LeadRow]:
    rows = []
    for low, high in LEADS_DAYS:
        found = [hit for hit in hits if low <= hit.lead_days < high]
        errors = sorted(abs(hit.error_days) for hit in found if hit.error_days is not None)
        if found:
            inside = sum(hit.is_inside for hit in found) / len(found)
            middle = errors[len(errors) // 2] if errors else None
            rows.append(LeadRow(low, high, len(found), middle, inside))
    return rows


def _methods(misses: dict[str, list[Miss]]) -> list[MethodRow]:
    return [
        MethodRow(
            INSTRUMENTS[method].name,
            len(found),
            sorted(miss.difference_percent for miss in found)[len(found) // 2],
            (sum(miss.difference_percent**2 for miss in found) / len(found)) ** 0.5,
        )
        for method, found in sorted(misses.items())
    ]
