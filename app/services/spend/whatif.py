"""The room as its log and its filter have it, ready for what-if cases; its own past repeated.

Of its own past days cases need the swaps, the loads of clean baths, and the figures booked.
"""

import zlib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.evidence import missing_words
from app.domain.baths.forecast.masses import volume_l
from app.domain.baths.forecast.outlook import removed_l_per_day, top_up_below_l
from app.domain.planning.days import day_of, starts_at
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.waste import Pour
from app.domain.spend.cost_lines import SOLVENT, CostLine, total
from app.domain.spend.weeks import IsoWeek
from app.domain.spend.whatif.backtest import (
    FEW_SWAPS,
    Books,
    Drained,
    Figure,
    Paid,
    Stretch,
    at_a_years_pace,
    paid_of,
    part_of,
    repeated,
    with_carry,
    with_habits,
)
from app.domain.spend.whatif.cases import (
    YEAR_DAYS,
    BathNow,
    PricesNow,
    Room,
    Yearly,
    seconds_of,
    yearly,
)
from app.domain.spend.whatif.loads import WEEK, Load, Washes, even_normals, load_of
from app.domain.spend.whatif.outcomes import Outcome, outcomes, priced
from app.domain.spend.whatif.replay import Crew
from app.domain.waste.measures import poured_kg
from app.services.baths.states import load_filter
from app.services.caching import kept
from app.services.spend.price_book import prices_now
from app.services.spend.weekly_costs import Spend, spend_of
from app.services.storage import stored
from app.store import queries
from app.store.queries import TankView
from app.store.site import site
from app.store.tables import RoomRow
from app.store.washes import Drain, daily_washes, drains, percent_at

QUARTER_WEEKS, FEWEST_HALVED = 13, 8
NEAR = timedelta(days=1)

YEAR_WEEKS = 52
FEWEST_WEEKS = 4
LEVEL_SD = 0.2  # common practice, no source: how much a year may differ while weeks are few
MOST_CASES_KEPT = 24


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


@dataclass(frozen=True)
class Prepared:
    """A room ready for cases.

    Attributes:
        room: None where it has no bath. repeat: its past, as booked and as the model tells it.
        missing: what to log before a year may be named, where too little is known of all its baths.
        paid: what its books say of these weeks. year: the one to come, as the room is kept.
    """

    room: Room | None
    prices: PricesNow
    repeat: tuple[Figure, ...] = ()
    weeks: int = 0
    missing: str = ""
    paid: Paid = field(default_factory=Paid)
    year: Yearly | None = None


def room_now(session: Session, room: RoomRow, now: datetime) -> Prepared:
    """The room as it is kept, with the load of the last year or of as long as it has one."""
    assert room.id is not None

    def make() -> Prepared:
        return _prepared(session, room, now)

    return kept(session, room.id, "what if", _depends_on(room, now), make)


def outcomes_of(
    session: Session, room: RoomRow, now: datetime, cases: Mapping[str, Mapping[str, Any]]
) -> dict[str, Outcome]:
    """Each case's year by its name; those asked before are kept until the room's log moves on."""
    assert room.id is not None
    prepared = room_now(session, room, now)
    if prepared.room is None:
        return {}
    known: dict[Any, Outcome] = kept(
        session, room.id, "what if cases", _depends_on(room, now), dict
    )
    keys = {name: tuple(sorted(changes.items())) for name, changes in cases.items()}
    missing = {name: cases[name] for name, key in keys.items() if key not in known}
    if len(known) + len(missing) > MOST_CASES_KEPT:
        known.clear()
        missing = dict(cases)
    for name, found in outcomes(prepared.room, missing, prepared.year).items():
        known[keys[name]] = found
    return {name: known[key] for name, key in keys.items()}


def _depends_on(room: RoomRow, now: datetime) -> tuple[object, ...]:
    return room.version, room.time_zone, day_of(now, ZoneInfo(room.time_zone))


