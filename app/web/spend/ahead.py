"""What the next weeks are expected to cost."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.services.spend.forecast import Plan, spend_ahead
from app.web.charts import nice_values
from app.web.deps import Visit, VisitDep
from app.web.filters import number, solvent_name
from app.web.money import Money, money_of
from app.web.render import wants_fragment
from app.web.shifts.since import listed
from app.web.spend.links import names_of
from app.web.spend.words import ending_words

router = APIRouter(prefix="/rooms/{room}/spend")
LEFT, WIDTH, FOOT, HIGH, EDGE = 90.0, 900.0, 276.0, 246.0, 70.0
LIKELY = 0.5  # chance from which a swap is named
NAMED_WEEKS = 3


@router.get("/ahead")
def ahead_page(visit: VisitDep) -> Response:
    """The next weeks with their range."""
    plan = spend_ahead(visit.session, visit.room, visit.now)
    money, names = money_of(plan.prices), names_of(visit)["tank"]
    budget = _budget(plan)
    highest = max([budget or 0, *(week.high_cents for _, week in plan.weeks)]) * 1.06 or 100.0
    context = {
        "plan": plan,
        "money": money,
        "names": names,
        "bars": _bars(plan, money, highest),
        "ticks": [(_y(value, highest), money.axis(value)) for value in nice_values(highest, 5)],
        "budget": budget,
        "budget_y": _y(budget, highest) if budget else None,
        "ending": ending_words(plan.weeks[0][1].cents, budget, money),
        "solvent_name": solvent_name,
    }
    return visit.page("spend/ahead.html", context)


@router.get("/next")
def next_words(visit: VisitDep) -> Response:
    """What comes next in a sentence, for the page of the week."""
    if not wants_fragment(visit.request):
        return RedirectResponse(visit.address("spend", "ahead"), 303)
    return visit.fragment("spend/_next.html", "next", {"text": coming(visit, with_this=True)})


def coming(visit: Visit, with_this: bool = False) -> str:
    """What comes next in a sentence, with or without the end of the week that is running."""
    plan = spend_ahead(visit.session, visit.room, visit.now)
    text = _next(plan, money_of(plan.prices), names_of(visit)["tank"])
    if not with_this or not plan.is_known:
        return text
    (this, now), money = plan.weeks[0], money_of(plan.prices)
    ending = ending_words(now.cents, _budget(plan), money)
    return f"this week (W{this.number:02d}) {ending}, {text}"


def expected_cents(visit: Visit) -> float | None:
    """What the week that is running should have cost at its end; None while that is too early to
    say."""
    plan = spend_ahead(visit.session, visit.room, visit.now)
    return plan.weeks[0][1].cents if plan.is_known else None


def _next(plan: Plan, money: Money, names: Mapping[str, str]) -> str:
    if not plan.is_known:
        return f"too early to say. {plan.missing}."
    _, behind = plan.weeks[1]
    likely = []
    for place, (week, ahead) in enumerate(plan.weeks[:NAMED_WEEKS]):
        tanks = [names.get(tank, tank) for tank, chance in ahead.likely if chance >= LIKELY]
        if tanks:
            when = f"in W{week.number:02d}" if place else "this week"
            likely.append(f"{listed(tanks)} {when}")
    swaps = f" Likely swaps: {', '.join(likely)}." if likely else ""
    orders = f" {len(plan.orders)} to order." if plan.orders else ""
    return (
        f"next week at {money.about(behind.cents)} ({money.about(behind.low_cents)} to"
        f" {money.about(behind.high_cents)}).{swaps}{orders}"
    )


def _budget(plan: Plan) -> int | None:
    return plan.prices.latest.weekly_budget_cents if plan.prices.latest else None


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
