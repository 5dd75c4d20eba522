"""Costs that the shelf does not show: labour, fills without a shelf, other costs."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from app.domain import money
from app.domain.checklists.default_template import TIME_KEY, TIME_LABEL
from app.domain.checklists.template import restored_steps
from app.domain.roomlog.kinds import Entry, Swap, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import StepDone, SwapOpened
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import Item, StockUsed
from app.domain.spend.lines import LABOUR, OTHER, SOLVENT, CostLine
from app.domain.spend.prices import PricesState

UsualMinutes = Callable[[datetime], float]
MINUTES_IN = {"min": 1.0, "h": 60.0}
FEWEST_STEPS = 3  # entries that tell how long a job took
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


def fill_lines(
    found: Iterable[Fill], on_shelf: Mapping[str, datetime], prices: PricesState
) -> list[CostLine]:
    """Costs of fills with a solvent that the shelf kept no item of then, at the room's rate."""
    lines = []
    for fill in found:
        rate = prices.at(fill.at).solvent_cents_per_l
        if is_kept(fill, on_shelf) or not rate:
            continue
        what = "Swap" if fill.is_swap else "Top-up"
        lines.append(
            CostLine(fill.entry, fill.at, SOLVENT, money.times(rate, fill.volume_l), what,
                     "the room's rate", fill.tank, "", fill.solvent, fill.volume_l, "L")
        )  # fmt: skip
    return lines


def is_kept(fill: Fill, on_shelf: Mapping[str, datetime]) -> bool:
    """Whether the shelf kept the solvent of a fill, given since when it keeps each."""
    since = on_shelf.get(fill.solvent)
    return since is not None and fill.at >= since


def kept_since(entries: Iterable[Entry]) -> dict[str, datetime]:
    """From when on the shelf keeps each solvent, from its items given in the order of truth.

    What was taken from it goes with a fill within a day, so a day before its first item is set up.
    """
    found: dict[str, datetime] = {}
    for entry in entries:
        if isinstance(entry, Item) and entry.solvent:
            found.setdefault(entry.solvent, entry.at - NEAR)
    return found


def uncovered(
    found: Sequence[Fill], used: Iterable[StockUsed], on_shelf: Mapping[str, datetime]
) -> list[Fill]:
    """Fills of a solvent that the shelf kept, but that nothing taken from it goes with.

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
        if is_kept(fill, on_shelf)
        and not (fill.swap and fill.swap in swaps)
        and not any(abs(at - fill.at) <= NEAR for at in times.get(fill.tank, ()))
    ]


def minutes_of(times: Iterable[datetime]) -> float:
    """Minutes of work between the first and the last of these instants; long pauses left out."""
    ordered = sorted(times)
    gaps = (later - earlier for earlier, later in pairwise(ordered))
    return sum(min(gap, LONGEST_PAUSE) / timedelta(minutes=1) for gap in gaps)


def labour_lines(
    entries: Iterable[Entry], prices: PricesState, swap_minutes: UsualMinutes,
    solvents: Mapping[str, str],
) -> list[CostLine]:  # fmt: skip
    """Labour of swaps and inspections, times the room's rate.

    The minutes are those that somebody entered, else those between the entries; of a swap or an
    inspection with too few entries, what one usually takes. An inspection that is a step of a swap
    is in the swap's minutes, so that none counts twice.

    Args:
        swap_minutes: what a swap usually took at an instant.
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
    name: str, steps: Sequence[Entry], prices: PricesState, swap_minutes: UsualMinutes
) -> CostLine | None:
    if name == "Swap" and not any(isinstance(step, Swap | SwapOpened) for step in steps):
        return None
    last = max(steps, key=lambda step: step.at)
    rates = prices.at(last.at)
    if name == "Swap":
        usual, where = swap_minutes(last.at), "site settings"
    else:
        usual, where = rates.inspection_minutes or 0.0, "rates"
    minutes, basis = _minutes(steps, usual, where)
    if not rates.labour_cents_per_hour or not minutes:
        return None
    basis += f", {money.plain(rates.labour_cents_per_hour, prices.currency)} an hour"
    tank = next((tank for step in steps if (tank := getattr(step, "tank", None))), "")
    cents = money.times(rates.labour_cents_per_hour, minutes / 60)
    return CostLine(last.id, last.at, LABOUR, cents, name, basis, tank, quantity=round(minutes, 1),
                    unit="min")  # fmt: skip


def _minutes(steps: Sequence[Entry], usual: float, where: str) -> tuple[float, str]:
    """The minutes of a job, and what they rest on."""
    if (entered := entered_minutes(steps)) is not None:
        return entered, "minutes entered at its steps"
    between = minutes_of(step.at for step in steps)
    if len(steps) >= FEWEST_STEPS and between:
        return between, "minutes between its entries"
    return usual, f"minutes it usually takes ({where}), as its entries are too few to tell"


def entered_minutes(steps: Iterable[Entry]) -> float | None:
    """Minutes of work that somebody entered at the steps of a swap; None where nobody did.

    They are answers to the checklist's own question (`TIME_KEY`), or to one of the room's own by
    the same label, in minutes or hours. Several steps add up; a second tick is without effect.
    """
    asked: dict[tuple[str, str], float] = {}
    found: dict[str, float] = {}
    for step in steps:
        if isinstance(step, SwapOpened):
            asked |= {
                (one.key, ask.key): MINUTES_IN[ask.unit]
                for one in restored_steps(step.steps) for ask in one.asks
                if ask.unit in MINUTES_IN and (ask.key == TIME_KEY or _is_time(ask.label))
            }  # fmt: skip
        elif isinstance(step, StepDone) and not step.repeats:
            own = [
                value * asked.get((step.step, name), 1.0 if name == TIME_KEY else 0.0)
                for name, value in (step.answers or {}).items()
                if isinstance(value, int | float) and not isinstance(value, bool)
            ]
            if (minutes := sum(one for one in own if one > 0)) > 0:
                found[step.step] = minutes
    return sum(found.values()) if found else None


def _is_time(label: str) -> bool:
    return label.strip().casefold() == TIME_LABEL.casefold()


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
