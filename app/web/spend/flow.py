"""Where the solvent went."""

from collections.abc import Callable, Mapping, Sequence
from itertools import accumulate
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.spend.mass_balance import (
    CAME,
    UNEXPLAINED,
    WENT,
    Balance,
    Shown,
    came,
    shown_in,
    summed,
)
from app.domain.spend.weeks import IsoWeek
from app.services.history import site_history
from app.services.spend.mass_balance import balances, together
from app.units import label, to_display
from app.web.charts import reaches
from app.web.deps import Visit, VisitDep
from app.web.filters import number, solvent_name, units_of
from app.web.spend.links import asked_week

router = APIRouter(prefix="/rooms/{room}/spend")
SPANS = {1: "One week", 13: "A quarter: 13 weeks", 52: "52 weeks"}
STEPS = 100  # of the room's unit: what is shown is whole hundredths
WORDS = {
    "bought_l": "Bought", "resin_l": "Resin that parts carried in",
    "set_up_l": "In tanks when they were set up", "in_tanks_l": "More in the tanks than before",
    "on_shelf_l": "More on the shelf than before", "drums_l": "Poured into drums",
    "lost_l": "Dragged out and evaporated, as estimated",
    "scrapped_l": "Thrown away, spilled or spoiled", UNEXPLAINED: "Unexplained",
}  # fmt: skip
COLUMNS = {
    "bought_l": "Bought", "resin_l": "Resin carried in", "set_up_l": "In new tanks",
    "in_tanks_l": "Tanks, change", "on_shelf_l": "Shelf, change", "drums_l": "Drums",
    "lost_l": "Dragged out, evaporated", "scrapped_l": "Thrown away", UNEXPLAINED: "Unexplained",
}  # fmt: skip
TAKEN = {"in_tanks_l": "Taken from the tanks", "on_shelf_l": "Taken from the shelf"}
EDGE = 190.0  # half the width that a part's words take
THINNEST, FINGER = 5.0, 48.0  # a part is drawn, and takes the pointer, at least so wide

Balances = Mapping[IsoWeek, Mapping[str, Balance]]
Tolerance = Callable[[IsoWeek], float]
"""What may be unexplained, percent of what was moved, by week."""


