"""The swaps to come, and what a room has for them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from app.domain.planning.allotment import Parcel
from app.domain.planning.needs import SwapNeed


@dataclass(frozen=True)
class SwapAhead:
    """A swap of the queue.

    Attributes:
        day: the day it is proposed or pinned for; None where it has none.
        early_on: early day of the forecast; None where it lies beyond the horizon.
        stream: the waste stream its bath goes into.
        is_flammable: its solvent is a flammable liquid.
        counts: its waste counts towards the month.
        is_crowded: more swaps are on its day than can be done, or its pair's.
        is_fixed: its day was set, or it is under way.
        waits_for: what keeps it from an earlier day: `solvent`, `drum`, or nothing.
        round: 0 for the next swap of its tank, 1 for the one after it.
        share: by which it counts: the chance that it falls into the weeks looked at.
        drum: key of the drum that was chosen for it, where it is under way.
    """

    tank: str
    need: SwapNeed
    solvent: str
    stream: str
    is_flammable: bool
    early_on: date | None = None
    day: date | None = None
    counts: bool = True
    is_crowded: bool = False
    is_fixed: bool = False
    waits_for: str = ""
    round: int = 0
    share: float = 1.0
    drum: str = ""


@dataclass(frozen=True)
class Solvent:
    """Fresh solvent: on hand and on order, and the sizes it is sold in; empty: any amount."""

    parcels: tuple[Parcel, ...] = ()
    sizes_l: tuple[float, ...] = ()


@dataclass(frozen=True)
class Part:
    """Something that swaps take from the shelf besides solvent.

    Attributes:
        per_swap: what each swap takes.
        more: what is to be replaced at the next swap of a tank besides, by tank.
    """

    key: str
    name: str
    unit: str
    per_swap: float
    parcels: tuple[Parcel, ...]
    more: Mapping[str, float] = field(default_factory=dict)

    def needed(self, swap: SwapAhead) -> float:
        """What a swap takes of it; a later one by its chance, and not what is replaced before."""
        if swap.round:
            return swap.share * self.per_swap
        return self.per_swap + self.more.get(swap.tank, 0.0)


@dataclass(frozen=True)
class Fire:
    """Flammable liquids in the fire area now, and what is to come and go. Litres."""

    tanks_l: float = 0.0
    fresh_l: float = 0.0
    waste_l: float = 0.0
    deliveries: tuple[tuple[date, float], ...] = ()
    pickups: tuple[tuple[date, float], ...] = ()


@dataclass(frozen=True)
class Looks:
    """Names of parts to look at again: of which nothing could be seen, and which are watched."""

    not_seen: tuple[str, ...] = ()
    watched: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stock:
    """What the room has for its swaps.

    Attributes:
        drums: room under the fill limits, by stream.
        month_kg: waste that counts so far, by month.
        month_limit_kg: what may come together in a month; None where the site has no limit.
        people: how many of those who do swaps are here; None where nobody was entered.
        names: what they are called.
        swappers: who may do swaps, each with the last day of it; None where nobody is asked for it.
        holds: why a tank may not be refilled, by tank.
        looks: the parts of a tank that wait for a look, by tank.
    """

    solvents: Mapping[str, Solvent] = field(default_factory=dict)
    drums: Mapping[str, tuple[Parcel, ...]] = field(default_factory=dict)
    month_kg: Mapping[tuple[int, int], float] = field(default_factory=dict)
    month_limit_kg: float | None = None
    fire: Fire = Fire()
    people: int | None = None
    names: tuple[str, ...] = ()
    swappers: Mapping[str, date] | None = None
    parts: tuple[Part, ...] | None = None
    holds: Mapping[str, str] = field(default_factory=dict)
    looks: Mapping[str, Looks] = field(default_factory=dict)
