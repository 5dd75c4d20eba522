"""Where the solvent went, by solvent and period, from the log and the estimates.

How much stood in each bath at instants is found without walking its whole log each time: what the
log says of the baths up to the end of the weeks that are looked at is read once and kept until one
of these entries is corrected or withdrawn, or another one comes among them.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import as_of, standing
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SWAP, TankContents
from app.domain.roomlog.kinds.waste import Pour
from app.domain.solvents import SOLVENTS
from app.domain.spend.cost_folds import AT_RATE, BATHS, BOUGHT, COST, FILL, POUR, SET_UP
from app.domain.spend.cost_lines import SPOILED
from app.domain.spend.mass_balance import Balance, Change, Levels, levels_at
from app.domain.spend.weeks import IsoWeek, weeks_to
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.litres.told_late import with_told_late
from app.services.spend.cost_lines import Calendar, calendar_of
from app.services.spend.weekly_costs import Spend, spend_of
from app.store import queries
from app.store.instants import to_us
from app.store.site import site
from app.store.spend import reads
from app.store.spend.reads import UG, WeekSum
from app.store.spend.reads import flows as flows_of
from app.store.tables import RoomRow
from app.store.things import things

KINDS = sorted(BATHS | {Pour.kind, TankContents.kind})
MOST_KEPT = 4

BEFORE_WEEKS = 4  # so that levels have settled when the first period begins
RESIN_G_L = 1100.0
SOLVENT_G_L = 800.0


@dataclass(frozen=True)
class _Past:
    """What the log says of the baths up to an instant.

    Attributes:
        number: of the last entry that was stored by then, in the room's chain.
        before: the baths as all entries before the weeks that are looked at leave them.
        entries: those of these weeks.
    """

    number: int
    before: Levels
    entries: tuple[Entry, ...]


def levels_between(
    session: Session, room_id: int, since: datetime, moments: Sequence[datetime], change: Change
) -> list[dict[str, float]]:
    """Litres in each bath at each of the instants, which rise and lie behind `since`.

    `change` is the expected change of a volume behind `since`, litres; before it there is none.
    """
    past = _past(session, room_id, to_us(since), to_us(moments[-1]))
    found = levels_at(past.entries, moments, change, past.before)
    _lay_over(session, room_id, moments, found)
    return found


def _lay_over(
    session: Session, room_id: int, moments: Sequence[datetime], found: list[dict[str, float]]
) -> None:
    """In tanks whose swap is under way stands what its steps left or filled by each instant."""
    states: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    for one in states:
        state = with_told_late(session, room_id, one)
        heel_percent = site(session, room_id).heel_percent
        for moment, levels in zip(moments, found, strict=True):
            for tank in filter(None, (state.tank, state.from_tank)):
                stands = standing(as_of(state, moment), tank, heel_percent)
                if stands is not None and tank in levels:
                    levels[tank] = stands.litres


def _past(session: Session, room_id: int, since_us: int, until_us: int) -> _Past:
    known: dict[tuple[int, int], _Past] = kept(session, room_id, "levels of baths", "", dict)
    found, number = known.get((since_us, until_us)), reads.last_number(session, room_id)

    def stands(end_us: int) -> bool:
        return found is not None and not reads.has_changed_before(
            session, room_id, found.number, end_us, KINDS
        )

    if found is not None and stands(until_us):
        past = _Past(max(number, found.number), found.before, found.entries)
    else:
        is_old = found is not None and stands(since_us)
        before = found.before if found and is_old else _walked(session, room_id, since_us)
        past = _Past(number, before, tuple(_entries(session, room_id, since_us, until_us)))
        if len(known) >= MOST_KEPT:
            known.clear()
    known[since_us, until_us] = past
    return past


def _walked(session: Session, room_id: int, until_us: int) -> Levels:
    walk = Levels(lambda *_: 0.0)
    for entry in _entries(session, room_id, None, until_us):
        walk.take(entry)
    return walk


def _entries(
    session: Session, room_id: int, since_us: int | None, until_us: int
) -> Iterator[Entry]:
    """What was set up, filled and drained between two instants, in the order of truth."""
    rows = reads.counting_between(session, room_id, KINDS, since_us, until_us)
    return (entry_of(row) for row in rows)


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
