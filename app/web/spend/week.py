"""The week's solvent spend: what it was, why, and the entries behind each number."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.spend.lines import CATEGORIES, total
from app.domain.spend.report import Group
from app.domain.spend.weeks import IsoWeek
from app.services.spend.week import Week, WeekCost, chosen_lines, read_week
from app.store import queries
from app.web.charts import nice_values
from app.web.deps import Visit, VisitDep
from app.web.filters import solvent_name
from app.web.money import Money, money_of

router = APIRouter(prefix="/rooms/{room}/spend")
CATEGORY_WORDS = {
    "solvent": "Solvent", "disposal": "Waste disposal", "consumables": "Consumables",
    "labour": "Labour", "spoiled": "Spoiled or expired", "other": "Other",
}  # fmt: skip
ASKED = ("category", "tank", "solvent", "resin", "side", "item")
SPANS = {13: "13 weeks", 52: "52 weeks"}
WHOLE_ROOM = "Whole room"
LEFT, RIGHT, TOP, BOTTOM, WIDTH, HEIGHT = 90.0, 10.0, 16.0, 44.0, 1000.0, 320.0


@dataclass(frozen=True)
class BarOfWeek:
    """A bar of the trend."""

    week: IsoWeek
    x: float
    y: float
    width: float
    height: float
    label: str
    words: str
    href: str
    is_shown: bool
    budget_y: float | None
    is_over: bool


@dataclass(frozen=True)
class Row:
    """A line of a table of shares."""

    name: str
    href: str
    cents: int
    cells: Sequence[int]
    litres: float


@router.get("")
def week_page(visit: VisitDep) -> Response:
    """The week asked for; without one, the last that is over."""
    try:
        week = asked_week(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    span = 52 if visit.request.query_params.get("span") == "52" else 13
    return visit.page("spend/week.html", week_context(visit, read_of(visit, week, span), span))


@router.get("/lines")
def lines_page(visit: VisitDep) -> Response:
    """The entries that a number is made of."""
    try:
        week = asked_week(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    read = read_of(visit, week, 13)
    asked = {name: visit.request.query_params.get(name, "")[:64] for name in ASKED}
    lines = chosen_lines(read, asked)
    names = names_of(visit)
    context = {
        "week": week,
        "title": _title(asked, names),
        "lines": lines,
        "tanks": names["tank"],
        "sum_cents": total(lines),
        "money": money_of(read.spend.prices),
        "words": CATEGORY_WORDS | {"bought": "Bought"},
        "back": _at(visit, "", week=str(week)),
    }
    return visit.page("spend/lines.html", context)


def asked_week(visit: Visit) -> IsoWeek:
    """The week in the address, else the last one that is over.

    Raises:
        FieldError: it is none.
    """
    text = visit.request.query_params.get("week", "")
    return IsoWeek.parsed(text) if text else IsoWeek.at(visit.now, visit.zone).plus(-1)


def read_of(visit: Visit, week: IsoWeek, span: int) -> Week:
    """The week with the weeks before it."""
    return read_week(visit.session, visit.room, week, span)


def names_of(visit: Visit) -> dict[str, dict[str, str]]:
    """The names of tanks, resins and solvents by key."""
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    tanks = {tank.key: tank.name for tank in board.tanks}
    return {"tank": tanks, "resin": visit.resin_names(), "solvent": {}}


def week_context(visit: Visit, read: Week, span: int = 13) -> dict[str, Any]:
    """What the page of a week is made from."""
    names, money = names_of(visit), money_of(read.spend.prices)
    now = IsoWeek.at(visit.now, visit.zone)
    shown = [name for name in CATEGORIES if read.by_category[name] or name == "solvent"]
    at = str(read.week)
    return {
        "read": read,
        "money": money,
        "headline": headline(read, money, names["tank"]),
        "words": CATEGORY_WORDS,
        "shown": shown,
        "causes": [
            (CATEGORY_WORDS[name], read.by_category[name], _lines(visit, at, category=name))
            for name in shown
        ],
        "tables": [
            (title, rows_of(visit, groups, kind, shown, at, names[kind]))
            for title, kind, groups in (
                ("Tank", "tank", read.by_tank), ("Solvent", "solvent", read.by_solvent),
                ("Resin", "resin", read.by_resin),
            )
        ],
        "bars": bars(visit, read.trend, read.week, money, span),
        "ticks": [(value_y(v, read.trend), money(v)) for v in axis(read.trend)],
        "spans": [
            (_at(visit, "", week=at, span=key), text, key == span) for key, text in SPANS.items()
        ],
        "all_lines": _lines(visit, at),
        "bought_lines": _lines(visit, at, side="bought"),
        "earlier": _at(visit, "", week=str(read.week.plus(-1))),
        "later": _at(visit, "", week=str(read.week.plus(1))) if read.week < now else "",
        "is_running": read.week >= now,
        "tank_names": names["tank"],
        "link": str(visit.request.url),
        "sheet": _at(visit, "week.xlsx", week=at),
        "csv": _at(visit, "week.csv", week=at),
    }  # fmt: skip


def rows_of(
    visit: Visit, groups: Sequence[Group], kind: str, shown: Sequence[str], week: str,
    names: Mapping[str, str],
) -> list[Row]:  # fmt: skip
    """Groups as lines of a table, the whole room's at the end."""
    return [
        Row(
            (names.get(group.key) or solvent_name(group.key)) if group.key else WHOLE_ROOM,
            _lines(visit, week, **{kind: group.key or "none"}),
            group.cents,
            [group.by_category.get(name, 0) for name in shown],
            group.litres,
        )
        for group in groups
    ]


