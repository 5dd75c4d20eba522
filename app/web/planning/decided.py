"""Deciding the day of a swap: what each day costs, what was decided so far."""

from dataclasses import dataclass
from datetime import date, timedelta, tzinfo

from app.domain.calendar_words import day_words
from app.domain.planning.chance import LaterDay, cost_of_days
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.planning import PLAN, SwapMoved, SwapPinned, SwapPostponed
from app.services.planning.proposal import Ahead, cost_of_postponing
from app.store.instants import from_us
from app.store.queries import TankView
from app.store.tables import EntryRow
from app.store.things import book
from app.web.deps import Visit
from app.web.planning.plain import chance_words

SAME_CHANCE, FLAT_SHOWN = 0.005, 4


@dataclass(frozen=True)
class CostRow:
    """What a day costs, in words; before the early day, on it or behind it."""

    day: date
    text: str
    chance: str
    share: float
    days_past: str
    is_before: bool
    is_early_day: bool


def costs_until(found: Ahead, tank: str, day: date, zone: tzinfo) -> list[LaterDay]:
    """The costs of each day until one, a day that is no working day included."""
    days = [*found.workdays.days(found.today, day - timedelta(days=1)), day]
    return cost_of_days(found.candidates[tank].chances, days, zone)


def cost_rows(found: Ahead, tank: str, zone: tzinfo) -> list[CostRow]:
    """What each working day of the next weeks costs, until nothing changes any more."""
    early_on = found.candidates[tank].early_on
    rows: list[CostRow] = []
    costs = cost_of_postponing(found, tank, zone)
    flat = [one.day for one in costs if one.chance >= costs[-1].chance - SAME_CHANCE]
    for one in costs[: len(costs) - len(flat) + FLAT_SHOWN]:
        is_before = early_on is not None and one.day < early_on
        is_early_day = early_on is not None and not is_before and all(r.is_before for r in rows)
        days = f"{one.days_past:.1f}" if one.days_past >= 0.05 else "0"
        rows.append(
            CostRow(one.day, day_words(one.day, found.today), chance_words(one.chance),
                    round(100 * one.chance, 1), days, is_before, is_early_day)
        )  # fmt: skip
    return rows


def decisions(visit: Visit, tank: TankView) -> list[EntryRow]:
    """What was decided about the swap of the bath that is in the tank now, the latest first."""
    rows = book(visit.session, visit.room_id, PLAN, tank.key)
    return [row for row in rows if from_us(row.at_us) >= tank.fill_started_at]


def decision_text(entry: Entry, visit: Visit) -> str:
    """A decision in words."""
    today = visit.today
    if isinstance(entry, SwapMoved):
        text = (
            f"moved from {day_words(entry.from_on, today)} to {day_words(entry.planned_on, today)}"
        )
    elif isinstance(entry, SwapPinned):
        text = f"set to {day_words(entry.planned_on, today)}"
    elif isinstance(entry, SwapPostponed):
        text = f"put off, not before {day_words(entry.not_before_on, today)}"
    else:
        text = "left to the proposal again"
    reason, chance = getattr(entry, "reason", None), getattr(entry, "chance_percent", None)
    text += f": {reason}" if reason else ""
    return text if chance is None else f"{text} (chance shown: {chance_words(chance / 100)})"
