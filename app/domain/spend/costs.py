"""Costs that the shelf does not show: disposal, labour, fills without a shelf, other costs."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from app.domain.roomlog.kinds import Entry, Swap, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.domain.spend.allot import allotted
from app.domain.spend.lines import DISPOSAL, LABOUR, OTHER, SOLVENT, CostLine
from app.domain.spend.prices import PricesState
from app.domain.waste.measures import poured_kg

LONGEST_PAUSE = timedelta(minutes=20)  # common practice, no source: a longer gap is no work
NEAR = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Fill:
    """Fresh solvent that went into a bath by the bath's own log."""

    entry: str
    at: datetime
    tank: str
    solvent: str
    volume_l: float
    swap: str = ""
    is_swap: bool = False


def fills(entries: Iterable[Entry]) -> tuple[list[Fill], dict[str, str]]:
    """All fills in the order of truth, and the solvent of each tank at the end."""
    found: list[Fill] = []
    solvents: dict[str, str] = {}
    capacity_l: dict[str, float] = {}
    for entry in entries:
        if isinstance(entry, Tank):
            solvents[entry.tank], capacity_l[entry.tank] = entry.solvent, entry.capacity_l
        elif isinstance(entry, TankChange) and entry.capacity_l is not None:
            capacity_l[entry.tank] = entry.capacity_l
        elif isinstance(entry, TopUp):
            solvent = solvents.get(entry.tank, "")
            found.append(Fill(entry.id, entry.at, entry.tank, solvent, entry.volume_l))
        elif isinstance(entry, Swap):
            solvents[entry.tank] = entry.solvent or solvents.get(entry.tank, "")
            if entry.from_tank is None:
                volume_l = entry.filled_l
                if volume_l is None:
                    volume_l = capacity_l.get(entry.tank, 0.0)
                found.append(
                    Fill(entry.id, entry.at, entry.tank, solvents[entry.tank], volume_l,
                         entry.swap or "", is_swap=True)
                )  # fmt: skip
    return found, solvents


def fill_lines(found: Sequence[Fill], on_shelf: set[str], prices: PricesState) -> list[CostLine]:
    """Costs of fills with a solvent that the shelf keeps no item of, at the room's rate."""
    lines = []
    for fill in found:
        rate = prices.at(fill.at).solvent_cents_per_l
        if fill.solvent in on_shelf or rate is None:
            continue
        what = "Swap" if fill.is_swap else "Top-up"
        lines.append(
            CostLine(fill.entry, fill.at, SOLVENT, round(rate * fill.volume_l), what,
                     "the room's rate", fill.tank, "", fill.solvent, fill.volume_l, "L")
        )  # fmt: skip
    return lines


def uncovered(found: Sequence[Fill], used: Iterable[StockUsed], on_shelf: set[str]) -> list[Fill]:
    """Fills of a solvent that the shelf keeps, but that nothing taken from it goes with.

    What goes with a fill names the same swap, or the same tank within a day.
    """
    swaps: set[str] = set()
    times: dict[str, list[datetime]] = {}
    for use in used:
        if use.swap:
            swaps.add(use.swap)
        if use.tank:
            times.setdefault(use.tank, []).append(use.at)
    return [
        fill
        for fill in found
        if fill.solvent in on_shelf
        and not (fill.swap and fill.swap in swaps)
        and not any(abs(at - fill.at) <= NEAR for at in times.get(fill.tank, ()))
    ]


def disposal_lines(
    entries: Iterable[Entry], prices: PricesState, solvents: Mapping[str, str]
) -> list[CostLine]:
    """What shipped drums cost, charged in the week they left to the tanks that filled them.

    By the mass poured from each tank; what came from no tank stays with the room.
    """
    streams: dict[str, str] = {}
    poured: dict[str, dict[str, float]] = {}
    lines: list[CostLine] = []
    for entry in entries:
        if isinstance(entry, Drum):
            streams[entry.drum] = entry.stream
            poured[entry.drum] = {"": entry.waste_kg} if entry.waste_kg else {}
        elif isinstance(entry, Pour):
            kg = poured_kg(entry, entry.stream or streams.get(entry.drum, "unknown"))
            by_tank = poured.setdefault(entry.drum, {})
            by_tank[entry.tank or ""] = by_tank.get(entry.tank or "", 0.0) + kg
        elif isinstance(entry, DrumTransfer):
            _transfer(poured, entry)
        elif isinstance(entry, PickupShipped):
            lines += _shipped(entry, poured, prices, solvents)
    return lines


def _transfer(poured: dict[str, dict[str, float]], entry: DrumTransfer) -> None:
    source = poured.setdefault(entry.from_drum, {})
    whole = sum(source.values())
    share = min(1.0, entry.waste_kg / whole) if whole else 0.0
    into = poured.setdefault(entry.drum, {})
    for tank, kg in source.items():
        into[tank] = into.get(tank, 0.0) + share * kg
        source[tank] = kg * (1 - share)


