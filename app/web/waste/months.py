"""Waste by calendar month: a table, the same as a file, and on paper."""

import csv
import io
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.calendar_words import month_words
from app.domain.roomlog.cells import guarded
from app.domain.waste.counters import MonthTotal, category_of
from app.domain.waste.rulebook import RuleBook
from app.domain.waste.streams import STREAMS
from app.services.waste import MonthRules, overview
from app.web.deps import VisitDep
from app.web.waste import words

router = APIRouter(prefix="/rooms/{room}/waste")
TITLES = (
    "month", "stream", "kg", "counts", "month_counted_kg", "month_total_l", "weighed_percent",
    "category_of_month", "limit_kg",
)  # fmt: skip


@router.get("/months")
def months(visit: VisitDep) -> Response:
    """The months, the latest first."""
    all_ = overview(visit.session, visit.room, visit.now)
    context = {
        "months": [_row(total, all_.month_rules(total.month)) for total in all_.totals.values()],
        "rules": all_.rules,
    }
    return visit.page("waste/months.html", context)


@router.get("/months.csv")
def months_file(visit: VisitDep) -> Response:
    """The months as comma-separated values: a line for each month and stream, in kilograms.

    Text that a spreadsheet would take for a formula is guarded.
    """
    all_ = overview(visit.session, visit.room, visit.now)
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(TITLES)
    for total in all_.totals.values():
        writer.writerows(_lines(total, all_.month_rules(total.month)))
    name = f"{visit.room.key}-waste-by-month.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(file.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def _row(total: MonthTotal, judged: MonthRules) -> dict[str, Any]:
    state = words.amount_state(total.counted_kg, judged.limit_kg, judged.rules)
    return {
        "name": month_words(total.month),
        "total": total,
        "streams": [(STREAMS[key].name, kg) for key, kg in total.by_stream],
        "weighed_percent": 100 * total.weighed_kg / total.total_kg if total.total_kg else 0.0,
        "category": _category(total, judged.rules),
        "limit_kg": judged.limit_kg,
        "source": judged.source,
        "state": state,
        "tag": words.AMOUNT_TAGS[state],
    }


def _lines(total: MonthTotal, judged: MonthRules) -> list[list[str]]:
    year, month = total.month
    weighed = 100 * total.weighed_kg / total.total_kg if total.total_kg else 0.0
    limit = judged.limit_kg
    return [
        [
            guarded(text)
            for text in (
                f"{year}-{month:02}", STREAMS[key].name, f"{kg:.2f}",
                "yes" if judged.rules.counts(key) else "no", f"{total.counted_kg:.2f}",
                f"{total.total_l:.2f}", f"{weighed:.0f}", _category(total, judged.rules),
                "" if limit is None else f"{limit:g}",
            )
        ]
        for key, kg in total.by_stream
    ]  # fmt: skip


def _category(total: MonthTotal, rules: RuleBook) -> str:
    """The category that the month's mass alone makes; nothing where the set has none by month."""
    if len(rules.set.categories) < 2:
        return ""
    found = category_of(total.counted_kg, rules)
    return found.name if found else ""
