"""What a year would cost under other rules, on the room's own load.

The load, its doubt and the baths' present state come from the room filter (loads.py), the days of
swaps from the plan (replay.py). All cases of a room run over the same paths, so that what they
differ by is surer than what each amounts to.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.money import minor_in_unit
from app.domain.solvents import SOLVENTS
from app.domain.spend.whatif.loads import Load, even_normals
from app.domain.spend.whatif.replay import Crew, Flows, Vessels, replay, rows_of, start_at

Array = NDArray[np.float64]

YEAR_DAYS = 365
WARM_DAYS = 56  # a new second bath is looked at once it has filled up some way
GOLDEN = 0.6180339887498949  # spreads the baths' fills over their lives
PHYSICAL = ("limit_percent", "baths", "size_percent", "solvent", "renew_percent")
LOW, HIGH = 0.10, 0.90
NEW = "+"  # no key of a tank has a space in it


@dataclass(frozen=True)
class BathNow:
    """A bath as it is kept now.

    Attributes:
        volume_l: to the upper mark. below_l: topped up below it. removed_l: taken out a day.
        early_share: share of its limit from which on it is swapped; `early_sd` how sure that is.
        second: key of the clean bath behind it; `moves_up`: the room moves its liquid here at a
            swap, and fills only the clean tank afresh.
    """

    tank: str
    solvent: str
    volume_l: float
    solvent_density_g_ml: float
    resin_density_g_ml: float
    limit_percent: float
    below_l: float
    removed_l: float = 0.0
    life_days: float | None = None
    life_washes: int | None = None
    early_share: float = 1.0
    early_sd: float = 0.0
    second: str = ""
    moves_up: bool = True


@dataclass(frozen=True)
class PricesNow:
    """What the room pays. Amounts are in the smallest unit of the currency; a price that is not
    known is 0 and named in `unknown`.

    Attributes:
        solvent_cents_per_l: by solvent.
        container_l: size it is bought in; 0 where any quantity can be bought.
        drum_l: what a waste drum takes.
        rinse_percent: of a bath's volume, to rinse the empty tank. squirt_l: beside it.
        swap_minutes: what a swap takes, as its labour was charged.
        goods_cents_per_swap: gloves, wipes and the like that a swap uses up.
        rest_cents: what a year's books hold beside all that is replayed, by its word.
    """

    solvent_cents_per_l: Mapping[str, float]
    container_l: float = 0.0
    disposal_cents_per_drum: float = 0.0
    disposal_cents_per_kg: float = 0.0
    drum_l: float = 180.0
    labour_cents_per_hour: float = 0.0
    swap_minutes: float = 90.0
    rinse_percent: float = 0.0
    squirt_l: float = 0.0
    goods_cents_per_swap: float = 0.0
    rest_cents: Mapping[str, float] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()
    currency: str = ""

    def minor(self, price: float) -> float:
        """A price of a case, entered in whole units of the currency."""
        return float(price) * minor_in_unit(self.currency)


@dataclass(frozen=True)
class Room:
    """The room as it is kept now.

    Attributes:
        past: the load of the days looked at, the last one yesterday.
        level: how much more or less the year to come may bring, by path.
        swaps_seen: swaps that tell at which saturation the room swaps.
        doubts: by which share of a figure its range is widened, so that it holds the room's own
            past (backtest.py).
        fire_l, fire_limit_l: flammable litres in the fire area now, and what the site allows.
    """

    baths: Sequence[BathNow]
    prices: PricesNow
    past: Load
    level: Array
    crew: Crew
    today: date
    heel: float = 0.02
    slow_solvent_share: float = 0.05
    swaps_seen: int = 0
    doubts: Mapping[str, float] = field(default_factory=dict)
    fire_l: float | None = None
    fire_limit_l: float | None = None

    @property
    def days(self) -> int:
        """Days of history that the load is taken from."""
        return min(self.past.days, max(self.past.lived_days, default=0))


@dataclass(frozen=True)
class Spread:
    """A figure: its mean, and the range that holds it with a chance of 80 % (P10 to P90)."""

    middle: float
    low: float
    high: float

    def widened(
        self, share: float, size: float | None = None, *, is_signed: bool = False
    ) -> "Spread":
        """The range wider by a share of the figure (of `size`, where given) to either side; not
        below nothing unless it is a difference."""
        more = share * abs(self.middle if size is None else size)
        low = self.low - more
        return Spread(self.middle, low if is_signed else max(low, min(0.0, self.low)),
                      self.high + more)  # fmt: skip


def spread(values: Array) -> Spread:
    """The mean of some paths and their range."""
    middle = float(values.mean())
    low, high = (float(np.quantile(values, q)) for q in (LOW, HIGH))
    return Spread(middle, min(low, middle), max(high, middle))


@dataclass(frozen=True)
class Yearly:
    """What goes through a room in a year, by path; by solvent where it is bought.

    Attributes:
        waste_solvent_kg: of what is drained, by solvent.
    """

    swaps: Array
    fresh_l: Mapping[str, Array]
    bath_l: Array
    waste_l: Array
    waste_kg: Array
    waste_solvent_kg: Mapping[str, Array]
    density_g_ml: Mapping[str, float]
    residue_g: Array
    past_washes: Array
    washes: float
    drained_share: Array


@dataclass(frozen=True)
class Vessel:
    """A bath under a case: which row of the load it takes, and with what.

    Attributes:
        key: of its tank; of a clean bath that the case adds, one that no tank has.
        behind: key of the clean bath behind it; empty where parts leave it. `moves_up`: that one's
            liquid takes its place at a swap.
        is_new: the case adds it. It has no limit of its own: it is renewed with the one before it.
    """

    row: int
    bath: BathNow
    solvent: str
    density_g_ml: float
    limit_percent: float
    key: str
    behind: str = ""
    moves_up: bool = True
    is_new: bool = False
    size: float = 1.0


def yearly(room: Room, changes: Mapping[str, Any]) -> Yearly:
    """A year of the room's load under the physical changes of a case (kinds/spending.py)."""
    vessels = vessels_of(room, changes)
    load = room.past.ahead(YEAR_DAYS, room.level).of_rows([vessel.row for vessel in vessels])
    paths = load.paths
    arrays = arrays_of(room, vessels, load, changes)
    phase = GOLDEN * (np.arange(len(vessels))[:, None] + 1) + (np.arange(paths) * 7 % paths) / paths
    upto = np.minimum(arrays.early_percent, arrays.limit_percent)
    upto = np.where(arrays.into @ arrays.moves > 0, 0.0, upto)  # filled afresh with each swap
    start = start_at(arrays, phase % 1 * upto)
    warm = WARM_DAYS if arrays.passes.any() else 0
    flows = replay(arrays, load, start, room.today, crew_of(room, vessels), warm)
    return summed(room, vessels, flows, float(load.washes[arrays.firsts[:, 0]].sum()),
                  is_whole=arrays.renew_share >= 1 - arrays.heel)  # fmt: skip