@router.get("/balance")
def balance_page(visit: VisitDep) -> Response:
    """The balance of a week or a quarter."""
    try:
        week, span = asked_week(visit), _asked_span(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    now = IsoWeek.at(visit.now, visit.zone)
    if week > now:
        message = f"Week {week} has not begun. Choose one up to {now}."
        return visit.page("spend/no_week.html", {"message": message}, 422)
    found = balances(visit.session, visit.room, week, max(span, 13))
    tolerance = _tolerances(visit)
    at = visit.address("spend", "balance")
    context = {
        "week": week,
        "span": span,
        "spans": [(f"{at}?week={week}&span={key}", text, key == span)
                  for key, text in SPANS.items()],
        "unit": label("volume", units_of(visit.room)),
        "solvents": _solvents(
            visit, {one: found[one] for one in list(found)[-span:]}, tolerance(week)
        ),
        **_weeks(visit, found, tolerance),
        "percent": tolerance(week),
        "earlier": f"{at}?week={week.plus(-span)}&span={span}",
        "later": f"{at}?week={min(week.plus(span), now)}&span={span}" if week < now else "",
    }  # fmt: skip
    return visit.page("spend/balance.html", context)


def _tolerances(visit: Visit) -> Tolerance:
    """The site's tolerance as it stood at the end of a week, or now where that is not over."""
    settings = site_history(visit.session, visit.room_id)
    return lambda week: (
        settings(min(week.last_instant(visit.zone), visit.now)).loss_tolerance_percent
    )


def _asked_span(visit: Visit) -> int:
    text = visit.request.query_params.get("span", "13")
    if text not in {str(key) for key in SPANS}:
        raise FieldError("span", f"“{text[:20]}” is not a span. Choose 1, 13 or 52 weeks.")
    return int(text)


def steps_per_l(visit: Visit) -> float:
    """How many hundredths of the room's unit a litre is."""
    return STEPS * to_display(1.0, "volume", units_of(visit.room))


def text_of(steps: int) -> str:
    """Hundredths of the room's unit, as they are shown."""
    return number(steps / STEPS, 2)


def _solvents(visit: Visit, found: Balances, percent: float) -> list[dict[str, Any]]:
    """Each solvent of these weeks that came or went, in one balance."""
    rows = []
    for key, balance in sorted(together(found).items()):
        if balance.came_l or balance.moved_l or balance.lost_l:
            shown = summed(
                shown_in(by[key], steps_per_l(visit)) for by in found.values() if key in by
            )
            rows.append(_solvent(visit, key, balance, shown, percent))
    return rows


def _solvent(
    visit: Visit, key: str, balance: Balance, shown: Shown, percent: float
) -> dict[str, Any]:
    """A solvent's balance as a picture and a table."""
    names, taken = (*WENT, UNEXPLAINED), [name for name in TAKEN if shown[name] < 0]
    drawn = [(place, name) for place, name in enumerate(names) if shown[name] > 0]
    whole = max(1, sum(shown[name] for _, name in drawn))
    words = [f"{WORDS[name]}: {text_of(shown[name])}" for _, name in drawn]
    edges = [1000 * part / whole for part in accumulate((shown[n] for _, n in drawn), initial=0)]
    return {
        "name": solvent_name(key), "key": key,
        "drawn": _parts(edges, [place for place, _ in drawn], words, visit),
        "came": [
            *((WORDS[name], text_of(shown[name])) for name in CAME if shown[name]),
            *((TAKEN[name], text_of(-shown[name])) for name in taken),
        ],
        "went": [
            (place, WORDS[name], text_of(shown[name]))
            for place, name in enumerate(names) if name not in taken
        ],
        "sum": text_of(came(shown) - sum(shown[name] for name in taken)),
        "unexplained": shown[UNEXPLAINED],
        "unexplained_text": text_of(shown[UNEXPLAINED]),
        "tolerance": balance.tolerance_l(percent), "is_flagged": balance.is_flagged(percent),
    }  # fmt: skip


def _parts(
    edges: Sequence[float], places: Sequence[int], words: Sequence[str], visit: Visit
) -> list[dict[str, Any]]:
    """The parts of a bar as they are drawn, and where each takes the pointer."""
    unit = label("volume", units_of(visit.room))
    return [
        {
            "x": x, "width": width, "place": place, "words": f"{text} {unit}",
            "hit_x": hit_x, "hit_width": hit,
            "middle": round(min(max(hit_x + hit / 2, EDGE), 1000 - EDGE), 1),
        }
        for (x, width), (hit_x, hit), place, text in zip(
            reaches(edges, THINNEST), reaches(edges, FINGER), places, words, strict=True
        )
    ]  # fmt: skip


def _weeks(visit: Visit, found: Balances, tolerance: Tolerance) -> dict[str, Any]:
    """The weeks as rows that close, the newest first, and their sum."""
    scale = steps_per_l(visit)
    by_week = {
        week: summed(shown_in(balance, scale) for balance in by.values())
        for week, by in found.items()
    }
    everything = summed(by_week.values())
    names = [name for name in CAME if everything[name] or name != "set_up_l"]
    columns = [*names, *WENT]
    rows = [
        (str(week), _cells(shown, columns), text_of(shown[UNEXPLAINED]),
         _flagged(found[week], tolerance(week)))
        for week, shown in reversed(by_week.items())
    ]  # fmt: skip
    return {
        "came_columns": [COLUMNS[name] for name in names],
        "went_columns": [COLUMNS[name] for name in WENT],
        "rows": rows,
        "sums": (_cells(everything, columns), text_of(everything[UNEXPLAINED]),
                 _flagged(together(found), tolerance(max(found)))),
    }  # fmt: skip


def _cells(shown: Shown, columns: Sequence[str]) -> list[str]:
    return [text_of(shown[name]) for name in columns]


def _flagged(by: Mapping[str, Balance], percent: float) -> str:
    """The solvents of which more is unexplained than the tolerance."""
    names = [solvent_name(key) for key, one in sorted(by.items()) if one.is_flagged(percent)]
    return ", ".join(names)
