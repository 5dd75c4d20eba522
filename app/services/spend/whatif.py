"""What-if cases on a room: its load, its prices, and the cases that people keep."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from statistics import fmean, pstdev
from typing import Any

from sqlmodel import Session

from app.domain.spend.lines import DISPOSAL
from app.domain.spend.replay import Day
from app.domain.spend.whatif import BathNow, Outcome, PricesNow, Room, outcome
from app.services.kept import kept
from app.services.spend.rollups import Spend, spend_of
from app.store import queries
from app.store.queries import TankView
from app.store.site import site
from app.store.spend import daily_loads
from app.store.tables import RoomRow
from app.store.things import things

YEAR = timedelta(days=365)
FEWEST_WEEKS = 4
UNREAD_SD = 0.38  # where no reading was taken: what rooms differ by (estimator/settings.py)


def room_now(session: Session, room: RoomRow, now: datetime) -> Room:
    """The room as it is kept, with the load of the last year or of as long as it has one."""
    assert room.id is not None

    def make() -> Room:
        return _room(session, room, now)

    depends_on = (room.version, room.time_zone, now.date())
    return kept(session, room.id, "what if", depends_on, make)


def outcomes(room: Room, cases: Mapping[str, Mapping[str, Any]]) -> dict[str, Outcome]:
    """Each case's year by its name."""
    return {name: outcome(room, changes) for name, changes in cases.items()}


def _room(session: Session, room: RoomRow, now: datetime) -> Room:
    assert room.id is not None
    board = queries.board(session, room.id, now)
    spend = spend_of(session, room)
    first = min((tank.started_at for tank in board.tanks), default=now)
    since = max(first, now - YEAR)
    days = max(1, round((now - since) / timedelta(days=1)))
    loads: dict[str, dict[int, Day]] = {}
    for tank, day, resin_g, out_g, gone_g in daily_loads(session, room.id, since, now):
        loads.setdefault(tank, {})[day] = Day(max(0.0, resin_g), max(0.0, out_g), max(0.0, gone_g))
    baths = [_bath(tank, loads.get(tank.key, {}), days) for tank in board.tanks]
    return Room(baths, _prices(session, room.id, spend, baths, board.tanks, now), days)


def _bath(tank: TankView, loads: Mapping[int, Day], days: int) -> BathNow:
    none = Day(0.0, 0.0, 0.0)
    return BathNow(
        tank=tank.key, solvent=tank.solvent, volume_l=tank.capacity_l,
        solvent_density_g_ml=tank.solvent_density_g_ml,
        resin_density_g_ml=tank.resin_density_g_ml or 1.1, limit_percent=tank.limit_percent,
        days=[loads.get(day, none) for day in range(days)], second=tank.pair or "",
    )  # fmt: skip


def _prices(
    session: Session, room_id: int, spend: Spend, baths: list[BathNow],
    tanks: tuple[TankView, ...], now: datetime,
) -> PricesNow:  # fmt: skip
    rates, place = spend.prices.at(now), site(session, room_id)
    per_l = _solvent_prices(spend, now)
    fallback = rates.solvent_cents_per_l
    missing = {bath.solvent for bath in baths} - set(per_l)
    if fallback is not None:
        per_l |= dict.fromkeys(missing, float(fallback))
    per_kg = float(rates.disposal_cents_per_kg or 0)
    if rates.disposal_cents_per_kg is None and rates.disposal_cents_per_drum is None:
        per_kg = _disposal_per_kg(spend)
    drums = [
        drum.fill_limit_l for drum in things(session, room_id, "drum").values() if drum.capacity_l
    ]
    unknown = [
        word
        for word, is_missing in (
            ("price of solvent", fallback is None and bool(missing)),
            ("price of disposal", not per_kg and not rates.disposal_cents_per_drum),
            ("rate of labour", rates.labour_cents_per_hour is None),
        )
        if is_missing
    ]
    return PricesNow(
        solvent_cents_per_l=per_l, container_l=_container_l(spend),
        disposal_cents_per_drum=float(rates.disposal_cents_per_drum or 0),
        disposal_cents_per_kg=per_kg, drum_l=fmean(drums) if drums else 180.0,
        labour_cents_per_hour=float(rates.labour_cents_per_hour or 0),
        swap_minutes=place.swap_minutes, relative_sd=_relative_sd(baths, tanks),
        unknown=tuple(unknown),
    )  # fmt: skip


def _solvent_prices(spend: Spend, now: datetime) -> dict[str, float]:
    """Cents of a litre of each solvent: what was paid in the last year, by litres."""
    sums: dict[str, tuple[float, float]] = {}
    for lines in spend.bought.values():
        for line in lines:
            if line.solvent and line.unit == "L" and line.cents and line.at > now - YEAR:
                cents, litres = sums.get(line.solvent, (0.0, 0.0))
                sums[line.solvent] = cents + line.cents, litres + line.quantity
    return {solvent: cents / litres for solvent, (cents, litres) in sums.items() if litres}


def _container_l(spend: Spend) -> float:
    """The size of container that solvents are mostly bought in."""
    sizes = [
        item.state.container_sizes[0]
        for item in spend.shelf.values()
        if item.state and item.state.category == "solvent" and item.state.container_sizes
    ]
    return max(set(sizes), key=sizes.count) if sizes else 0.0


def _disposal_per_kg(spend: Spend) -> float:
    """What past pickups cost for a kilogram poured into their drums; 0 without any."""
    lines = [
        line for some in spend.lines.values() for line in some
        if line.category == DISPOSAL and line.unit == "kg"
    ]  # fmt: skip
    kg = sum(line.quantity for line in lines)
    return sum(line.cents for line in lines) / kg if kg else 0.0


def _relative_sd(baths: list[BathNow], tanks: tuple[TankView, ...]) -> float:
    """How unsure a year's load is: the estimate's own doubt, and how much weeks differ."""
    doubts = [
        (tank.p95_percent - tank.p05_percent) / (3.29 * tank.mean_percent)
        for tank in tanks
        if tank.mean_percent > 1 and tank.last_reading_at is not None
    ]
    doubt = min(UNREAD_SD, fmean(doubts)) if doubts else UNREAD_SD
    length = max((len(bath.days) for bath in baths), default=0)
    weeks = [
        sum(day.resin_in_g for bath in baths for day in bath.days[start : start + 7])
        for start in range(0, length - 6, 7)
    ]
    if len(weeks) < FEWEST_WEEKS or not fmean(weeks):
        return UNREAD_SD
    between = pstdev(weeks) / fmean(weeks) / len(weeks) ** 0.5
    return float((doubt**2 + between**2) ** 0.5)