def vessels_of(room: Room, changes: Mapping[str, Any]) -> list[Vessel]:
    """The baths of a case: clean ones are left out where every bath is to stand alone, and added
    behind single ones where all are to stand in pairs."""
    baths = changes.get("baths", "as_now")
    seconds = seconds_of(room.baths)
    cleans = set(seconds.values())
    found, added = [], []
    for row, bath in enumerate(room.baths):
        if bath.tank in cleans and baths == "single":
            continue
        solvent, density = bath.solvent, bath.solvent_density_g_ml
        if changes.get("solvent", solvent) != solvent:
            solvent = str(changes["solvent"])
            chosen = SOLVENTS[solvent]
            density = chosen.density_g_ml(20.0, chosen.usual_purity_percent)
        limit = bath.limit_percent if bath.tank in cleans else changes.get("limit_percent")
        behind = seconds.get(bath.tank, "") if baths != "single" else ""
        vessel = Vessel(
            row, bath, solvent, density, float(limit or bath.limit_percent), bath.tank, behind,
            bath.moves_up, size=float(changes.get("size_percent", 100)) / 100,
        )  # fmt: skip
        if baths == "paired" and not behind and bath.tank not in cleans:
            vessel = replace(vessel, behind=f"{bath.tank} {NEW}", moves_up=True)
            added.append(replace(vessel, key=vessel.behind, behind="", is_new=True,
                                 limit_percent=math.inf))  # fmt: skip
        found.append(vessel)
    return found + added


def seconds_of(baths: Sequence[BathNow]) -> dict[str, str]:
    """The clean bath behind each that has one here; a ring of baths is cut where it closes."""
    known = {bath.tank for bath in baths}
    found: dict[str, str] = {}
    for bath in baths:
        behind = bath.second if bath.second in known else ""
        ahead = behind
        while ahead and ahead != bath.tank:
            ahead = found.get(ahead, "")
        if behind and ahead != bath.tank:
            found[bath.tank] = behind
    return found


