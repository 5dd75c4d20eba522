"""Where the solvent went, by solvent and period, from the log and the estimates."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.solvents import SOLVENTS
from app.domain.spend.cost_folds import AT_RATE, BOUGHT, COST, FILL, POUR, SET_UP
from app.domain.spend.cost_lines import SPOILED
from app.domain.spend.mass_balance import Balance
from app.domain.spend.weeks import IsoWeek, weeks_to
from app.services.kept import kept
from app.services.spend.calendar import Calendar, calendar_of
from app.services.spend.levels import levels_between
from app.services.spend.rollups import Spend, spend_of
from app.store import queries
from app.store.instants import to_us
from app.store.spend import UG, WeekSum
from app.store.spend_baths import flows as flows_of
from app.store.tables import RoomRow

BEFORE_WEEKS = 4  # so that levels have settled when the first period begins
RESIN_G_L = 1100.0
SOLVENT_G_L = 800.0


def balances(
    session: Session, room: RoomRow, last: IsoWeek, weeks: int
) -> dict[IsoWeek, dict[str, Balance]]:
    """By week, each solvent's balance; the oldest week first."""
    assert room.id is not None

    def make() -> dict[IsoWeek, dict[str, Balance]]:
        return _balances(session, room, last, weeks)

    depends_on = (room.version, room.time_zone, last, weeks)
    return kept(session, room.id, "solvent balance", depends_on, make)


def _balances(
    session: Session, room: RoomRow, last: IsoWeek, weeks: int
) -> dict[IsoWeek, dict[str, Balance]]:
    assert room.id is not None
    zone, spend = ZoneInfo(room.time_zone), spend_of(session, room)
    shown = weeks_to(last, weeks)
    first = last.plus(1 - weeks - BEFORE_WEEKS)
    rows = flows_of(session, room.id, first.count, last.count)
    densities = {
        tank.key: 1000 * tank.resin_density_g_ml
        for tank in queries.board(session, room.id, last.span(zone)[1], with_retired=True).tanks
    }
    moments = [week.span(zone)[0] for week in shown] + [last.span(zone)[1]]
    flows = _Flows(rows, first.count, spend.solvents, densities, calendar_of(room.time_zone))
    levels = levels_between(session, room.id, first.span(zone)[0], moments, flows.change_l)
    sums = spend.sums(shown[0], last)
    return {
        week: _week(spend, week, flows, sums.get(week, ()), (levels[place], levels[place + 1]))
        for place, week in enumerate(shown)
    }


def together(found: Mapping[IsoWeek, Mapping[str, Balance]]) -> dict[str, Balance]:
    """All weeks of each solvent in one."""
    sums: dict[str, Balance] = {}
    for by_solvent in found.values():
        for solvent, balance in by_solvent.items():
            known = sums.get(solvent)
            sums[solvent] = balance if known is None else known.plus(balance)
    return sums


class _Flows:
    """What the estimator says went in and out of each bath, by week."""

    def __init__(
        self, rows: Iterable[Sequence[Any]], first: int, solvents: Mapping[str, str],
        densities: Mapping[str, float], calendar: Calendar,
    ) -> None:  # fmt: skip
        self._calendar, self._first = calendar, first
        self.lost_l: dict[tuple[int, str], float] = {}
        self.resin_l: dict[tuple[int, str], float] = {}
        for week, tank, evaporated_ug, liquid_out_ug, resin_ug in rows:
            lost_ug, solvent = int(evaporated_ug + liquid_out_ug), solvents.get(tank, "")
            self.lost_l[week, tank] = lost_ug / UG / _density_g_l(solvent)
            self.resin_l[week, tank] = int(resin_ug) / UG / (densities.get(tank) or RESIN_G_L)

    def _net_l(self, week: int, tank: str) -> float:
        return self.resin_l.get((week, tank), 0.0) - self.lost_l.get((week, tank), 0.0)

    def change_l(self, tank: str, since: datetime, until: datetime) -> float:
        """Expected change of a bath's volume, each week's part spread evenly over it."""
        since_us, until_us, start_us = to_us(since), to_us(until), self._calendar.start_us
        changed, week = 0.0, max(self._first, self._calendar.week_of(since_us))
        while (begin_us := start_us(week)) < until_us:
            end_us = start_us(week + 1)
            share = (min(until_us, end_us) - max(since_us, begin_us)) / (end_us - begin_us)
            changed, week = changed + share * self._net_l(week, tank), week + 1
        return changed


@cache
def _density_g_l(solvent: str) -> float:
    known = SOLVENTS.get(solvent)
    if known is None:
        return SOLVENT_G_L
    return 1000 * known.density_g_ml(20.0, known.usual_purity_percent)


def _week(
    spend: Spend, week: IsoWeek, flows: _Flows, sums: Iterable[WeekSum],
    levels: tuple[Mapping[str, float], Mapping[str, float]],
) -> dict[str, Balance]:  # fmt: skip
    kinds: dict[str, dict[str, Any]] = {}

    def add(solvent: str, name: str, litres: float) -> None:
        sums = kinds.setdefault(solvent, {})
        sums[name] = sums.get(name, 0.0) + litres

    before, behind = levels
    for tank, solvent in spend.solvents.items():
        add(solvent, "in_tanks_l", behind.get(tank, 0.0) - before.get(tank, 0.0))
        add(solvent, "lost_l", flows.lost_l.get((week.count, tank), 0.0))
        add(solvent, "resin_l", flows.resin_l.get((week.count, tank), 0.0))
    for one in sums:
        for name, sign in _moves(one):
            add(one.solvent, name, sign * one.quantity)
    return {solvent: Balance(**sums) for solvent, sums in kinds.items() if solvent}


def _moves(one: WeekSum) -> list[tuple[str, int]]:
    """Which parts of the balance a sum of lines belongs to, and with which sign."""
    if one.side == BOUGHT:
        return [("bought_l", 1), ("on_shelf_l", 1)]
    if one.side == COST and one.is_item and one.unit == "L":
        spoiled = [("scrapped_l", 1)] if one.category == SPOILED else []
        return [("on_shelf_l", -1), *spoiled]
    if one.side == FILL:  # where no shelf is kept of a solvent, it is bought as it is filled
        return [("moved_l", 1), *([("bought_l", 1)] if one.category == AT_RATE else [])]
    if one.side == POUR:
        return [("drums_l", 1), ("moved_l", 1)]
    return [("set_up_l", 1)] if one.side == SET_UP else []
