"""The week's solvent spend: what it was, why, what stands beside it, what comes next."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.spend.cost_lines import CATEGORIES, CATEGORY_WORDS, DISPOSAL, allotted
from app.domain.spend.weekly_costs import Group
from app.domain.spend.weeks import IsoWeek
from app.services.spend.weekly_costs import Week, read_week
from app.units import label
from app.web.deps import Visit, VisitDep
from app.web.filters import solvent_name, units_of
from app.web.money import money_of
from app.web.spend.ahead import coming, expected_cents
from app.web.spend.flow import steps_per_l, text_of
from app.web.spend.links import NONE, SPANS, asked_span, asked_week, at, names_of, query_of
from app.web.spend.quality import QUALITY
from app.web.spend.trend import axis, bars, value_y
from app.web.spend.words import (
    PROBLEM_WORDS,
    because,
    driver_rows,
    ending_words,
    headline,
    quality_words,
)

router = APIRouter(prefix="/rooms/{room}/spend")
WHOLE_ROOM = "Whole room"


@dataclass(frozen=True)
class Row:
    """A line of a table of shares; each cell with the address of its entries."""

    name: str
    href: str
    cents: int
    cells: Sequence[tuple[int, str]]
    litres: str


@router.get("")
def week_page(visit: VisitDep) -> Response:
    """The week asked for; without one, the last that is over."""
    try:
        week, span = asked_week(visit), asked_span(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    read = read_week(visit.session, visit.room, week, visit.now, span)
    if not read.has_begun:
        return visit.page("spend/not_begun.html", _not_begun(visit, read, span))
    return visit.page("spend/week.html", week_context(visit, read, span))


def _not_begun(visit: Visit, read: Week, span: int) -> dict[str, Any]:
    """What the page of a week to come is made from."""
    now = IsoWeek.at(visit.now, visit.zone)
    return {
        "read": read,
        "headline": headline(read, money_of(read.spend.prices)),
        "running": now,
        "running_href": at(visit, week=str(now), span=span),
        "ahead_href": at(visit, "ahead"),
    }


def week_context(visit: Visit, read: Week, span: int) -> dict[str, Any]:
    """What the page of a week is made from."""
    names, money, week = names_of(visit), money_of(read.spend.prices), str(read.week)
    now = IsoWeek.at(visit.now, visit.zone)
    shown = [name for name in CATEGORIES if read.by_category[name] or name == "solvent"]

    every = at(visit, "lines", week=week, span=span)

    def lines(**asked: str) -> str:
        return f"{every}&{query_of(asked)}" if asked else every

    expected = expected_cents(visit) if read.week == now else None
    return {
        "read": read,
        "money": money,
        "headline": headline(read, money),
        "because": because(read, money, names["tank"]),
        "ending": "" if expected is None else ending_words(expected, read.budget_cents, money),
        "coming": coming(visit) if read.week == now else "",
        "drivers": [
            (
                words,
                [(names["tank"].get(tank, tank), cents, lines(category=name, tank=tank, to="usual"))
                 for tank, cents in where],
                change, lines(category=name, to="usual") if name else "",
            )
            for name, words, where, change in driver_rows(read)
        ],
        "words": CATEGORY_WORDS,
        "shown": shown,
        "causes": [
            (CATEGORY_WORDS[name], read.by_category[name], lines(category=name)) for name in shown
        ],
        "category_lines": {name: lines(category=name) for name in shown},
        "here": at(visit, week=week, span=span),
        "shipped_cents": sum(
            line.cents for line in read.lines
            if line.category == DISPOSAL and line.purpose == "pickup"
        ),
        "quality": quality_words(read),
        "quality_href": {
            kind: at(visit, "quality", week=week, span=span, of=kind) for kind in QUALITY
        },
        "losses": read.quality.losses,
        "problem_words": PROBLEM_WORDS,
        "tables": [
            (title, *rows_of(visit, groups, kind, (shown, names[kind], lines)))
            for title, kind, groups in (
                ("Tank", "tank", read.by_tank), ("Solvent", "solvent", read.by_solvent),
                ("Resin", "resin", read.by_resin),
            )
        ],
        "bars": bars(visit, read.trend, read.week, now, money),
        "ticks": [(value_y(v, read.trend), money.axis(v)) for v in axis(read.trend)],
        "spans": [(at(visit, week=week, span=key), text, key == span)
                  for key, text in SPANS.items()],
        "all_lines": lines(),
        "per_wash": lines(per="wash"),
        "per_kg": lines(per="kg"),
        "bought_lines": lines(side="bought"),
        "earlier": at(visit, week=str(read.week.plus(-1)), span=span),
        "later": at(visit, week=str(read.week.plus(1)), span=span) if read.week < now else "",
        "is_running": read.week == now,
        "tank_names": names["tank"],
        "item_names": _item_names(read) if read.unpriced else {},
        "sheet": at(visit, "week.xlsx", week=week),
        "csv": at(visit, "week.csv", week=week),
    }  # fmt: skip


def _item_names(read: Week) -> dict[str, str]:
    return {key: item.state.name for key, item in read.spend.shelf.items() if item.state}


def rows_of(
    visit: Visit,
    groups: Sequence[Group],
    kind: str,
    of: tuple[Sequence[str], Mapping[str, str], Any],
) -> tuple[list[Row], str]:
    """Groups as lines of a table, the whole room's at the end; and the litres of all of them.

    Litres are rounded so that they add up as they are shown (largest remainder).
    """
    shown, names, lines = of
    scale, unit = steps_per_l(visit), label("volume", units_of(visit.room))
    used = {group.key: scale * group.litres for group in groups}
    steps = allotted(round(sum(used.values())), used)

    def litres(count: int) -> str:
        return f"{text_of(count)} {unit}" if count else ""

    rows = []
    for group in groups:
        key = group.key or NONE
        name = (names.get(group.key) or solvent_name(group.key)) if group.key else WHOLE_ROOM
        cells = [
            (group.by_category.get(each, 0), lines(**{kind: key, "category": each}))
            for each in shown
        ]
        whole = litres(steps.get(group.key, 0))
        rows.append(Row(name, lines(**{kind: key}), group.cents, cells, whole))
    return rows, litres(sum(steps.values()))