def arrays_of(
    room: Room, vessels: Sequence[Vessel], load: Load, changes: Mapping[str, Any]
) -> Vessels:
    """The baths of a case side by side. Evaporation goes with the surface, size to the 2/3."""
    renew = float(changes.get("renew_percent", 100)) / 100
    place = {vessel.key: number for number, vessel in enumerate(vessels)}
    behind = np.array(
        [place.get(vessel.behind, n) for n, vessel in enumerate(vessels)], dtype=np.int64
    )
    capacity_l = rows_of([vessel.size * vessel.bath.volume_l for vessel in vessels])
    density = rows_of([vessel.density_g_ml for vessel in vessels])
    habit = np.array([
        vessel.bath.early_share + vessel.bath.early_sd * normal
        for vessel in vessels for normal in _habit_normals(load.paths)
    ]).reshape(len(vessels), load.paths)  # fmt: skip
    limit = rows_of([vessel.limit_percent for vessel in vessels])
    fill_g = rows_of(
        [1000 * b.volume_l * b.solvent_density_g_ml for b in (x.bath for x in vessels)]
    )
    drying = rows_of([vessel.size ** (2 / 3) * _drying(room, vessel) for vessel in vessels])
    lasts = [renew >= 1 and not vessel.is_new for vessel in vessels]  # a life ends it
    return Vessels(
        capacity_l=capacity_l,
        below_l=rows_of([vessel.size * vessel.bath.below_l for vessel in vessels]),
        removed_l=rows_of([vessel.bath.removed_l for vessel in vessels]),
        solvent_g_ml=density,
        resin_g_ml=rows_of([vessel.bath.resin_density_g_ml for vessel in vessels]),
        evaporated_g=load.evaporation_per_day * fill_g * drying,
        early_percent=np.maximum(habit, 0.05) * limit,
        limit_percent=limit,
        life_days=_lives(lasts, [vessel.bath.life_days for vessel in vessels]),
        life_washes=_lives(lasts, [vessel.bath.life_washes for vessel in vessels]),
        rinse_l=room.prices.rinse_percent / 100 * capacity_l,
        behind=behind,
        carry=load.carry[behind],
        moves=np.array([[vessel.moves_up and bool(vessel.behind)] for vessel in vessels]),
        since_day=np.zeros((len(vessels), 1), dtype=np.int64),
        renew_share=renew,
        heel=room.heel,
    )


def _habit_normals(paths: int) -> Array:
    """How early the room swaps, by path: evenly spread, in an order that no other figure has."""
    order = np.argsort(np.arange(paths) * GOLDEN % 1)
    z = even_normals(paths, None)
    return z[order]


def _drying(room: Room, vessel: Vessel) -> float:
    """Evaporation against the present solvent's, as the filter takes a slow solvent to dry."""
    shares = [
        room.slow_solvent_share if key in SOLVENTS and SOLVENTS[key].dries_slowly else 1.0
        for key in (vessel.solvent, vessel.bath.solvent)
    ]
    return shares[0] / shares[1]


def _lives(lasts: Sequence[bool], given: Sequence[float | None]) -> NDArray[np.floating[Any]]:
    return rows_of(
        [
            life or np.inf if is_ended else np.inf
            for is_ended, life in zip(lasts, given, strict=True)
        ]
    )


def crew_of(room: Room, vessels: Sequence[Vessel]) -> Crew:
    """The room's crew, with the pairs among these baths whose two are swapped by themselves."""
    place = {vessel.key: number for number, vessel in enumerate(vessels)}
    pairs = [(n, place[x.behind]) for n, x in enumerate(vessels) if x.behind and not x.moves_up]
    return replace(room.crew, pairs=tuple(pairs))


def summed(
    room: Room, vessels: Sequence[Vessel], flows: Flows, washes: float, *, is_whole: bool = True
) -> Yearly:
    """The flows of all baths together, by path; `is_whole`: renewals empty the tank."""
    fresh_l: dict[str, Array] = {}
    solvent_kg: dict[str, Array] = {}
    taken_l = flows.fresh_l + flows.rinse_l
    taken_l = taken_l + room.prices.squirt_l * flows.renewals * is_whole
    waste_kg = flows.waste_kg - flows.waste_resin_kg
    for number, vessel in enumerate(vessels):
        fresh_l[vessel.solvent] = fresh_l.get(vessel.solvent, 0.0) + taken_l[number]
        solvent_kg[vessel.solvent] = solvent_kg.get(vessel.solvent, 0.0) + waste_kg[number]
    return Yearly(
        swaps=flows.renewals.sum(axis=0), fresh_l=fresh_l, bath_l=flows.fresh_l.sum(axis=0),
        waste_l=flows.waste_l.sum(axis=0), waste_kg=flows.waste_kg.sum(axis=0),
        waste_solvent_kg=solvent_kg,
        density_g_ml={vessel.solvent: vessel.density_g_ml for vessel in vessels},
        residue_g=flows.residue_g.sum(axis=0), past_washes=flows.past_washes.sum(axis=0),
        washes=washes, drained_share=flows.drained_share.sum(axis=0),
    )  # fmt: skip
