"""Where the solvent went."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.spend.balance import Balance
from app.services.spend.balance import balances, together
from app.store.site import site
from app.web.deps import Visit, VisitDep
from app.web.filters import solvent_name, volume
from app.web.spend.links import asked_week

router = APIRouter(prefix="/rooms/{room}/spend")
SPANS = {1: "One week", 13: "A quarter: 13 weeks", 52: "52 weeks"}
CAME = (("bought_l", "Bought"), ("resin_l", "Resin that parts carried in"),
        ("set_up_l", "In tanks when they were set up"))  # fmt: skip
WENT = (
    ("in_tanks_l", "More in the tanks than before"),
    ("on_shelf_l", "More on the shelf than before"),
    ("drums_l", "Poured into drums"), ("lost_l", "Dragged out and evaporated, as estimated"),
    ("scrapped_l", "Thrown away unused"),
)  # fmt: skip


@router.get("/balance")
def balance_page(visit: VisitDep) -> Response:
    """The balance of a week or a quarter."""
    try:
        week = asked_week(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    asked = visit.request.query_params.get("span", "13")
    span = int(asked) if asked in {str(key) for key in SPANS} else 13
    found = balances(visit.session, visit.room, week, max(span, 13))
    shown = {one: found[one] for one in list(found)[-span:]}
    percent = site(visit.session, visit.room_id).loss_tolerance_percent
    at = visit.address("spend", "balance")
    context = {
        "week": week,
        "span": span,
        "spans": [(f"{at}?week={week}&span={key}", text, key == span)
                  for key, text in SPANS.items()],
        "solvents": [
            _solvent(visit, key, balance, percent)
            for key, balance in sorted(together(shown).items())
            if balance.came_l or balance.moved_l or balance.lost_l
        ],
        "weeks": [_week_row(one, by, percent) for one, by in reversed(found.items())],
        "earlier": f"{at}?week={week.plus(-span)}&span={span}",
        "later": f"{at}?week={week.plus(span)}&span={span}",
    }  # fmt: skip
    return visit.page("spend/balance.html", context)


def _solvent(visit: Visit, key: str, balance: Balance, percent: float) -> dict[str, Any]:
    """A solvent's balance as a picture and a table."""
    parts = [(text, getattr(balance, name)) for name, text in WENT]
    parts.append(("Unexplained", balance.unexplained_l))
    came = [(text, litres) for name, text in CAME if (litres := getattr(balance, name))]
    taken = [(text, -litres) for text, litres in parts if litres < 0 and text != "Unexplained"]
    whole = sum(litres for _, litres in came) + sum(litres for _, litres in taken)
    whole = max(whole, 0.001)
    x, drawn = 0.0, []
    for place, (text, litres) in enumerate(parts):
        width = 1000 * max(0.0, litres) / whole
        if width > 0:
            drawn.append({"x": round(x, 1), "width": round(width, 1), "place": place,
                          "words": f"{text}: {volume(litres, visit.room)}"})  # fmt: skip
            x += width
    tolerance = balance.tolerance_l(percent)
    return {
        "name": solvent_name(key), "key": key, "came": came, "parts": parts, "drawn": drawn,
        "sum": balance.came_l, "tolerance": tolerance, "is_flagged": balance.is_flagged(percent),
        "unexplained": balance.unexplained_l, "width": max(1000.0, x),
    }  # fmt: skip


def _week_row(week: object, by: Mapping[str, Balance], percent: float) -> dict[str, Any]:
    def sums(name: str) -> float:
        return float(sum(getattr(balance, name) for balance in by.values()))

    return {
        "week": week, "bought": sums("bought_l"), "shelf": sums("on_shelf_l"),
        "tanks": sums("in_tanks_l"), "drums": sums("drums_l"), "lost": sums("lost_l"),
        "scrapped": sums("scrapped_l"), "unexplained": sums("unexplained_l"),
        "is_flagged": any(balance.is_flagged(percent) for balance in by.values()),
    }  # fmt: skip
