"""The entries behind a number of the week."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.plural import counted
from app.domain.spend.cost_lines import CATEGORY_WORDS, CostLine, total
from app.services.spend.weekly_costs import Week, chosen_lines, read_week, usual_weeks
from app.services.supplies.stock import unit_beside
from app.web.deps import Visit, VisitDep
from app.web.filters import number, solvent_name, volume
from app.web.money import Money, money_of
from app.web.spend.links import asked_filters, asked_span, asked_week, at, names_of

router = APIRouter(prefix="/rooms/{room}/spend")


@router.get("/lines")
def lines_page(visit: VisitDep) -> Response:
    """The entries that a number is made of."""
    try:
        week, span = asked_week(visit), asked_span(visit)
        read, names = read_week(visit.session, visit.room, week, visit.now), names_of(visit)
        asked = asked_filters(visit, read, names)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    lines, money = chosen_lines(read, asked), money_of(read.spend.prices)
    per = _division(read, visit.request.query_params.get("per", ""), money)
    usual = _against_usual(visit, read, asked, _title(asked, names), money)
    per = usual.change if usual else per
    context = {
        "usual": usual,
        "week": week,
        "title": per.title if per else _title(asked, names),
        "shown": _shown(usual, per, total(lines), money),
        "span": span,
        "rows": [(line, quantity_words(line, visit)) for line in lines],
        "tanks": names["tank"],
        "sum_cents": total(lines),
        "money": money,
        "words": CATEGORY_WORDS | {"bought": "Bought"},
        "division": per.words if per else "",
        "back": at(visit, week=str(week), span=span),
        "csv": at(visit, "week.csv", week=str(week), **asked),
        "resin": asked.get("resin", ""),
    }
    return visit.page("spend/lines.html", context)


def quantity_words(line: CostLine, visit: Visit) -> str:
    """How much of it, in the room's units and no finer than anybody weighs."""
    if not line.unit or not line.quantity:
        return ""
    if line.unit == "L":
        return volume(line.quantity, visit.room)
    decimals = {"kg": 2, "min": 0}.get(line.unit, 0 if line.quantity % 1 == 0 else 2)
    text = number(line.quantity, decimals)
    return f"{text} {unit_beside(text, line.unit)}"


@dataclass(frozen=True)
class Division:
    """A cost for each wash or kilogram: its name, its amount, how it comes from the entries."""

    title: str
    cents: float
    words: str


def _division(read: Week, per: str, money: Money) -> Division | None:
    pace = read.pace
    washes = counted(pace.washes, "wash", "washes")
    if per == "wash" and pace.per_wash_cents is not None:
        words = f"{money(read.cents)} of these entries, divided by {washes}."
        return Division(f"Per wash, {washes}", pace.per_wash_cents, words)
    if per == "kg" and pace.per_kg_cents is not None:
        share = read.cents * pace.weighed_washes / pace.washes
        words = (
            f"{pace.weighed_washes} of {washes} weighed. Their share of"
            f" {money(read.cents)} is {money(share)}, for {number(pace.parts_kg, 2)} kg of parts."
        )
        return Division("Per kg of parts", pace.per_kg_cents, words)
    return None


@dataclass(frozen=True)
class Usual:
    """A cause of a week beside the weeks that it is compared with.

    Attributes:
        weeks: each with its amount, and the address of its entries where they add up to it.
    """

    change: Division
    cents: int
    usual_cents: int
    weeks: Sequence[tuple[str, int, str]]


def _against_usual(
    visit: Visit, read: Week, asked: Mapping[str, str], title: str, money: Money
) -> Usual | None:
    """The change of a cause, of all tanks or of one; None where it is not asked for."""
    category, tank = asked.get("category", ""), asked.get("tank", "")
    if visit.request.query_params.get("to") != "usual" or not category or read.why is None:
        return None
    cents = total(chosen_lines(read, asked))
    weeks = usual_weeks(visit.session, visit.room, read, category, tank)
    driver = next((one for one in read.why.drivers if one.category == category), None)
    usual = round(sum(value for _, value in weeks) / len(weeks))
    if driver is not None and not tank:
        usual = driver.usual_cents
    elif driver is not None:
        usual = cents - dict(driver.tanks).get(tank, cents - usual)
    by_then = "" if read.is_over else ", each up to the same part of the week"
    words = (
        f"{money(cents)} of that week's entries against {money(usual)} in a usual week, the mean"
        f" of the {len(weeks)} below{by_then}. Means are rounded so that all causes add up."
    )
    rows = [
        (str(week), value, at(visit, "lines", week=str(week), **asked) if read.is_over else "")
        for week, value in weeks
    ]
    change = Division(f"{title} against a usual week", cents - usual, words)
    return Usual(change, cents, usual, rows)


def _shown(usual: Usual | None, per: Division | None, cents: int, money: Money) -> str:
    if usual is not None:
        return money.signed(usual.change.cents)
    return money(per.cents if per else cents)


def _title(asked: Mapping[str, str], names: Mapping[str, Mapping[str, str]]) -> str:
    said: list[Any] = ["Bought"] if asked.get("side") == "bought" else []
    said.append(CATEGORY_WORDS.get(asked.get("category", ""), ""))
    for kind in ("tank", "solvent", "resin", "item"):
        if key := asked.get(kind):
            name = names.get(kind, {}).get(key) or (solvent_name(key) if kind == "solvent" else key)
            said.append("whole room" if key == "none" else name)
    return ", ".join(part for part in said if part) or "All costs"
