"""Where the solvent went, by solvent and period, from the log and the estimates."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.solvents import SOLVENTS
from app.domain.spend.balance import Balance
from app.domain.spend.levels import levels_at
from app.domain.spend.lines import SPOILED
from app.domain.spend.parts import BOUGHT, COST, FILL, POUR, SET_UP
from app.domain.spend.weeks import IsoWeek, weeks_to
from app.services.kept import kept
from app.services.spend.rollups import Spend, spend_of, washes_of
from app.store import queries
from app.store.spend import WashRow, WeekSum
from app.store.tables import RoomRow

BEFORE_WEEKS = 4  # so that levels have settled when the first period begins
RESIN_G_L = 1100.0
SOLVENT_G_L = 800.0

Rows = Mapping[IsoWeek, Sequence[WashRow]]


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
    rows = washes_of(session, room, weeks_to(last, weeks + BEFORE_WEEKS))
    densities = {
        tank.key: 1000 * tank.resin_density_g_ml
        for tank in queries.board(session, room.id, last.span(zone)[1], with_retired=True).tanks
    }
    moments = [week.span(zone)[0] for week in shown] + [last.span(zone)[1]]
    flows = _Flows(rows, spend.solvents, densities, zone)
    levels = levels_at(spend.bath_entries, moments, flows.change_l)
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
        self, rows: Rows, solvents: Mapping[str, str], densities: Mapping[str, float],
        zone: ZoneInfo,
    ) -> None:  # fmt: skip
        self.zone = zone
        self.lost_l: dict[tuple[IsoWeek, str], float] = {}
        self.resin_l: dict[tuple[IsoWeek, str], float] = {}
        for week, some in rows.items():
            for row in some:
                key = week, row.tank
                solvent_g_l = _density_g_l(solvents.get(row.tank, ""))
                lost_l = (row.evaporated_g + row.liquid_out_g) / solvent_g_l
                self.lost_l[key] = self.lost_l.get(key, 0.0) + lost_l
                if row.kind == "wash":
                    resin_l = row.resin_in_g / (densities.get(row.tank) or RESIN_G_L)
                    self.resin_l[key] = self.resin_l.get(key, 0.0) + resin_l

    def change_l(self, tank: str, since: datetime, until: datetime) -> float:
        """Expected change of a bath's volume, each week's part spread evenly over it."""
        changed, week = 0.0, IsoWeek.at(since, self.zone)
        while (span := week.span(self.zone))[0] < until:
            inside = min(until, span[1]) - max(since, span[0])
            share = inside / (span[1] - span[0])
            net_l = self.resin_l.get((week, tank), 0.0) - self.lost_l.get((week, tank), 0.0)
            changed, week = changed + share * net_l, week.plus(1)
        return changed


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
        add(solvent, "lost_l", flows.lost_l.get((week, tank), 0.0))
        add(solvent, "resin_l", flows.resin_l.get((week, tank), 0.0))
    for one in sums:
        for name, sign in _moves(one, spend.basis.on_shelf):
            add(one.solvent, name, sign * one.quantity)
    return {solvent: Balance(**sums) for solvent, sums in kinds.items() if solvent}


def _moves(one: WeekSum, on_shelf: Collection[str]) -> list[tuple[str, int]]:
    """Which parts of the balance a sum of lines belongs to, and with which sign."""
    if one.side == BOUGHT:
        return [("bought_l", 1), ("on_shelf_l", 1)]
    if one.side == COST and one.is_item and one.unit == "L":
        spoiled = [("scrapped_l", 1)] if one.category == SPOILED else []
        return [("on_shelf_l", -1), *spoiled]
    if one.side == FILL:  # where no shelf is kept of a solvent, it is bought as it is filled
        return [("moved_l", 1), *([] if one.solvent in on_shelf else [("bought_l", 1)])]
    if one.side == POUR:
        return [("drums_l", 1), ("moved_l", 1)]
    return [("set_up_l", 1)] if one.side == SET_UP else []
