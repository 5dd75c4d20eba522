"""The parts that a room's costs are worked out in: each a fold over its own entries.

A part takes its entries in the order of truth; the state it is in after one says all that the
lines behind it depend on, so that a late entry is followed only until the state is again what it
was without it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, Checklist
from app.domain.roomlog.kinds.inspections import KINDS_OF_INSPECTIONS, InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES, StockUsed
from app.domain.roomlog.kinds.waste import Drum, DrumChanged, DrumTransfer, PickupShipped, Pour
from app.domain.spend import costs
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.costs import Drums, ShelfBook
from app.domain.spend.price_book import Basis
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import Valuation

COST, BOUGHT, OWED, FILL, POUR, SET_UP = "cost", "bought", "owed", "fill", "pour", "set_up"
FROM_SHELF, AT_RATE = "shelf", "rate"
"""Of a fill: whether the shelf kept its solvent then, or the room's rate is what it cost."""

SUPPLIES = frozenset(kind.kind for kind in KINDS_OF_SUPPLIES)
BATHS = frozenset(kind.kind for kind in (Tank, TankChange, TopUp, Swap, Removal))
WASTE = frozenset(kind.kind for kind in (Drum, DrumChanged, Pour, DrumTransfer, PickupShipped))
STEPS: tuple[type[Entry], ...] = (Swap, SwapAbandoned, *KINDS_OF_CHECKLISTS, *KINDS_OF_INSPECTIONS)
LABOUR = frozenset(kind.kind for kind in STEPS if kind is not Checklist)
COSTED = tuple(sorted(SUPPLIES | BATHS | WASTE | LABOUR | {OtherCost.kind}))

PartName = tuple[str, str]
"""What kind of part it is, and the key of its item, tank or job."""


@dataclass(frozen=True)
class Line:
    """A line of a room's books of costs.

    Attributes:
        side: `cost` of the week; `bought`; or no money at all: `owed` (used before it came),
            `fill`, `pour`, `set_up`.
        swap: the swap it belongs to, where it says so.
    """

    side: str
    line: CostLine
    swap: str = ""


@dataclass
class BathState:
    """What a bath's fills depend on."""

    solvent: str = ""
    capacity_l: float = 0.0


@dataclass
class NoState:
    """Lines that depend on their own entries alone."""


def _item(book: ShelfBook, entry: Entry, basis: Basis) -> list[Line]:
    came, used = book.take(entry, basis.prices)
    book.state = slim(book.state)
    swap = getattr(entry, "swap", None) or ""
    lines = [Line(BOUGHT, came)] if came else []
    if used:
        lines.append(Line(COST, used, swap))
    elif isinstance(entry, StockUsed):
        owed = CostLine(entry.id, entry.at, "", 0, "Used before it came", tank=entry.tank or "",
                        item=entry.item)  # fmt: skip
        lines.append(Line(OWED, owed, swap))
    return lines


def slim(state: ItemState) -> ItemState:
    """An item without what tells of its past alone: no later line depends on it."""
    return replace(
        state, worth=Valuation(), past_orders=(), weeks=(), first_week=None, counted_at=None,
        recent=(),
    )  # fmt: skip


def _waste(drums: Drums, entry: Entry, basis: Basis) -> list[Line]:
    drums.prices, drums.solvents = basis.prices, basis.solvents_at(entry.at)
    lines = [Line(COST, line) for line in drums.take(entry)]
    if isinstance(entry, Pour) and entry.tank:
        poured = CostLine(
            entry.id, entry.at, "", 0, "Poured into a drum", tank=entry.tank,
            solvent=drums.solvents.get(entry.tank, ""), quantity=entry.volume_l, unit="L",
        )  # fmt: skip
        lines.append(Line(POUR, poured))
    return lines


