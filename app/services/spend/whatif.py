"""The room as its log and its filter have it, ready for what-if cases; its own past repeated."""

import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.evidence import missing_words
from app.domain.baths.forecast.outlook import removed_l_per_day, top_up_below_l
from app.domain.planning.days import day_of, starts_at
from app.domain.roomlog.kinds.waste import Pour
from app.domain.spend.lines import SOLVENT, CostLine
from app.domain.spend.loads import WEEK, Load, Washes, even_normals, load_of
from app.domain.spend.pricing import Outcome, outcomes
from app.domain.spend.repeat import FEW_SWAPS, Books, Drained, Line, repeated, with_habits
from app.domain.spend.swapdays import Crew
from app.domain.spend.whatif import BathNow, PricesNow, Room
from app.domain.waste.measures import poured_kg
from app.services.baths.checkpoints import load_filter
from app.services.kept import kept
from app.services.spend.pricing import prices_now
from app.services.spend.rollups import Spend, spend_of
from app.services.storage import stored
from app.store import queries
from app.store.queries import TankView
from app.store.site import site
from app.store.tables import RoomRow
from app.store.washes import daily_washes, drained_percents, percent_at

YEAR_WEEKS = 52
FEWEST_WEEKS = 4
LEVEL_SD = 0.2  # common practice, no source: how much a year may differ while weeks are few
MOST_CASES_KEPT = 24


@dataclass(frozen=True)
class Prepared:
    """A room ready for cases.

    Attributes:
        room: None where it has no bath. repeat: its past, as booked and as the model tells it.
        missing: what to log before a year may be named, where too little is known of all its baths.
    """

    room: Room | None
    prices: PricesNow
    repeat: tuple[Line, ...] = ()
    weeks: int = 0
    missing: str = ""


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
    for name, found in outcomes(prepared.room, missing).items():
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
    since, until = starts_at(today - timedelta(weeks=weeks), zone), starts_at(today, zone)
    run = load_filter(session, room)
    if any(tank.key not in run.tanks for tank in tanks):
        return Prepared(None, prices)
    washes = [
        Washes(*key, size, count)
        for key, (size, count) in daily_washes(session, room.id, since, until).items()
    ]
    rng = np.random.default_rng(zlib.crc32(room.key.encode()))
    moment = max(now, run.last_at or now)
    names = [tank.key for tank in tanks]
    load = load_of(run, names, washes, lived, WEEK * weeks, moment, rng)
    found = Room(
        baths=[_bath(tank, run, moment) for tank in tanks], prices=prices, past=load,
        level=_level(load, rng), today=today,
        crew=Crew(place.weekdays, max(place.swaps_per_day, _busiest(spend, since, zone))),
        heel=run.settings.heel, slow_solvent_share=run.settings.slow_solvent_share,
    )  # fmt: skip
    limits = {tank.key: tank.limit_percent for tank in tanks}
    drained: dict[str, tuple[float, ...]] = {}
    for tank, percent in drained_percents(session, room.id, since, until):
        if tank in limits:
            drained[tank] = (*drained.get(tank, ()), percent / limits[tank])
    first = {tank.key: percent_at(session, room.id, tank.key, since) or 0.0 for tank in tanks}
    sds = {tank.key: (tank.p95_percent - tank.p05_percent) / 3.29 for tank in tanks}
    found = with_habits(found, {k: Drained(v) for k, v in drained.items()}, first, sds)
    prices = _as_rinsed(prices, spend, limits, since, until)
    area = stored(session, room.id, now)
    found = replace(found, prices=prices, fire_l=area.total_l, fire_limit_l=area.limit_l)
    books = _books(spend, limits, since, until)
    return Prepared(found, prices, repeated(found, first, books), weeks, missing)


def _bath(tank: TankView, run: RoomFilter, at: datetime) -> BathNow:
    habits = run.habits[tank.key]
    return BathNow(
        tank=tank.key, solvent=tank.solvent, volume_l=tank.capacity_l,
        solvent_density_g_ml=tank.solvent_density_g_ml,
        resin_density_g_ml=tank.resin_density_g_ml or 1.1, limit_percent=tank.limit_percent,
        below_l=top_up_below_l(habits, tank.capacity_l, tank.min_l),
        removed_l=removed_l_per_day(habits, at), life_days=tank.life_days,
        life_washes=tank.life_washes, second=tank.pair or "",
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


def _busiest(spend: Spend, since: datetime, zone: ZoneInfo) -> int:
    """The most swaps that were done on a day."""
    swaps = (e.at for e in spend.bath_entries if e.kind == "swap" and e.at >= since)
    days = Counter(day_of(at, zone) for at in swaps)
    return max(days.values(), default=1)


def _books(spend: Spend, tanks: Mapping[str, float], since: datetime, until: datetime) -> Books:
    """What was booked for these tanks between two instants."""
    fills = [fill for fill in spend.fills if fill.tank in tanks and since <= fill.at < until]
    streams = {getattr(e, "drum", ""): getattr(e, "stream", "") for e in spend.waste_entries
               if e.kind == "drum"}  # fmt: skip
    pours = [
        poured_kg(entry, entry.stream or streams.get(entry.drum, "unknown"))
        for entry in spend.waste_entries
        if isinstance(entry, Pour) and entry.tank in tanks and since <= entry.at < until
    ]
    used = _used(spend, tanks, since, until)
    swaps = [
        e for e in spend.bath_entries
        if e.kind == "swap" and getattr(e, "tank", "") in tanks and since <= e.at < until
    ]  # fmt: skip
    return Books(
        len(swaps), sum(fill.volume_l for fill in fills), sum(pours) if pours else None,
        float(sum(line.cents for line in used)) if used else None, _paid(used),
    )  # fmt: skip


def _used(
    spend: Spend, tanks: Mapping[str, float], since: datetime, until: datetime
) -> list[CostLine]:
    """Solvent that was used for these tanks."""
    return [
        line
        for lines in spend.lines.values()
        for line in lines
        if line.category == SOLVENT and line.tank in tanks and since <= line.at < until
    ]


def _as_rinsed(
    prices: PricesNow, spend: Spend, tanks: Mapping[str, float], since: datetime, until: datetime
) -> PricesNow:
    """What swaps take beside the fill, as the shelf tells it; else the site's own shares."""
    fills = [f for f in spend.fills if f.is_swap and f.tank in tanks and since <= f.at < until]
    used_l = sum(x.quantity for x in _used(spend, tanks, since, until) if x.purpose == "swap")
    filled_l = sum(fill.volume_l for fill in fills)
    if len(fills) < FEW_SWAPS or used_l < filled_l:
        return prices
    return replace(prices, rinse_percent=100 * (used_l / filled_l - 1), squirt_l=0.0)


def _paid(used: Sequence[CostLine]) -> dict[str, float]:
    """Cents of a litre of each solvent that was used."""
    litres: dict[str, float] = {}
    cents: dict[str, float] = {}
    for line in used:
        if line.unit == "L" and line.solvent:
            litres[line.solvent] = litres.get(line.solvent, 0.0) + line.quantity
            cents[line.solvent] = cents.get(line.solvent, 0.0) + line.cents
    return {key: cents[key] / some_l for key, some_l in litres.items() if some_l > 0}
