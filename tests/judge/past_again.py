"""A made-up room's past held against the what-if model's account of the same washes."""

from collections import defaultdict
from datetime import UTC, timedelta

import numpy as np

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast.outlook import removed_l_per_day, top_up_below_l
from app.domain.roomlog import kinds
from app.domain.roomlog.history import effective
from app.domain.spend.whatif.backtest import (
    Books,
    Drained,
    Line,
    Paid,
    Stretch,
    repeated,
    with_habits,
)
from app.domain.spend.whatif.cases import BathNow, PricesNow, Room
from app.domain.spend.whatif.loads import Washes, load_of
from app.domain.spend.whatif.replay import Crew
from tests.judge.simulator import Simulated
from tests.judge.truth import START, moment

MEASURES = ("area_cm2", "mass_g", "parts")


def past_again(made: Simulated) -> tuple[Line, ...]:
    """What the room's log says of its swaps and litres, and what the model says."""
    days = int(made.days) // 7 * 7
    room = RoomFilter(zone=UTC)
    drained: dict[str, tuple[float, ...]] = defaultdict(tuple)
    for entry in effective(made.entries):
        effect = room.apply(entry)
        if isinstance(entry, kinds.Swap) and effect is not None:
            share = effect.mean_before_percent / effect.belief.limit_percent
            drained[entry.tank] += (share,)
    now = moment(days)
    tanks = list(room.tanks)
    found = _room(made, room, tanks, days)
    sds = {tank: room.belief(tank, max(now, room.last_at or now)).sd_percent for tank in tanks}
    first = {e.tank: e.saturation_percent or 0.0 for e in made.entries if isinstance(e, kinds.Tank)}
    found = with_habits(found, {k: Drained(v) for k, v in drained.items()}, first, sds)
    whole = Stretch(0, days, first, _books(made, room, days))
    return tuple(one.whole for one in repeated(found, [whole], Paid()))


def _room(made: Simulated, room: RoomFilter, tanks: list[str], days: int) -> Room:
    now = max(moment(days), room.last_at or moment(days))
    washes = [
        Washes(e.tank, (e.at - START).days, e.resin, *_size(e), 1)
        for e in made.entries
        if isinstance(e, kinds.Wash) and (e.at - START).days < days
    ]
    load = load_of(room, tanks, washes, [days] * len(tanks), days, now, np.random.default_rng(1))
    baths = []
    for tank in tanks:
        belief, facts, habits = room.belief(tank, now), room.tanks[tank], room.habits[tank]
        baths.append(
            BathNow(
                tank, facts.solvent, facts.capacity_l, belief.solvent_density_g_ml,
                belief.resin_density_g_ml, belief.limit_percent,
                top_up_below_l(habits, facts.capacity_l, facts.min_l),
                removed_l_per_day(habits, now),
            )
        )  # fmt: skip
    crew = Crew(frozenset(range(1, 8)), 4)
    today = (START + timedelta(days)).date()
    return Room(baths, PricesNow({}), load, np.ones(load.paths), crew, today)


def _size(wash: kinds.Wash) -> tuple[int, float]:
    for number, name in enumerate(MEASURES):
        if (size := getattr(wash, name)) is not None:
            return number, float(size)
    raise ValueError("a wash has a size")


def _books(made: Simulated, room: RoomFilter, days: int) -> Books:
    until = moment(days)
    swaps = [e for e in made.entries if isinstance(e, kinds.Swap) and e.at < until]
    litres = sum(room.tanks[e.tank].capacity_l for e in swaps)
    litres += sum(e.volume_l for e in made.entries if isinstance(e, kinds.TopUp) and e.at < until)
    return Books(len(swaps), litres)
