"""What a year under a case costs: solvent in whole containers, disposal, labour, recovery."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.spend.saying import STILL_MINUTES_PER_L, assumptions, cautions, distils
from app.domain.spend.whatif import PHYSICAL, PricesNow, Room, Spread, Yearly, spread, yearly

Array = NDArray[np.float64]

PARTS = ("solvent", "disposal", "labour", "recovery", "goods", "rest")
DOUBTED = {"fresh_l": "bath_l", "solvent": "solvent_cents"}  # figures of the past by other names
TINY = 1e-9


@dataclass(frozen=True)
class Outcome:
    """A year under a case.

    Attributes:
        figures: by path; amounts in cents, `parts` of the cost by their own names.
        doubts: by which share a figure's range is widened, so that it holds the room's own past.
        assumes: what it takes for given; `cautions`: what can go wrong; both in sentences.
    """

    figures: Mapping[str, Array]
    washes: float
    assumes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    doubts: Mapping[str, float] = field(default_factory=dict)

    @property
    def parts(self) -> dict[str, int]:
        """Cents of each part; they add up to `cents`."""
        return {name: round(float(self.figures[name].mean())) for name in PARTS}

    @property
    def cents(self) -> int:
        """Cents of a year, the mean of the paths."""
        return sum(self.parts.values())

    def of(self, name: str) -> Spread:
        """A figure and its range."""
        return spread(self.figures[name]).widened(self._doubt(name))

    def against(self, other: "Outcome", name: str) -> Spread:
        """What a figure differs by, path by path: the same load, carry-in and habits in both."""
        apart = spread(self.figures[name] - other.figures[name])
        return apart.widened(self._doubt(name), is_signed=True)

    def _doubt(self, name: str) -> float:
        return self.doubts.get(DOUBTED.get(name, name), 0.0)


def outcomes(
    room: Room, cases: Mapping[str, Mapping[str, Any]], now: Yearly | None = None
) -> dict[str, Outcome]:
    """Each case's year by its name; what differs only in prices is replayed once.

    Args:
        now: the year as the room is kept, where it is known already.
    """
    replayed: dict[tuple[tuple[str, Any], ...], Yearly] = {} if now is None else {(): now}
    found = {}
    for name, changes in cases.items():
        physical = tuple((key, changes[key]) for key in PHYSICAL if key in changes)
        if physical not in replayed:
            replayed[physical] = yearly(room, dict(physical))
        found[name] = priced(replayed[physical], room, changes)
    return found


def outcome(room: Room, changes: Mapping[str, Any]) -> Outcome:
    """A year of the room's own load under the changes of a case (kinds/spending.py)."""
    return outcomes(room, {"": changes})[""]


def priced(year: Yearly, room: Room, changes: Mapping[str, Any]) -> Outcome:
    """What a year's flows cost with the prices of a case."""
    prices = room.prices
    share = float(changes.get("recovery_percent", 0)) / 100
    recovered_kg = {
        solvent: share * kg if distils(solvent) else 0 * kg
        for solvent, kg in year.waste_solvent_kg.items()
    }
    recovered_l = {key: kg / year.density_g_ml[key] for key, kg in recovered_kg.items()}
    all_recovered_l = _sum(recovered_l)
    waste_kg = year.waste_kg - _sum(recovered_kg)
    solvent_cents, containers = _bought(year, recovered_l, prices, changes)
    hours = year.swaps * prices.swap_minutes / 60 + all_recovered_l * STILL_MINUTES_PER_L / 60
    litres = np.maximum(year.waste_l - all_recovered_l, 0.0)
    parts = {
        "solvent": solvent_cents,
        "disposal": _disposal(waste_kg, litres, prices, changes),
        "labour": hours * prices.labour_cents_per_hour,
        "recovery": all_recovered_l * prices.minor(changes.get("recovery_per_l", 0)),
        "goods": year.swaps * prices.goods_cents_per_swap,
        "rest": np.full_like(year.swaps, sum(prices.rest_cents.values())),
    }
    figures = {
        "cents": sum(parts.values(), np.zeros_like(year.swaps)), **parts, "swaps": year.swaps,
        "fresh_l": _sum(year.fresh_l), "waste_kg": waste_kg, "residue_g": year.residue_g,
        "labour_h": hours, "containers": containers, "past_washes": year.past_washes,
    }  # fmt: skip
    said = assumptions(room, changes, most_used(year)), cautions(room, changes)
    return Outcome(figures, year.washes, *said, room.doubts)


def most_used(year: Yearly) -> str:
    """The solvent that the room uses most litres of."""
    return max(year.fresh_l, key=lambda key: float(year.fresh_l[key].mean()), default="")


def _sum(by_solvent: Mapping[str, Array]) -> Array:
    return np.asarray(sum(by_solvent.values()), dtype=float)


def _bought(
    year: Yearly, recovered_l: Mapping[str, Array], prices: PricesNow, changes: Mapping[str, Any]
) -> tuple[Array, Array]:
    """Cents of solvent, and whole containers, after what the still gives back.

    A case's container is of the solvent that the room uses most of; the others are bought as now.
    """
    most = most_used(year)
    cents, containers = np.zeros_like(year.swaps), np.zeros_like(year.swaps)
    for solvent, litres in year.fresh_l.items():
        own = changes if solvent == most else {}
        container_l = float(own.get("container_l", prices.container_l))
        wanted_l = np.maximum(0.0, litres - recovered_l.get(solvent, 0.0))
        number = np.ceil(wanted_l / container_l - TINY) if container_l else 0 * wanted_l
        containers = containers + number
        if "container_price" in own and container_l:
            cents = cents + number * prices.minor(own["container_price"])
        else:
            bought_l = number * container_l if container_l else wanted_l
            cents = cents + bought_l * prices.solvent_cents_per_l.get(solvent, 0.0)
    return cents, containers


def _disposal(kg: Array, litres: Array, prices: PricesNow, changes: Mapping[str, Any]) -> Array:
    """By the kilogram, or by whole drums; what a case gives goes before what the room pays."""
    if "disposal_per_kg" in changes:
        return kg * prices.minor(changes["disposal_per_kg"])
    drums = np.ceil(litres / prices.drum_l - TINY) if prices.drum_l else 0 * litres
    if "disposal_per_drum" in changes:
        return np.asarray(drums * prices.minor(changes["disposal_per_drum"]))
    if prices.disposal_cents_per_kg:
        return kg * prices.disposal_cents_per_kg
    return np.asarray(drums * prices.disposal_cents_per_drum)