def _prepared(session: Session, room: RoomRow, now: datetime) -> Prepared:
    assert room.id is not None
    zone, spend = ZoneInfo(room.time_zone), spend_of(session, room)
    board, place = queries.board(session, room.id, now), site(session, room.id)
    tanks = board.tanks
    prices = prices_now(session, room.id, spend, {tank.solvent for tank in tanks}, now)
    if not tanks:
        return Prepared(None, prices)
    missing = ""
    if all(tank.lacks for tank in tanks):
        missing = missing_words({lack for tank in tanks for lack in tank.lacks})
    today = day_of(now, zone)
    lived = [max(0, (today - day_of(tank.started_at, zone)).days) for tank in tanks]
    weeks = min(YEAR_WEEKS, max(1, -(-max(lived) // WEEK)))
    run = load_filter(session, room)
    if any(tank.key not in run.tanks for tank in tanks):
        return Prepared(None, prices)
    past = Past(session, room.id, spend, {tank.key: tank for tank in tanks}, today, weeks, zone)
    washes = [
        Washes(*key, size, count)
        for key, (size, count) in daily_washes(
            session, room.id, past.at(0), past.at(past.days)
        ).items()
    ]
    rng = np.random.default_rng(zlib.crc32(room.key.encode()))
    moment = max(now, run.last_at or now)
    names = [tank.key for tank in tanks]
    load = load_of(run, names, washes, lived, past.days, moment, rng)
    paid, area = past.paid(), stored(session, room.id, now)
    found = Room(
        baths=[_bath(tank, run, moment, past) for tank in tanks],
        prices=_as_booked(prices, past, paid), past=load,
        level=_level(load, rng), today=today,
        crew=Crew(place.weekdays, max(place.swaps_per_day, past.busiest())),
        heel=run.settings.heel, slow_solvent_share=run.settings.slow_solvent_share,
        fire_l=area.total_l, fire_limit_l=area.limit_l,
    )  # fmt: skip
    sds = {tank.key: (tank.p95_percent - tank.p05_percent) / 3.29 for tank in tanks}
    found = _as_kept(found, past, sds)
    repeat, year = repeated(found, past.stretches(), paid), yearly(found, {})
    repeat = at_a_years_pace(found, repeat, year, priced(year, found, {}).figures["cents"])
    doubts = {one.name: one.doubt for one in repeat}
    return Prepared(replace(found, doubts=doubts), found.prices, repeat, weeks, missing, paid, year)


def _as_kept(room: Room, past: Past, sds: Mapping[str, float]) -> Room:
    """The room with its habits: when it swaps, and what parts bring into its clean baths."""
    first, habits = past.percents(0), past.habits()
    room = with_habits(room, habits, first, sds)
    cleans = set(seconds_of(room.baths).values())
    if not cleans:
        return room
    room = with_carry(room, first, {tank: past.came_in_g(tank) for tank in cleans})
    return with_habits(room, habits, first, sds, rounds=1)  # what moves up is dirtier now


def _bath(tank: TankView, run: RoomFilter, at: datetime, past: Past) -> BathNow:
    habits = run.habits[tank.key]
    return BathNow(
        tank=tank.key, solvent=tank.solvent, volume_l=tank.capacity_l,
        solvent_density_g_ml=tank.solvent_density_g_ml,
        resin_density_g_ml=tank.resin_density_g_ml or 1.1, limit_percent=tank.limit_percent,
        below_l=top_up_below_l(habits, tank.capacity_l, tank.min_l),
        removed_l=removed_l_per_day(habits, at), life_days=tank.life_days,
        life_washes=tank.life_washes, second=tank.pair or "",
        moves_up=_moves_up(tank, past),
    )  # fmt: skip


def _level(load: Load, rng: np.random.Generator) -> np.ndarray[Any, np.dtype[np.float64]]:
    """How much more or less a year may bring than the past weeks did: they differ, and are few."""
    weeks = load.weekly_g()[-min(len(load.weekly_g()), max(load.lived_days) // WEEK or 1) :]
    sd = LEVEL_SD
    if len(weeks) >= FEWEST_WEEKS and weeks.mean() > 0:
        of_mean = float(weeks.std(ddof=1) / weeks.mean())
        sd = min(LEVEL_SD * 2, of_mean * (1 / len(weeks) + 1 / YEAR_WEEKS) ** 0.5)
    level = np.exp(sd * even_normals(load.paths, rng))
    return np.asarray(level / level.mean())


def _moves_up(tank: TankView, past: Past) -> bool:
    """A clean bath moves up at swaps, unless it is of another solvent or the room has it so."""
    clean = past.tanks.get(tank.pair or "")
    return clean is not None and clean.solvent == tank.solvent and past.moves_up(tank.key)


def _as_booked(prices: PricesNow, past: Past, paid: Paid) -> PricesNow:
    """Prices with what the books say beside them: what swaps take beside the fill, else by the
    site's own shares; and all that the model does not replay, as it was."""
    goods, rest = paid.goods_cents_per_swap, paid.rest_in(YEAR_DAYS)
    prices = replace(prices, goods_cents_per_swap=goods, rest_cents=rest)
    fills = [
        fill for fill in past.spend.fills
        if fill.is_swap and fill.tank in past.tanks and past.at(0) <= fill.at < past.at(past.days)
    ]  # fmt: skip
    used_l = sum(
        line.quantity for line in past.lines
        if part_of(line, past.tanks) == SOLVENT and line.purpose == "swap"
    )  # fmt: skip
    filled_l = sum(fill.volume_l for fill in fills)
    if len(fills) < FEW_SWAPS or used_l < filled_l:
        return prices
    return replace(prices, rinse_percent=100 * (used_l / filled_l - 1), squirt_l=0.0)