def _bath(state: BathState, entry: Entry, basis: Basis) -> list[Line]:
    if isinstance(entry, Tank):
        state.solvent, state.capacity_l = entry.solvent, entry.capacity_l
        line = CostLine(entry.id, entry.at, "", 0, "Set up", tank=entry.tank,
                        solvent=entry.solvent, quantity=entry.capacity_l, unit="L")  # fmt: skip
        return [Line(SET_UP, line)]
    if isinstance(entry, TankChange) and entry.capacity_l is not None:
        state.capacity_l = entry.capacity_l
    fill = costs.fill_of(entry, state.solvent, state.capacity_l)
    if isinstance(entry, Swap) and entry.solvent:
        state.solvent = entry.solvent
    if fill is None:
        return []
    of = FROM_SHELF if costs.is_kept(fill, basis.on_shelf) else AT_RATE
    line = CostLine(fill.entry, fill.at, of, 0, "Swap" if fill.is_swap else "Top-up",
                    tank=fill.tank, solvent=fill.solvent, quantity=fill.volume_l, unit="L",
                    purpose="swap" if fill.is_swap else "")  # fmt: skip
    priced = costs.fill_lines([fill], basis.on_shelf, basis.prices)
    return [Line(FILL, line, fill.swap), *(Line(COST, one, fill.swap) for one in priced)]


def _other(_: NoState, entry: Entry, basis: Basis) -> list[Line]:
    found = costs.other_lines([entry], basis.solvents_at(entry.at))
    return [Line(COST, line) for line in found]


@dataclass(frozen=True)
class Part:
    """A kind of part.

    Attributes:
        state: a dataclass of plain values; `start` makes it for a key.
        take: moves it on by an entry, and says which lines the entry makes.
    """

    state: type[Any]
    start: Callable[[str], Any]
    take: Callable[[Any, Entry, Basis], list[Line]]


ITEM, WASTE_PART, BATH, OTHER_PART, JOB = "item", "waste", "bath", "other", "job"
SWAP_JOB, INSPECTION_JOB, ENTRY_JOB = "swap", "inspection", "entry"
PARTS: Mapping[str, Part] = {
    ITEM: Part(ShelfBook, lambda key: ShelfBook(ItemState(key)), _item),
    WASTE_PART: Part(Drums, lambda _: Drums(), _waste),
    BATH: Part(BathState, lambda _: BathState(), _bath),
    OTHER_PART: Part(NoState, lambda _: NoState(), _other),
}


def parts_of(entry: Entry) -> list[PartName]:
    """The parts that an entry is taken by."""
    if entry.kind in SUPPLIES:
        return [(ITEM, entry.item)]  # type: ignore[attr-defined]
    if entry.kind in WASTE:
        return [(WASTE_PART, "")]
    if entry.kind == OtherCost.kind:
        return [(OTHER_PART, "")]
    found: list[PartName] = []
    if entry.kind in BATHS:
        found.append((BATH, entry.tank))  # type: ignore[attr-defined]
    if entry.kind in LABOUR:
        found += [(JOB, job) for job in jobs_of(entry)]
    return found


def jobs_of(entry: Entry) -> list[str]:
    """The jobs an entry is a step of: `swap:key`, `inspection:key`, or `entry:id` of a bare swap.

    An inspection within a swap concerns both: its minutes are the swap's.
    """
    inspection, swap = getattr(entry, "inspection", None), getattr(entry, "swap", None)
    if inspection:
        within = [f"{SWAP_JOB}:{swap}"] if swap and isinstance(entry, InspectionStarted) else []
        return [f"{INSPECTION_JOB}:{inspection}", *within]
    if swap:
        return [f"{SWAP_JOB}:{swap}"]
    return [f"{ENTRY_JOB}:{entry.id}"] if isinstance(entry, Swap) else []


def job_lines(steps: Sequence[Entry], basis: Basis) -> list[Line]:
    """What the labour of a job cost, from its entries in the order of truth."""
    if not steps:
        return []
    solvents = basis.solvents_at(max(step.at for step in steps))
    found = costs.labour_lines(steps, basis.prices, basis.swap_minutes_at, solvents)
    return [Line(COST, line) for line in found]
