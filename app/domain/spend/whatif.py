"""What a year would cost under other rules, on the room's own load."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from app.domain.solvents import SOLVENTS
from app.domain.spend.replay import BathCase, Day, Flows, replay

YEAR_DAYS = 365.25
STILL_MINUTES_PER_L = 1.5  # common practice, no source: filling and emptying, not the boiling
Z90 = 1.645


@dataclass(frozen=True)
class BathNow:
    """A bath as it is kept now, and the load it had.

    Attributes:
        second: key of the clean bath behind it, whose own load then follows from this one's.
        days: one for each day looked at, days without washes included.
    """

    tank: str
    solvent: str
    volume_l: float
    solvent_density_g_ml: float
    resin_density_g_ml: float
    limit_percent: float
    days: Sequence[Day]
    second: str = ""


@dataclass(frozen=True)
class PricesNow:
    """What the room pays. Amounts in cents; a price that is not known is 0 and named in `unknown`.

    Attributes:
        solvent_cents_per_l: by solvent.
        container_l: size it is bought in; 0 where any quantity can be bought.
        drum_l: what a waste drum takes.
        relative_sd: how unsure the load is, as a share of it, at one standard deviation.
    """

    solvent_cents_per_l: Mapping[str, float]
    container_l: float = 0.0
    disposal_cents_per_drum: float = 0.0
    disposal_cents_per_kg: float = 0.0
    drum_l: float = 180.0
    labour_cents_per_hour: float = 0.0
    swap_minutes: float = 90.0
    relative_sd: float = 0.2
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True)
class Room:
    """The room as it is kept now."""

    baths: Sequence[BathNow]
    prices: PricesNow
    days: int


@dataclass(frozen=True)
class Outcome:
    """A year under a case.

    Attributes:
        low_cents, high_cents: 90 % range of the yearly cost, from how unsure the load is.
        parts: cents of solvent, disposal, labour and recovery; they add up to `cents`.
        residue_g: resin that leaves on the parts of the last bath.
        assumes: what it takes for given, in sentences.
    """

    cents: int
    low_cents: int
    high_cents: int
    parts: Mapping[str, int]
    swaps: int
    fresh_l: float
    waste_kg: float
    residue_g: float
    labour_h: float
    containers: int
    assumes: tuple[str, ...] = field(default=())


def outcome(room: Room, changes: Mapping[str, Any]) -> Outcome:
    """A year of the room's own load under the changes of a case (kinds/spending.py)."""
    middle = _priced(_flows(room, changes, 1.0), room, changes)
    spread = Z90 * room.prices.relative_sd
    ends = [
        _priced(_flows(room, changes, max(0.05, 1 + side * spread)), room, changes)
        for side in (-1, 1)
    ]
    costs = sorted([middle.cents, *(end.cents for end in ends)])
    return replace(
        middle, low_cents=costs[0], high_cents=costs[-1], assumes=_assumes(room, changes)
    )


def _flows(room: Room, changes: Mapping[str, Any], load: float) -> dict[str, Flows]:
    """A year's flows by solvent."""
    factor = YEAR_DAYS / max(room.days, 1)
    found: dict[str, Flows] = {}
    seconds = {bath.second for bath in room.baths if bath.second}
    for bath in room.baths:
        if bath.tank in seconds:
            continue
        solvent = str(changes.get("solvent", bath.solvent))
        days = _days(bath, solvent, changes, load)
        start_g = _middle_g(case := _case(bath, solvent, changes))
        flows = replay(case, days, start_g).times(factor)
        found[solvent] = found.get(solvent, Flows()).plus(flows)
    return found


def _case(bath: BathNow, solvent: str, changes: Mapping[str, Any]) -> BathCase:
    baths = changes.get("baths", "as_now")
    density = bath.solvent_density_g_ml
    if solvent != bath.solvent:
        chosen = SOLVENTS[solvent]
        density = chosen.density_g_ml(20.0, chosen.usual_purity_percent)
    return BathCase(
        volume_l=bath.volume_l * float(changes.get("size_percent", 100)) / 100,
        solvent_density_g_ml=density,
        resin_density_g_ml=bath.resin_density_g_ml,
        limit_percent=float(changes.get("limit_percent", bath.limit_percent)),
        is_paired=bool(bath.second) if baths == "as_now" else baths == "paired",
        renew_share=float(changes.get("renew_percent", 100)) / 100,
    )


def _middle_g(case: BathCase) -> float:
    """Half way to the limit: where a bath is on average when a year begins."""
    share = case.limit_percent / 200
    density = 1 / (share / case.resin_density_g_ml + (1 - share) / case.solvent_density_g_ml)
    return share * 1000 * case.volume_l * density