def headline(read: Week, money: Money, tanks: Mapping[str, str]) -> str:
    """One sentence with the number and its cause."""
    if not read.lines:
        return f"Nothing was charged to week {read.week}."
    text = f"Week {read.week} cost {money(read.cents)}"
    if read.budget_cents:
        over = read.cents - read.budget_cents
        side = "over" if over > 0 else "under"
        text += f", {money(abs(over))} {side} the budget"
    why = read.cause
    if why is None:
        return f"{text}."
    where = " and ".join(tanks.get(tank, tank) for tank in why.tanks)
    word = CATEGORY_WORDS[why.category].lower()
    if why.change_cents:
        more = "more" if why.change_cents > 0 else "less"
        text += f": {money(abs(why.change_cents))} {more} {word} than usual"
    else:
        text += f", most of it {word}"
    return f"{text}, mainly {where}." if where else f"{text}."


def axis(trend: Sequence[WeekCost]) -> list[float]:
    """Round amounts from zero to the highest of the trend."""
    return nice_values(highest(trend), 5)


def highest(trend: Sequence[WeekCost]) -> float:
    """The top of the picture."""
    return max([1.0, *(max(week.cents, week.budget_cents or 0) for week in trend)]) * 1.06


def value_y(value: float, trend: Sequence[WeekCost]) -> float:
    """Where an amount lies in the picture."""
    share = value / highest(trend)
    return round(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM), 1)


def bars(
    visit: Visit, trend: Sequence[WeekCost], shown: IsoWeek, money: Money, span: int
) -> list[BarOfWeek]:
    """The trend as bars, each a link to its week."""
    step = (WIDTH - LEFT - RIGHT) / max(len(trend), 1)
    every = max(1, len(trend) // 13)
    found = []
    for index, one in enumerate(trend):
        y = value_y(one.cents, trend)
        budget = one.budget_cents
        is_over = budget is not None and one.cents > budget
        words = f"{one.week}: {money(one.cents)}"
        if budget:
            words += f" of {money(budget)}"
        found.append(
            BarOfWeek(
                one.week, round(LEFT + step * (index + 0.12), 1), y, round(step * 0.76, 1),
                round(HEIGHT - BOTTOM - y, 1),
                f"W{one.week.number:02d}" if (len(trend) - 1 - index) % every == 0 else "",
                words, _at(visit, "", week=str(one.week), **({"span": 52} if span == 52 else {})),
                one.week == shown, value_y(budget, trend) if budget else None, is_over,
            )
        )  # fmt: skip
    return found


def _lines(visit: Visit, week: str, **asked: str) -> str:
    return _at(visit, "lines", week=week, **asked)


def _at(visit: Visit, page: str, **asked: Any) -> str:
    parts = ("spend", page) if page else ("spend",)
    return visit.address(*parts) + (f"?{urlencode(asked)}" if asked else "")


def _title(asked: Mapping[str, str], names: Mapping[str, Mapping[str, str]]) -> str:
    if asked["side"] == "bought":
        return "Bought"
    said = [CATEGORY_WORDS.get(asked["category"], "")]
    for kind in ("tank", "solvent", "resin"):
        key = asked[kind]
        name = names[kind].get(key) or solvent_name(key)
        said.append("whole room" if key == "none" else name)
    return ", ".join(part for part in said if part) or "All costs"
