"""The room as its log and its filter have it, ready for what-if cases; its own past repeated."""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.evidence import missing_words
from app.domain.baths.forecast.outlook import removed_l_per_day, top_up_below_l
from app.domain.planning.days import day_of
from app.domain.spend.cost_lines import SOLVENT
from app.domain.spend.whatif.backtest import (
    FEW_SWAPS,
    Figure,
    Paid,
    at_a_years_pace,
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
from app.services.baths.states import load_filter
from app.services.kept import kept
from app.services.spend.past import Past
from app.services.spend.pricing import prices_now
from app.services.spend.rollups import spend_of
from app.services.storage import stored
from app.store import queries
from app.store.queries import TankView
from app.store.site import site
from app.store.tables import RoomRow
from app.store.washes import daily_washes

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