def _days(bath: BathNow, solvent: str, changes: Mapping[str, Any], load: float) -> list[Day]:
    """The days of a case: evaporation goes with the surface, that is with size^(2/3)."""
    size = float(changes.get("size_percent", 100)) / 100
    evaporation = size ** (2 / 3)
    if solvent != bath.solvent:
        evaporation *= _volatility(solvent) / _volatility(bath.solvent)
    return [
        Day(load * day.resin_in_g, load * day.liquid_out_g, evaporation * day.evaporated_g)
        for day in bath.days
    ]


def _volatility(solvent: str) -> float:
    """As the estimator takes it: a slow solvent loses a twentieth (estimator/settings.py)."""
    known = SOLVENTS.get(solvent)
    return 0.05 if known is not None and known.dries_slowly else 1.0


def _priced(flows: Mapping[str, Flows], room: Room, changes: Mapping[str, Any]) -> Outcome:
    prices = room.prices
    whole = Flows()
    for one in flows.values():
        whole = whole.plus(one)
    recovery = float(changes.get("recovery_percent", 0)) / 100
    solvent_waste_kg = whole.waste_kg - whole.waste_resin_kg
    recovered_share = recovery * solvent_waste_kg / whole.waste_kg if whole.waste_kg else 0.0
    recovered_l = recovery * _solvent_l(whole)
    waste_kg = whole.waste_kg * (1 - recovered_share)
    fresh = {key: one.fresh_l for key, one in flows.items()}
    bought = _bought(fresh, recovered_l, room, changes)
    solvent_cents, containers = bought
    disposal = _disposal(waste_kg, whole.waste_l * (1 - recovered_share), prices, changes)
    hours = whole.renewals * prices.swap_minutes / 60
    hours += recovered_l * STILL_MINUTES_PER_L / 60
    parts = {
        "solvent": round(solvent_cents),
        "disposal": round(disposal),
        "labour": round(hours * prices.labour_cents_per_hour),
        "recovery": round(100 * recovered_l * float(changes.get("recovery_per_l", 0))),
    }
    cents = sum(parts.values())
    return Outcome(
        cents, cents, cents, parts, whole.renewals, sum(fresh.values()), waste_kg,
        whole.residue_g, hours, containers,
    )  # fmt: skip


def _solvent_l(whole: Flows) -> float:
    """Litres of solvent in the waste."""
    if not whole.waste_kg:
        return 0.0
    return whole.waste_l * (1 - whole.waste_resin_kg / whole.waste_kg)


def _bought(
    fresh: Mapping[str, float], recovered_l: float, room: Room, changes: Mapping[str, Any]
) -> tuple[float, int]:
    """Cents of solvent, and whole containers, after what the still gives back."""
    whole_l, prices = sum(fresh.values()), room.prices
    container_l = float(changes.get("container_l", prices.container_l))
    cents, containers = 0.0, 0
    for solvent, litres in fresh.items():
        wanted_l = max(0.0, litres - recovered_l * (litres / whole_l if whole_l else 0.0))
        number = math.ceil(wanted_l / container_l - 1e-9) if container_l else 0
        containers += number
        if "container_price" in changes and container_l:
            cents += number * 100 * float(changes["container_price"])
        else:
            bought_l = number * container_l if container_l else wanted_l
            cents += bought_l * prices.solvent_cents_per_l.get(solvent, 0.0)
    return cents, containers


def _disposal(kg: float, litres: float, prices: PricesNow, changes: Mapping[str, Any]) -> float:
    if "disposal_per_kg" in changes:
        return kg * 100 * float(changes["disposal_per_kg"])
    drums = math.ceil(litres / prices.drum_l - 1e-9) if prices.drum_l else 0
    if "disposal_per_drum" in changes:
        return drums * 100 * float(changes["disposal_per_drum"])
    if prices.disposal_cents_per_kg:
        return kg * prices.disposal_cents_per_kg
    return drums * prices.disposal_cents_per_drum


def _assumes(room: Room, changes: Mapping[str, Any]) -> tuple[str, ...]:
    """What a case takes for given."""
    said = [
        f"The load of {room.days} days, stretched to a year; its carry-in as the estimator has it.",
        "Baths are kept at their mark; what evaporates and drips off is topped up.",
    ]
    if room.days < 180:
        said.append("Less than half a year of history: a busy or quiet season weighs too much.")
    if changes.get("baths") == "paired":
        said.append("Every bath gets a second of its size behind it; only that one is filled.")
    if "solvent" in changes:
        said.append("Parts carry in as much resin, and drip as much, as in the present solvent.")
    if "limit_percent" in changes:
        said.append("Parts come out as clean; whether they do shows in the rejects page.")
    if "recovery_percent" in changes:
        said.append(
            "What the still gives back is as good as bought. Distilling a flammable solvent needs"
            " equipment made for it, and the authority's and insurer's consent."
        )
    if "renew_percent" in changes:
        said.append("Part of the bath is drained at the limit and filled up; its age goes on.")
    said += [f"No {name} is known here: it counts as nothing." for name in room.prices.unknown]
    return tuple(said)
