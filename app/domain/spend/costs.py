"""Costs that the shelf does not show: labour, fills without a shelf, other costs."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from app.domain.roomlog.kinds import Entry, Swap, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.spend.lines import LABOUR, OTHER, SOLVENT, CostLine
from app.domain.spend.prices import PricesState

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
        elif isinstance(entry, TopUp | Swap):
            known = solvents.get(entry.tank, ""), capacity_l.get(entry.tank, 0.0)
            if (fill := fill_of(entry, *known)) is not None:
                found.append(fill)
            if isinstance(entry, Swap):
                solvents[entry.tank] = entry.solvent or known[0]
    return found, solvents


def fill_of(entry: Entry, solvent: str, capacity_l: float) -> Fill | None:
    """The fresh solvent of an entry, into a bath of that solvent and volume; None without any."""
    if isinstance(entry, TopUp):
        return Fill(entry.id, entry.at, entry.tank, solvent, entry.volume_l)
    if not isinstance(entry, Swap) or entry.from_tank is not None:
        return None
    volume_l = capacity_l if entry.filled_l is None else entry.filled_l
    return Fill(entry.id, entry.at, entry.tank, entry.solvent or solvent, volume_l,
                entry.swap or "", is_swap=True)  # fmt: skip


def fill_lines(found: Sequence[Fill], on_shelf: set[str], prices: PricesState) -> list[CostLine]:
    """Costs of fills with a solvent that the shelf keeps no item of, at the room's rate."""
    lines = []
    for fill in found:
        rate = prices.at(fill.at).solvent_cents_per_l
        if fill.solvent in on_shelf or not rate:
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


def minutes_of(times: Iterable[datetime]) -> float:
    """Minutes of work between the first and the last of these instants; long pauses left out."""
    ordered = sorted(times)
    gaps = (later - earlier for earlier, later in pairwise(ordered))
    return sum(min(gap, LONGEST_PAUSE) / timedelta(minutes=1) for gap in gaps)


def labour_lines(
    entries: Iterable[Entry], prices: PricesState, swap_minutes: float, solvents: Mapping[str, str]
) -> list[CostLine]:
    """Labour of swaps and inspections: minutes between their entries, times the room's rate.

    A swap or inspection of one entry only takes what the site says that one usually takes. An
    inspection that is a step of a swap is in the swap's minutes, so that none counts twice.
    """
    jobs: dict[tuple[str, str], list[Entry]] = {}
    swap_of: dict[str, str] = {}
    for entry in entries:
        inspection, swap = getattr(entry, "inspection", None), getattr(entry, "swap", None)
        if isinstance(entry, InspectionStarted) and swap:
            swap_of[entry.inspection] = swap
        if inspection and (within := swap_of.get(inspection)):
            jobs.setdefault(("Swap", within), []).append(entry)
        elif inspection:
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
        minutes = usual or 0.0
        where = "site settings" if name == "Swap" else "rates"
        basis = f"minutes it usually takes ({where}), as its entries are too few to tell"
    if not rates.labour_cents_per_hour or not minutes:
        return None
    basis += f", {rates.labour_cents_per_hour / 100:.2f} an hour"
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
