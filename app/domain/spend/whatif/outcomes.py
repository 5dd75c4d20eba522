"""What a year under a case costs: solvent in whole containers, disposal, labour, recovery.

And in sentences what a case takes for given, and where it can hurt somebody.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.money import minor_in_unit
from app.domain.solvents import SOLVENTS
from app.domain.spend.whatif.cases import (
    PHYSICAL,
    PricesNow,
    Room,
    Spread,
    Yearly,
    seconds_of,
    spread,
    yearly,
)

STILL_MINUTES_PER_L = 1.5  # common practice, no source: filling and emptying, not the boiling
HARD_TO_DISTIL_C = 150.0  # common practice, no source: beyond it a still needs a vacuum
FEW_SWAPS = 3
USUAL_MOST_PERCENT = 15.0
MOVED = (
    "At a swap the clean bath moves up, and only its tank is filled fresh. Both are swapped when "
    "either is due."
)
SWAPPED_ALONE = "Both are filled fresh at their own swaps, as this room does."

Array = NDArray[np.float64]
PARTS = ("solvent", "disposal", "labour", "recovery", "goods", "rest")
DOUBTED = {"fresh_l": "bath_l", "solvent": "solvent_cents"}  # figures of the past by other names
TINY = 1e-9


def distils(solvent: str) -> bool:
    """An ordinary still gives it back: one that is not known here, or boils below the limit."""
    known = SOLVENTS.get(solvent)
    return known is None or (known.boiling_point_c or 0.0) <= HARD_TO_DISTIL_C


def name_of(solvent: str) -> str:
    """A solvent as people call it."""
    return SOLVENTS[solvent].name if solvent in SOLVENTS else solvent


def assumptions(room: Room, changes: Mapping[str, Any], most_used: str = "") -> tuple[str, ...]:
    """What a case takes for given; `most_used` is the solvent that most litres are bought of."""
    weeks = max(1, round(room.days / 7))
    said = [
        f"The washes of the last {weeks} weeks repeat for a year. What they carry in, drag out "
        "and evaporate follows today's estimate.",
        "Swaps fall on working days, no more per day than the crew can do, as under “Swaps ahead”.",
        _habit(room),
    ]
    if weeks < 26:
        said.append(
            "There is less than half a year of history, so a busy or quiet season counts too much."
        )
    if changes.get("baths") == "paired":
        said.append(
            "Every single bath gets a second one of the same size behind it. At each swap the "
            "second moves up, and only it is filled fresh. Existing pairs stay as they are."
        )
    if changes.get("baths") != "single":
        said += _pairs(room, changes)
    if "solvent" in changes:
        said.append("Parts carry in and drip as much as with the current solvent.")
    if "recovery_percent" in changes:
        said.append(
            "Recovered solvent is as good as new; what stays in the still is waste. Filling and "
            f"emptying it takes {STILL_MINUTES_PER_L:g} min per litre (common practice). Its "
            "price, power and upkeep only count if you enter them per litre. A solvent that "
            "needs a vacuum still is not recovered."
        )
    if {"container_l", "container_price"} & set(changes) and most_used:
        said.append(
            f"The container is for {name_of(most_used)}, the most used solvent. Other solvents "
            "are bought as now."
        )
    if "disposal_per_drum" in changes:
        said.append(f"A drum takes {room.prices.drum_l:.0f} L, as the drums of this room do.")
    if changes.get("baths") == "paired" or float(changes.get("size_percent", 100)) != 100:
        said.append("The cost does not include buying tanks.")
    if "renew_percent" in changes:
        said.append(
            "At the limit, part of the bath is drained and topped up. Each time takes as long as "
            "a swap. A bath's life in days or washes does not end it."
        )
    said += [f"No {name} is known here, so it counts as zero." for name in room.prices.unknown]
    said += _rest(room, weeks)
    return tuple(said)


def _pairs(room: Room, changes: Mapping[str, Any]) -> list[str]:
    """How the pairs that the room has are kept."""
    seconds = seconds_of(room.baths)
    if not seconds:
        return []
    moved = {bath.moves_up for bath in room.baths if bath.tank in seconds}
    kept = "At a swap the clean bath moves up if this room does so."
    if len(moved) == 1:
        kept = MOVED if True in moved else SWAPPED_ALONE
    said = [
        "In pairs, parts carry a film of the dirty bath into the clean one, and leave with a film"
        f" of the clean one. {kept}"
    ]
    rows = [n for n, bath in enumerate(room.baths) if bath.tank in seconds.values()]
    if (room.past.carry[rows] > 1).any():
        said.append(
            "More resin came into the clean baths here than that film can hold. What parts bring "
            "in grows with the resin in the dirty bath, at the rate of these weeks."
        )
    if "limit_percent" in changes:
        said.append(
            "Clean baths of pairs keep their own limit."
            if True in moved
            else "Clean baths of pairs keep their own limit. A new limit for the dirty ones "
            "changes "
            "how often the clean ones are swapped, but hardly changes what leaves the pairs."
        )
    return said


def _rest(room: Room, weeks: int) -> list[str]:
    """What of the books no case replays."""
    per_unit, unit = minor_in_unit(room.prices.currency), room.prices.currency
    found = [
        f"{word} {cents / per_unit:,.0f}" for word, cents in sorted(room.prices.rest_cents.items())
    ]
    if not found:
        return []
    return [
        f"Everything else in the books of the last {weeks} weeks repeats, the same in every case; "
        f"in a year {', '.join(found)} {unit}".rstrip()
        + "."
    ]


def _habit(room: Room) -> str:
    if room.swaps_seen < FEW_SWAPS:
        return (
            "Swaps fall on the last working day before the limit may be passed (1 chance in 10), "
            "because this room has too few swaps to show when it swaps."
        )
    return f"Swaps come as close to the limit as this room's last {room.swaps_seen} did."


def cautions(room: Room, changes: Mapping[str, Any]) -> tuple[str, ...]:
    """Where a case can hurt a part or a person."""
    said = []
    lowest = min((b.limit_percent for b in room.baths if not _is_second(room, b.tank)), default=0.0)
    if float(changes.get("limit_percent", 0)) > lowest:
        said.append(
            "A higher limit leaves more resin on every part: tacky surfaces, rejects, more "
            "uncured resin to touch. Try it on one bath and watch the rejects before you change "
            "the room."
        )
    if float(changes.get("limit_percent", 0)) > USUAL_MOST_PERCENT:
        said.append(
            "Baths are usually swapped at 8 to 15 % (common practice). Beyond that, nobody here "
            "can say that parts still come out clean."
        )
    if 0 < float(changes.get("renew_percent", 0)) < 100:
        said.append("A bath that is never emptied is never clean. Parts leave with more resin.")
    solvents = {str(changes.get("solvent", bath.solvent)) for bath in room.baths}
    is_flammable = any(key not in SOLVENTS or SOLVENTS[key].is_flammable for key in solvents)
    if "recovery_percent" in changes:
        said += _of_the_still(solvents, is_flammable)
    if changes.get("solvent", "") not in ("", *(bath.solvent for bath in room.baths)):
        said.append(
            "Before you change solvent, read its safety data sheet, soak-test prints, seals, "
            "hoses and tanks in it, and test that parts come out clean and cure. Never mix the "
            "waste of two solvents. Gloves, ventilation and storage may have to change."
        )
    larger = changes.get("baths") == "paired" or float(changes.get("size_percent", 100)) > 100
    if is_flammable and (larger or float(changes.get("container_l", 0)) > room.prices.container_l):
        now = "" if room.fire_l is None else f" {room.fire_l:.0f} L are in the fire area now"
        if now and room.fire_limit_l is not None:
            now += f", and the site allows {room.fire_limit_l:.0f} L"
        said.append(
            f"This puts more flammable liquid in the room at once.{now + '.' if now else ''} "
            "Check it against your limits for open baths and storage, your local fire code and "
            "your insurer's terms."
        )
    return tuple(said)


def _of_the_still(solvents: set[str], is_flammable: bool) -> list[str]:
    said = [
        "Resin left in a still can set and give off heat when boiled dry. Still bottoms are "
        "hazardous waste. Distilling waste may itself need a permit."
    ]
    if is_flammable:
        said.insert(
            0,
            "Distilling a flammable solvent is a fire, explosion and pressure hazard. Do it only "
            "in equipment made and approved for it, ventilated, away from ignition sources, and "
            "never unattended unless its maker says so. Ask the fire authority and the insurer "
            "first. Local codes and licensed practice come before any saving shown here.",
        )
    for key in sorted(solvents):
        known = SOLVENTS.get(key)
        if known is not None and (known.boiling_point_c or 0.0) > HARD_TO_DISTIL_C:
            said.append(
                f"{known.name} boils at {known.boiling_point_c:.0f} °C. It takes a vacuum still "
                "to recover it, if it can be recovered at all."
            )
    return said


def _is_second(room: Room, tank: str) -> bool:
    return any(bath.second == tank for bath in room.baths)


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
