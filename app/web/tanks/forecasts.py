"""How far the forecasts can be trusted: what was said of each bath, and what came of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.baths.recalibration import NOMINAL, Levels
from app.domain.baths.record import Said, Tally, tally
from app.domain.instruments import INSTRUMENTS
from app.services.baths.track_record import Miss, misses_of, record_of
from app.store import queries
from app.web import words
from app.web.deps import VisitDep

router = APIRouter(prefix="/rooms/{room}/forecasts")
FEWEST = 5
OUTCOMES = {
    "as_said": "As forecast",
    "sooner": "Sooner than forecast",
    "later": "Later than forecast",
}
JUST_BEFORE = timedelta(minutes=1)  # midnight belongs to the day that ends
NOTED = 0.03  # a level moved by less is not worth a word


@dataclass(frozen=True)
class MethodRow:
    """The readings of one instrument against the estimates before them, summed up."""

    name: str
    count: int
    middle_percent: float
    rms_percent: float


@router.get("")
def record_page(visit: VisitDep) -> Response:
    """The record: how many came as said, each forecast, and the readings against the estimates."""
    record = record_of(visit.session, visit.room)
    found = tally(record.closed)
    context: dict[str, Any] = {
        "tally": found,
        "verdict": verdict(found),
        "change": change(record.levels),
        "closed": list(reversed(record.closed)),
        "open": sorted(record.open, key=lambda one: one.at, reverse=True),
        "stage": stage_words,
        "end_of_day": lambda at: words.day(at - JUST_BEFORE, visit.zone, visit.now),
        "day": lambda at: words.day(at, visit.zone, visit.now),
        "outcomes": OUTCOMES,
        "names": queries.tank_names(visit.session, visit.room_id),
        "methods": _methods(misses_of(visit.session, visit.room)),
    }
    return visit.page("tanks/forecasts.html", context)


def stage_words(said: Said) -> str:
    """How far the bath was when it was said."""
    return "at half" if said.stage == 0.5 else f"at {100 * said.stage:.0f} %"


def verdict(found: Tally) -> str:
    """What the share that came as said means for who plans by it."""
    if found.fills < FEWEST:
        return "So few baths say little yet."
    share = found.as_said / found.fills
    if share > 0.9:
        return "The forecasts here do better, so the ranges are wider than needed."
    if share < 0.7:
        rather = "early" if found.sooner >= found.later else "late"
        return f"The forecasts here do worse. Plan by the {rather} day."
    return "The forecasts here come close to that. You can plan by the ranges."


def change(levels: Levels) -> str:
    """What the record does to the days named, in a sentence."""
    early = levels.high - NOMINAL.high
    late = NOMINAL.low - levels.low
    said = [
        f"the {name} day {outward if moved > 0 else inward}"
        for name, moved, outward, inward in (
            ("early", early, "earlier", "later"),
            ("late", late, "later", "earlier"),
        )
        if abs(moved) >= NOTED
    ]
    if not said:
        return "The record calls for no change, so the days shown are as calculated."
    return f"This record makes {' and '.join(said)}. The more swaps it has, the more it counts."


def _methods(misses: Sequence[Miss]) -> list[MethodRow]:
    by_method: dict[str, list[float]] = {}
    for miss in misses:
        by_method.setdefault(miss.method, []).append(miss.difference_percent)
    return [
        MethodRow(
            INSTRUMENTS[method].name,
            len(found),
            sorted(found)[len(found) // 2],
            (sum(one**2 for one in found) / len(found)) ** 0.5,
        )
        for method, found in sorted(by_method.items())
    ]
