"""The bars of the weeks: geometry, words and links."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.spend.weeks import IsoWeek
from app.services.spend.weekly_costs import WeekCost
from app.web.charts import nice_values
from app.web.deps import Visit
from app.web.money import Money
from app.web.spend.links import at

LEFT, RIGHT, TOP, BOTTOM, WIDTH, HEIGHT = 90.0, 10.0, 30.0, 44.0, 1000.0, 320.0
EMPTY_CENTS = 10_000.0  # the top of a picture without any cost
EDGE, TEXT = 62.0, 34.0  # half the width that a value's text takes; its height, and some air


@dataclass(frozen=True)
class BarOfWeek:
    """A bar of the trend.

    Attributes:
        value, value_x, value_y: its amount and where it is written.
    """

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
    value: str
    value_x: float
    value_y: float


def axis(trend: Sequence[WeekCost]) -> list[float]:
    """Round amounts from zero to the highest of the trend."""
    return nice_values(highest(trend), 5)


def highest(trend: Sequence[WeekCost]) -> float:
    """The top of the picture."""
    most = max((max(week.cents, week.budget_cents or 0) for week in trend), default=0)
    return (most if most > 0 else EMPTY_CENTS) * 1.06


def value_y(value: float, trend: Sequence[WeekCost]) -> float:
    """Where an amount lies in the picture; below zero at its foot."""
    share = max(value, 0) / highest(trend)
    return round(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM), 1)


def bars(
    visit: Visit, trend: Sequence[WeekCost], shown: IsoWeek, running: IsoWeek, money: Money
) -> list[BarOfWeek]:  # fmt: skip
    """The trend as bars, each a link to its week."""
    step = (WIDTH - LEFT - RIGHT) / max(len(trend), 1)
    every = max(1, len(trend) // 13)
    found = []
    for index, one in enumerate(trend):
        y, budget, x = value_y(one.cents, trend), one.budget_cents, LEFT + step * (index + 0.5)
        budget_y = value_y(budget, trend) if budget else None
        words = f"{one.week}{', so far' if one.week == running else ''}: {money(one.cents)}"
        if not one.is_known:
            words = f"{one.week}: no cost logged so far"
        elif budget:
            words += f" of a budget of {money(budget)}"
        found.append(
            BarOfWeek(
                one.week, round(x - 0.38 * step, 1), y, round(step * 0.76, 1),
                round(HEIGHT - BOTTOM - y, 1),
                f"W{one.week.number:02d}" if (len(trend) - 1 - index) % every == 0 else "",
                words, at(visit, week=str(one.week), span=len(trend)), one.week == shown,
                budget_y, bool(budget) and one.cents > (budget or 0),
                _value(one, money),
                round(min(max(x, LEFT + EDGE), WIDTH - RIGHT - EDGE), 1),
                round(_above(x, trend) - 9, 1),
            )
        )  # fmt: skip
    return found


def _value(one: WeekCost, money: Money) -> str:
    """What is written above: with its week, for it may stand over a neighbour's bar."""
    return f"W{one.week.number:02d}: {money(one.cents)}" if one.is_known else ""


def _above(x: float, trend: Sequence[WeekCost]) -> float:
    """What a value is written above: the bars and lines of budgets that its text lies over."""
    step = (WIDTH - LEFT - RIGHT) / max(len(trend), 1)
    middle = min(max(x, LEFT + EDGE), WIDTH - RIGHT - EDGE)
    under = [
        week for index, week in enumerate(trend)
        if abs(LEFT + step * (index + 0.5) - middle) < EDGE + 0.5 * step
    ]  # fmt: skip
    found = min(value_y(week.cents, trend) for week in under)
    budgets = (value_y(week.budget_cents, trend) for week in under if week.budget_cents)
    for line_y in sorted(budgets, reverse=True):
        if found - TEXT < line_y < found + TEXT:
            found = min(found, line_y)
    return found
