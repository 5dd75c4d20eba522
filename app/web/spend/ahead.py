"""What the next weeks are expected to cost."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.services.spend.ahead import Plan, spend_ahead
from app.web.charts import nice_values
from app.web.deps import VisitDep
from app.web.filters import number, solvent_name
from app.web.money import Money, money_of
from app.web.render import wants_fragment
from app.web.spend.links import names_of

router = APIRouter(prefix="/rooms/{room}/spend")
LEFT, WIDTH, FOOT, HIGH, EDGE = 90.0, 900.0, 276.0, 246.0, 70.0
LIKELY = 0.5  # chance from which a swap is named
NAMED_WEEKS = 3


@router.get("/ahead")
def ahead_page(visit: VisitDep) -> Response:
    """The next weeks with their range."""
    plan = spend_ahead(visit.session, visit.room, visit.now)
    money, names = money_of(plan.prices), names_of(visit)["tank"]
    highest = max((week.high_cents for _, week in plan.weeks), default=1.0) or 1.0
    context = {
        "plan": plan,
        "money": money,
        "names": names,
        "bars": _bars(plan, money, highest),
        "ticks": [(_y(value, highest), money.short(value)) for value in nice_values(highest, 5)],
        "solvent_name": solvent_name,
    }
    return visit.page("spend/ahead.html", context)


@router.get("/next")
def next_words(visit: VisitDep) -> Response:
    """What comes next in a sentence, for the page of the week."""
    if not wants_fragment(visit.request):
        return RedirectResponse(visit.address("spend", "ahead"), 303)
    plan = spend_ahead(visit.session, visit.room, visit.now)
    text = _next(plan, money_of(plan.prices), names_of(visit)["tank"])
    return visit.fragment("spend/_next.html", "next", {"text": text})


def _next(plan: Plan, money: Money, names: Mapping[str, str]) -> str:
    (this, now), (_, behind) = plan.weeks[:2]
    likely = [
        f"{names.get(tank, tank)} {'this week' if place == 0 else f'W{week.number:02d}'}"
        for place, (week, ahead) in enumerate(plan.weeks[:NAMED_WEEKS])
        for tank, chance in ahead.likely
        if chance >= LIKELY
    ]
    swaps = f" Swaps likely: {', '.join(likely)}." if likely else ""
    orders = f" {len(plan.orders)} to order." if plan.orders else ""
    return (
        f"this week (W{this.number:02d}) should end at about {money.about(now.cents)}, next week"
        f" at {money.about(behind.cents)} ({money.about(behind.low_cents)} to"
        f" {money.about(behind.high_cents)}).{swaps}{orders}"
    )


def _y(cents: float, highest: float) -> float:
    return round(FOOT - HIGH * max(cents, 0.0) / highest, 1)


def _bars(plan: Plan, money: Money, highest: float) -> list[dict[str, Any]]:
    step = WIDTH / max(len(plan.weeks), 1)
    found = []
    for place, (week, ahead) in enumerate(plan.weeks):
        middle, usual = LEFT + step * (place + 0.5), ahead.spent_cents + ahead.usual_cents
        words = (
            f"{week}: {money(ahead.cents)}, likely {money(ahead.low_cents)} to"
            f" {money(ahead.high_cents)}, {number(ahead.swaps, 1)} swaps"
        )
        found.append({
            "x": round(middle - step * 0.3, 1), "width": round(step * 0.6, 1),
            "y": _y(ahead.cents, highest), "usual_y": _y(min(usual, ahead.cents), highest),
            "spent_y": _y(ahead.spent_cents, highest),
            "low": _y(ahead.low_cents, highest), "high": _y(ahead.high_cents, highest),
            "label": f"W{week.number:02d}", "words": words, "value": money(ahead.cents),
            "value_x": round(min(max(middle, LEFT + EDGE), LEFT + WIDTH - EDGE), 1),
        })  # fmt: skip
    return found
