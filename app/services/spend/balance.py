"""Where the solvent went, by solvent and period, from the log and the estimates."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.roomlog.kinds import Tank
from app.domain.roomlog.kinds.waste import Pour
from app.domain.solvents import SOLVENTS
from app.domain.spend.balance import Balance
from app.domain.spend.levels import levels_at
from app.domain.spend.weeks import IsoWeek, weeks_to
from app.services.spend.rollups import Spend, spend_of, washes_of
from app.store import queries
from app.store.spend import WashRow
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
    return {
        week: _week(spend, week, flows, (moments[place], moments[place + 1]),
                    (levels[place], levels[place + 1]))
        for place, week in enumerate(shown)
    }  # fmt: skip


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
    spend: Spend, week: IsoWeek, flows: _Flows, span: tuple[datetime, datetime],
    levels: tuple[Mapping[str, float], Mapping[str, float]],
) -> dict[str, Balance]:  # fmt: skip
    kinds: dict[str, dict[str, Any]] = {}

    def add(solvent: str, name: str, litres: float) -> None:
        sums = kinds.setdefault(solvent, {})
        sums[name] = sums.get(name, 0.0) + litres

    for line in spend.bought.get(week, ()):
        if line.solvent:
            add(line.solvent, "bought_l", line.quantity)
            add(line.solvent, "on_shelf_l", line.quantity)
    for line in spend.week(week):
        if line.item and line.solvent and line.unit == "L":
            add(line.solvent, "on_shelf_l", -line.quantity)
            if line.category == "spoiled":
                add(line.solvent, "scrapped_l", line.quantity)
    before, behind = levels
    for tank, solvent in spend.solvents.items():
        add(solvent, "in_tanks_l", behind.get(tank, 0.0) - before.get(tank, 0.0))
        add(solvent, "lost_l", flows.lost_l.get((week, tank), 0.0))
        add(solvent, "resin_l", flows.resin_l.get((week, tank), 0.0))
    _entries(spend, span, add)
    return {solvent: Balance(**sums) for solvent, sums in kinds.items() if solvent}


def _entries(spend: Spend, span: tuple[datetime, datetime], add) -> None:  # type: ignore[no-untyped-def]
    """Fills, pours and new tanks of a period."""
    since, until = span
    for fill in spend.fills:
        if since <= fill.at < until:
            add(fill.solvent, "moved_l", fill.volume_l)
            if not any(item.state and item.state.solvent == fill.solvent
                       for item in spend.shelf.values()):  # fmt: skip
                add(fill.solvent, "bought_l", fill.volume_l)  # no shelf is kept of it
    for entry in spend.waste_entries:
        if isinstance(entry, Pour) and entry.tank and since <= entry.at < until:
            add(spend.solvents.get(entry.tank, ""), "drums_l", entry.volume_l)
            add(spend.solvents.get(entry.tank, ""), "moved_l", entry.volume_l)
    for entry in spend.bath_entries:
        if isinstance(entry, Tank) and since <= entry.at < until:
            add(entry.solvent, "set_up_l", entry.capacity_l)