def _shipped(
    entry: PickupShipped, poured: dict[str, dict[str, float]], prices: PricesState,
    solvents: Mapping[str, str],
) -> list[CostLine]:  # fmt: skip
    weights: dict[str, float] = {}
    for drum in dict.fromkeys(entry.drums):
        for tank, kg in poured.pop(drum, {}).items():
            weights[tank] = weights.get(tank, 0.0) + kg
    whole_kg = sum(weights.values())
    cents, basis = _disposal_price(entry, whole_kg, prices)
    parts = allotted(cents, weights) or {"": cents}
    what = f"Pickup {entry.pickup}, {len(entry.drums)} drum{'' if len(entry.drums) == 1 else 's'}"
    return [
        CostLine(entry.id, entry.at, DISPOSAL, part, what, basis, tank, "",
                 solvents.get(tank, ""), round(weights.get(tank, 0.0), 3), "kg")
        for tank, part in parts.items()
    ]  # fmt: skip


def _disposal_price(entry: PickupShipped, kg: float, prices: PricesState) -> tuple[int, str]:
    if entry.cost_cents is not None:
        return entry.cost_cents, "invoice"
    rates = prices.at(entry.at)
    if rates.disposal_cents_per_kg is not None:
        return round(rates.disposal_cents_per_kg * (entry.shipped_kg or kg)), "rate per kg"
    if rates.disposal_cents_per_drum is not None:
        return rates.disposal_cents_per_drum * len(entry.drums), "rate per drum"
    return 0, "no price known"


def minutes_of(times: Iterable[datetime]) -> float:
    """Minutes of work between the first and the last of these instants; long pauses left out."""
    ordered = sorted(times)
    gaps = (later - earlier for earlier, later in pairwise(ordered))
    return sum(min(gap, LONGEST_PAUSE) / timedelta(minutes=1) for gap in gaps)


def labour_lines(
    entries: Iterable[Entry], prices: PricesState, swap_minutes: float, solvents: Mapping[str, str]
) -> list[CostLine]:
    """Labour of swaps and inspections: minutes between their entries, times the room's rate.

    A swap or inspection of one entry only takes what the site says that one usually takes.
    """
    jobs: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        inspection, swap = getattr(entry, "inspection", None), getattr(entry, "swap", None)
        if inspection:
            jobs.setdefault(("Inspection", inspection), []).append(entry)
        elif swap:
            jobs.setdefault(("Swap", swap), []).append(entry)
        elif isinstance(entry, Swap):
            jobs.setdefault(("Swap", entry.id), []).append(entry)
    lines = []
    for (name, _), steps in jobs.items():
        line = _job(name, steps, prices, swap_minutes)
        if line is not None:
            lines.append(_with_solvent(line, solvents))
    return sorted(lines, key=lambda line: (line.at, line.entry))


def _job(
    name: str, steps: Sequence[Entry], prices: PricesState, swap_minutes: float
) -> CostLine | None:
    if name == "Swap" and not any(isinstance(step, Swap | SwapOpened) for step in steps):
        return None
    last = max(steps, key=lambda step: step.at)
    rates = prices.at(last.at)
    usual = swap_minutes if name == "Swap" else rates.inspection_minutes
    minutes, basis = minutes_of(step.at for step in steps), "minutes between its entries"
    if len(steps) < 3 or minutes == 0:
        minutes, basis = usual or 0.0, "minutes it usually takes"
    if rates.labour_cents_per_hour is None or not minutes:
        return None
    tank = next((tank for step in steps if (tank := getattr(step, "tank", None))), "")
    cents = round(rates.labour_cents_per_hour * minutes / 60)
    return CostLine(last.id, last.at, LABOUR, cents, name, basis, tank, quantity=round(minutes, 1),
                    unit="min")  # fmt: skip


def _with_solvent(line: CostLine, solvents: Mapping[str, str]) -> CostLine:
    solvent = solvents.get(line.tank, "")
    return CostLine(
        line.entry, line.at, line.category, line.cents, line.what, line.basis, line.tank,
        solvent=solvent, quantity=line.quantity, unit=line.unit,
    )  # fmt: skip


def other_lines(entries: Iterable[Entry], solvents: Mapping[str, str]) -> list[CostLine]:
    """Costs that were entered as such."""
    return [
        CostLine(
            entry.id, entry.at, entry.purpose if entry.purpose != "other" else OTHER,
            entry.cost_cents, entry.what, "entered", entry.tank or "",
            solvent=solvents.get(entry.tank or "", ""),
        )
        for entry in entries
        if isinstance(entry, OtherCost)
    ]  # fmt: skip
