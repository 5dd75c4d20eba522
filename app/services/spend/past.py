"""A room's own past days as what-if cases need them: swaps, loads of clean baths, figures."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.baths.forecast.masses import volume_l
from app.domain.planning.days import day_of, starts_at
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.waste import Pour
from app.domain.spend.cost_lines import SOLVENT, CostLine, total
from app.domain.spend.weeks import IsoWeek
from app.domain.spend.whatif.backtest import Books, Drained, Paid, Stretch, paid_of, part_of
from app.domain.waste.measures import poured_kg
from app.services.spend.rollups import Spend
from app.store.queries import TankView
from app.store.washes import Drain, drains, percent_at

QUARTER_WEEKS, FEWEST_HALVED = 13, 8
NEAR = timedelta(days=1)
WEEK = 7


@dataclass(frozen=True)
class Past:
    """The whole weeks up to today that a room is looked at for.

    Attributes:
        tanks: those that are in use now, by key.
    """

    session: Session
    room_id: int
    spend: Spend
    tanks: Mapping[str, TankView]
    today: date
    weeks: int
    zone: ZoneInfo

    @property
    def days(self) -> int:
        """How many days it has."""
        return WEEK * self.weeks

    def at(self, day: int) -> datetime:
        """The begin of a day, counted from its first."""
        return starts_at(self.today - timedelta(self.days - day), self.zone)

    @cached_property
    def swaps(self) -> list[Swap]:
        """All swaps of these tanks, in the order of time."""
        since, until = self.at(0), self.at(self.days)
        return [
            entry for entry in self.spend.bath_entries
            if isinstance(entry, Swap) and entry.tank in self.tanks and since <= entry.at < until
        ]  # fmt: skip

    def goes_along(self, tank: str, at: datetime, swap: str | None = None) -> bool:
        """Whether a swap of a clean bath only fills it after its liquid moved to the dirty one."""
        return any(
            one.from_tank == tank and (abs(one.at - at) <= NEAR or (swap and one.swap == swap))
            for one in self.swaps
        )

    def jobs(self, since: datetime, until: datetime) -> list[Swap]:
        """Swaps between two instants; the two of a pair that were done at once are one."""
        return [
            one for one in self.swaps
            if since <= one.at < until and not self.goes_along(one.tank, one.at, one.swap)
        ]  # fmt: skip

    def moves_up(self, tank: str) -> bool:
        """Whether the clean bath behind a tank is moved into it at a swap, as most of its swaps
        say; so without any."""
        own = [one for one in self.swaps if one.tank == tank]
        moved = sum(one.from_tank is not None for one in own)
        return 2 * moved >= len(own)

    @cached_property
    def drained(self) -> list[Drain]:
        """How loaded the baths were at their swaps, but for clean ones that moved up."""
        found = drains(self.session, self.room_id, self.at(0), self.at(self.days))
        return [
            one for one in found
            if one.tank in self.tanks and not self.goes_along(one.tank, one.at)
        ]  # fmt: skip

    def habits(self) -> dict[str, Drained]:
        """The shares of their limits, as these stood then, at which baths were swapped."""
        shares: dict[str, list[float]] = {}
        for one in self.drained:
            limit = one.limit_percent or self.tanks[one.tank].limit_percent
            shares.setdefault(one.tank, []).append(one.percent / limit)
        return {tank: Drained(tuple(some)) for tank, some in shares.items()}

    def percents(self, day: int) -> dict[str, float]:
        """Saturation of each bath at the begin of a day."""
        at = self.at(day)
        return {
            tank: percent_at(self.session, self.room_id, tank, at) or 0.0 for tank in self.tanks
        }

    def came_in_g(self, tank: str) -> float:
        """Resin that came into a bath, by its estimates: what was drained and what is more."""
        view = self.tanks[tank]
        swaps = drains(self.session, self.room_id, self.at(0), self.at(self.days))
        own = [one.percent for one in swaps if one.tank == tank]
        more = view.mean_percent - self.percents(0)[tank]
        return sum(_resin_g(view, percent) for percent in own) + _resin_g(view, more)

    def busiest(self) -> int:
        """The most swaps that were done on a day."""
        days = Counter(
            day_of(one.at, self.zone) for one in self.jobs(self.at(0), self.at(self.days))
        )
        return max(days.values(), default=1)

    @cached_property
    def lines(self) -> list[CostLine]:
        """Everything that these days cost."""
        since, until = self.at(0), self.at(self.days)
        week, last = IsoWeek.at(since, self.zone), IsoWeek.at(until, self.zone)
        found: list[CostLine] = []
        while week <= last:
            found += [line for line in self.spend.week(week) if since <= line.at < until]
            week = week.plus(1)
        return found

    def paid(self) -> Paid:
        """What was paid in them."""
        jobs = self.jobs(self.at(0), self.at(self.days))
        return paid_of(self.lines, self.tanks, len(jobs), self.days)

    def books(self, first: int, until: int) -> Books:
        """What was booked from a day up to another, not included."""
        since, end = self.at(first), self.at(until)
        lines = [line for line in self.lines if since <= line.at < end]
        used = [line for line in lines if part_of(line, self.tanks) == SOLVENT]
        mine = [line for line in lines if part_of(line, self.tanks) is not None]
        fills = [
            fill.volume_l for fill in self.spend.fills
            if fill.tank in self.tanks and since <= fill.at < end
        ]  # fmt: skip
        pours = [kg for at, kg in self.pours if since <= at < end]
        has_solvent = any(part_of(line, self.tanks) == SOLVENT for line in self.lines)
        return Books(
            len(self.jobs(since, end)), sum(fills), sum(pours) if self.pours else None,
            float(total(used)) if has_solvent else None,
            float(total(mine)) if self.lines else None,
        )  # fmt: skip

    @cached_property
    def pours(self) -> list[tuple[datetime, float]]:
        """What was poured from these tanks into drums, kg."""
        streams = {getattr(e, "drum", ""): getattr(e, "stream", "")
                   for e in self.spend.waste_entries if e.kind == "drum"}  # fmt: skip
        since, until = self.at(0), self.at(self.days)
        return [
            (entry.at, poured_kg(entry, entry.stream or streams.get(entry.drum, "unknown")))
            for entry in self.spend.waste_entries
            if isinstance(entry, Pour) and entry.tank in self.tanks and since <= entry.at < until
        ]

    def stretches(self) -> list[Stretch]:
        """Its quarters, or its halves where it is shorter than two; the last one is all of it."""
        cuts = [*self._cuts(), (0, self.days)]
        return [
            Stretch(first, until, self.percents(first), self.books(first, until))
            for first, until in cuts
        ]

    def _cuts(self) -> Iterator[tuple[int, int]]:
        if self.weeks < FEWEST_HALVED:
            return
        pieces = max(2, self.weeks // QUARTER_WEEKS)
        edges = [WEEK * (self.weeks * n // pieces) for n in range(pieces + 1)]
        yield from pairwise(edges)


def _resin_g(tank: TankView, percent: float) -> float:
    """Resin in a bath at its mark with a saturation; below zero for less than none."""
    share = abs(percent) / 100
    resin_g_ml, solvent_g_ml = tank.resin_density_g_ml or 1.1, tank.solvent_density_g_ml
    litre_of_g = float(volume_l(share, 1 - share, resin_g_ml, solvent_g_ml))  # type: ignore[arg-type]
    return (1 if percent >= 0 else -1) * share * tank.capacity_l / litre_of_g
