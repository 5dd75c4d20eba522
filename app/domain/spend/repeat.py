"""How well the what-if model repeats a room's own past, and when the room swaps its baths."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from statistics import fmean, stdev
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.spend.lanes import Baths, Flows, start_at
from app.domain.spend.loads import Load
from app.domain.spend.replay import replay
from app.domain.spend.whatif import Room, Spread, Yearly, arrays_of, crew_of, lanes_of, spread
from app.domain.spend.whatif import summed as summed_flows

Array = NDArray[np.floating[Any]]

ROUNDS, ROUND_PATHS = 3, 4
LEAST_SHARE, MOST_SHARE = 0.3, 1.5
Z10 = 1.2815515655446004  # 90 % quantile of the normal distribution
FEW_SWAPS = 3
LEAST_SD = 0.005


@dataclass(frozen=True)
class Drained:
    """The saturations at which a bath was swapped, as shares of its limit."""

    shares: tuple[float, ...] = ()


@dataclass(frozen=True)
class Books:
    """What the room's books say of the days looked at; None where they say nothing.

    Attributes:
        bath_l: fresh solvent poured into baths.
        solvent_cents: what solvent that was used cost; `cents_per_l` of it by solvent.
        waste_kg: poured into drums.
    """

    swaps: int
    bath_l: float
    waste_kg: float | None = None
    solvent_cents: float | None = None
    cents_per_l: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Line:
    """A figure of the past: as booked, and as the model tells it from the same washes."""

    name: str
    booked: float
    told: Spread

    @property
    def is_within(self) -> bool:
        """Whether the books lie in the model's range of 80 %."""
        return self.told.low <= self.booked <= self.told.high


def with_habits(
    room: Room, drained: Mapping[str, Drained], percent: Mapping[str, float],
    sd_percent: Mapping[str, float],
) -> Room:  # fmt: skip
    """The room with the share of its limit from which on each bath is swapped.

    Told from the saturations at which the room did swap, so that the replayed past swaps there too;
    a bath with few swaps takes part in what the room does. With few in all, as the plan would: the
    day before the limit may be passed with one chance in ten.

    Args:
        percent: saturation of each bath on the first day. sd_percent: how sure the room is of it.
    """
    seconds = {bath.second for bath in room.baths if bath.second}
    every = [share for tank, one in drained.items() if tank not in seconds for share in one.shares]
    seen = sum(len(one.shares) for one in drained.values())
    if len(every) < FEW_SWAPS:
        planned = [
            replace(b, early_share=max(0.5, 1 - Z10 * sd_percent.get(b.tank, 0) / b.limit_percent))
            for b in room.baths
        ]
        return replace(room, baths=planned, swaps_seen=min(seen, FEW_SWAPS - 1))
    wanted = {b.tank: _share(drained.get(b.tank, Drained()), every, b.tank in seconds)
              for b in room.baths}  # fmt: skip
    sd = _sd_of_mean(every)
    baths = [replace(b, early_share=wanted[b.tank], early_sd=sd) for b in room.baths]
    room = replace(room, swaps_seen=seen, baths=baths)
    for _ in range(ROUNDS):
        flows = past_flows(room, percent, room.past.some(ROUND_PATHS))
        swaps = flows.renewals.sum(axis=1)
        got = flows.drained_share.sum(axis=1) / np.maximum(swaps, 1)
        room = replace(room, baths=[
            b if not swaps[n] else replace(b, early_share=float(
                np.clip(b.early_share + wanted[b.tank] - got[n], LEAST_SHARE, MOST_SHARE)))
            for n, b in enumerate(room.baths)
        ])  # fmt: skip
    return room


def _share(own: Drained, every: Sequence[float], is_second: bool) -> float:
    if is_second or len(own.shares) >= FEW_SWAPS:
        return fmean(own.shares or every)
    return fmean((*own.shares, fmean(every)))


def _sd_of_mean(shares: Sequence[float]) -> float:
    return max(LEAST_SD, stdev(shares) / math.sqrt(len(shares)))


def past_flows(room: Room, percent: Mapping[str, float], load: Load) -> Flows:
    """What went through the baths in the past, by the model: from the saturations of its first
    day, with the washes that were logged."""
    lanes = lanes_of(room, {})
    since = np.array([[max(0, load.days - lived)] for lived in load.lived_days], dtype=np.int64)
    arrays = replace(arrays_of(room, lanes, load, {}), since_day=since)
    first = np.array([[percent.get(lane.bath.tank, 0.0)] for lane in lanes])
    start: Baths = start_at(arrays, np.repeat(first, load.paths, axis=1))
    start.age_days, start.washes = 0 * start.age_days, 0 * start.washes
    begin = room.today - timedelta(load.days)
    return replay(arrays, load, start, begin, crew_of(room, lanes))


def repeated(room: Room, percent: Mapping[str, float], books: Books) -> tuple[Line, ...]:
    """The books of the past beside what the model tells from the same washes."""
    flows = past_flows(room, percent, room.past)
    told = summed_flows(room, lanes_of(room, {}), flows, 0.0)
    found = [
        Line("swaps", books.swaps, spread(told.swaps)),
        Line("bath_l", books.bath_l, spread(told.bath_l)),
    ]
    if books.waste_kg is not None:
        found.append(Line("waste_kg", books.waste_kg, spread(told.waste_kg)))
    if books.solvent_cents is not None:
        found.append(Line("solvent_cents", books.solvent_cents, spread(_cents(books, told))))
    return tuple(found)


def _cents(books: Books, told: Yearly) -> NDArray[np.float64]:
    """What the litres would have cost at the prices that were paid."""
    of_each = [litres * books.cents_per_l.get(key, 0.0) for key, litres in told.fresh_l.items()]
    return np.asarray(sum(of_each), dtype=np.float64)
