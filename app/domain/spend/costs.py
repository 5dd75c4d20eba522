"""What entries cost: labour, fills without a shelf, other costs, the shelf's goods, and waste.

From the shelf things leave at what their own lot cost: specific identification of cost (IAS 2
Inventories, paragraphs 23 and 24), by lot. What is used takes its share of what is left of its lot,
so that all uses of a lot together cost what was paid for it, to the cent. Which lot that is the
shelf's own ledger says (domain/supplies/ledger.py).

Waste is charged in the week it is poured, and set right when its drum is shipped. A week's costs
are to say what that week did (accrual: effects of events are shown in the period in which they
occur, IFRS Conceptual Framework, paragraph 1.17). So each pour is charged at the rate known then,
and the pickup only with what its price differs from that: all lines of a drum together are what its
disposal cost, to the cent.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from app.domain import money
from app.domain.checklists.default_template import TIME_KEY, TIME_LABEL
from app.domain.checklists.template import restored_steps
from app.domain.roomlog.kinds import Entry, Swap, SwapAbandoned, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import StepDone, SwapOpened
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import (
    Item,
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumChanged, DrumTransfer, PickupShipped, Pour
from app.domain.spend.cost_lines import (
    CONSUMABLES,
    DISPOSAL,
    LABOUR,
    OTHER,
    SOLVENT,
    SPOILED,
    CostLine,
    allotted,
)
from app.domain.spend.price_book import PricesState
from app.domain.supplies.ledger import LOTS_KEPT, after
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import rounded, share
from app.domain.waste.measures import mass_kg, poured_kg

UsualMinutes = Callable[[datetime], float]
MINUTES_IN = {"min": 1.0, "h": 60.0}
FEWEST_STEPS = 3  # entries that tell how long a job took
LONGEST_PAUSE = timedelta(minutes=20)  # common practice, no source: a longer gap is no work
NEAR = timedelta(hours=24)

NO_PRICE = "no price known"
SPILL = "spill"
POURED, SHIPPED = "pour", "pickup"


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
    inspection with too few entries, what one usually takes; of a swap that was given up, what
    passed until then. An inspection that is a step of a swap
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
    work = [step for step in steps if not isinstance(step, SwapAbandoned)]
    last = max(work, key=lambda step: step.at)
    rates = prices.at(last.at)
    if name == "Swap":
        usual, where = swap_minutes(last.at), "site settings"
    else:
        usual, where = rates.inspection_minutes or 0.0, "rates"
    minutes, basis = _minutes(steps, work, usual, where)
    if not rates.labour_cents_per_hour or not minutes:
        return None
    basis += f", {money.plain(rates.labour_cents_per_hour, prices.currency)} an hour"
    tank = next((tank for step in steps if (tank := getattr(step, "tank", None))), "")
    cents = money.times(rates.labour_cents_per_hour, money.exact(minutes) / 60)
    return CostLine(last.id, last.at, LABOUR, cents, name, basis, tank, quantity=round(minutes, 1),
                    unit="min")  # fmt: skip


def _minutes(
    steps: Sequence[Entry], work: Sequence[Entry], usual: float, where: str
) -> tuple[float, str]:
    """The minutes of a job, and what they rest on; `work` without that it was given up."""
    if (entered := entered_minutes(work)) is not None:
        return entered, "minutes entered at its steps"
    between = minutes_of(step.at for step in work)
    if len(work) >= FEWEST_STEPS and between:
        return between, "minutes between its entries"
    if len(work) < len(steps):
        return minutes_of(step.at for step in steps), "minutes until it was given up"
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


@dataclass
class ShelfLines:
    """An item's lines.

    Attributes:
        used: what was taken, in the order of its entries; its costs are costs of the week.
        bought: what came, with what was paid for it.
        on_hand_cents, on_hand: what is left at the end.
    """

    used: list[CostLine] = field(default_factory=list)
    bought: list[CostLine] = field(default_factory=list)
    on_hand_cents: int = 0
    on_hand: float = 0.0
    state: ItemState | None = None


@dataclass
class _Worth:
    """What is left of a lot and what that cost."""

    quantity: float = 0.0
    cents: int = 0
    basis: str = NO_PRICE


@dataclass
class ShelfBook:
    """An item between two entries of its book: the ledger, and what the lots' rest cost."""

    state: ItemState
    worth: dict[str, _Worth] = field(default_factory=dict)

    def take(self, entry: Entry, prices: PricesState) -> tuple[CostLine | None, CostLine | None]:
        """What came with an entry and what was taken, entries given in the order of truth."""
        before, self.state = self.state, after(self.state, entry)
        came = used = None
        if isinstance(entry, StockReceived):
            came = _receive(self.worth, entry, before, self.state, prices)
        taken, cents, bases = _settle(self.worth, self.state)
        if taken or cents:
            used = _line(entry, before, self.state, (taken, cents, bases))
        return came, used

    @property
    def cents(self) -> int:
        """What that which is left cost."""
        return sum(lot.cents for lot in self.worth.values())


def shelf_lines(key: str, entries: Iterable[Entry], prices: PricesState) -> ShelfLines:
    """The lines of an item from its book, in the order of truth."""
    found, book = ShelfLines(), ShelfBook(ItemState(key))
    for entry in entries:
        came, used = book.take(entry, prices)
        found.bought += [came] if came else []
        found.used += [used] if used else []
    found.on_hand_cents, found.on_hand, found.state = book.cents, book.state.on_hand, book.state
    return found


def _receive(
    worth: dict[str, _Worth], entry: StockReceived, before: ItemState, state: ItemState,
    prices: PricesState,
) -> CostLine:  # fmt: skip
    name = entry.lot or entry.at.date().isoformat()
    if name not in worth and len(before.lots) >= LOTS_KEPT:
        first, second = (lot.lot for lot in before.lots[:2])
        if first in worth and second in worth:
            gone = worth.pop(second)
            worth[first].quantity += gone.quantity
            worth[first].cents += gone.cents
    cents, basis = price_of(entry, before, state, prices)
    lot = worth.setdefault(name, _Worth())
    lot.quantity, lot.cents = rounded(lot.quantity + entry.quantity), lot.cents + cents
    lot.basis = basis
    return CostLine(
        entry.id, entry.at, "bought", cents, f"{state.name or state.key}, lot {name}", basis,
        item=state.key, solvent=state.solvent or "", quantity=entry.quantity, unit=state.unit,
    )  # fmt: skip


def price_of(
    entry: StockReceived, before: ItemState, state: ItemState, prices: PricesState
) -> tuple[int, str]:
    """What a receipt cost, and where that is said: invoice, order, list price, the room's rate."""
    if entry.price_cents is not None:
        return entry.price_cents, "invoice"
    order = before.order(entry.order) if entry.order else None
    if order is not None and order.price_cents is not None:
        ends = (order.received, order.received + entry.quantity)
        upto = [
            share(order.price_cents, min(part, order.quantity), order.quantity) for part in ends
        ]
        return upto[1] - upto[0], "order"
    if state.rules.list_price_cents is not None:
        return money.times(state.rules.list_price_cents, entry.quantity), "list price"
    rate = prices.at(entry.at).solvent_cents_per_l
    if state.category == "solvent" and rate:
        return money.times(rate, entry.quantity), "the room's rate"
    return 0, NO_PRICE


def _settle(worth: dict[str, _Worth], state: ItemState) -> tuple[float, int, list[str]]:
    """Bring the lots' worth to what the ledger says is left; what went, and what it cost."""
    left: dict[str, float] = {}
    for lot in state.lots:
        left[lot.lot] = left.get(lot.lot, 0.0) + lot.quantity
    taken, cents, bases = 0.0, 0, []
    for name, known in list(worth.items()):
        now = rounded(left.get(name, 0.0))
        if now < known.quantity:
            out = share(known.cents, rounded(known.quantity - now), known.quantity)
            taken, cents = rounded(taken + known.quantity - now), cents + out
            bases.append(f"lot {name}, {known.basis}")
            known.cents -= out
        known.quantity = now
        if now <= 0:
            del worth[name]
    for name, quantity in left.items():
        if name not in worth:  # found at a count: nothing was paid for it
            worth[name] = _Worth(rounded(quantity), 0, "found at a count")
    return taken, cents, bases


def _line(entry: Entry, before: ItemState, state: ItemState, out: Any) -> CostLine:
    taken, cents, bases = out
    category = SOLVENT if state.category == "solvent" else CONSUMABLES
    what = state.name or state.key
    if isinstance(entry, StockScrapped):
        category, what = SPOILED, f"{what}, scrapped: {entry.reason}"
    elif isinstance(entry, StockUsed) and entry.purpose == SPILL:
        category, what = SPOILED, f"{what}, spilled or spoiled"
    elif isinstance(entry, StockCounted):
        what = f"{what}, missing at the count"
    elif isinstance(entry, StockReceived):
        what = f"{what}, used before it was received"
    return CostLine(
        entry.id, entry.at, category, cents, what, "; ".join(bases),
        tank=getattr(entry, "tank", None) or "", item=before.key, solvent=state.solvent or "",
        quantity=taken, unit=state.unit, purpose=_purpose(entry),
    )  # fmt: skip


def _purpose(entry: Entry) -> str:
    if getattr(entry, "swap", None):
        return "swap"
    return getattr(entry, "purpose", None) or ""


@dataclass
class _Part:
    """What came from one tank into a drum; `charged_kg` of it has cost `cents` already."""

    kg: float = 0.0
    charged_kg: float = 0.0
    cents: int = 0

    def add(self, other: "_Part") -> None:
        self.kg += other.kg
        self.charged_kg += other.charged_kg
        self.cents += other.cents

    def taken(self, share: float) -> "_Part":
        """Take a share out; all of it where the share is 1."""
        out = _Part(share * self.kg, share * self.charged_kg, money.times(self.cents, share))
        self.kg, self.charged_kg = self.kg - out.kg, self.charged_kg - out.charged_kg
        self.cents -= out.cents
        return out


@dataclass
class Drums:
    """The drums as the log fills and ships them.

    Attributes:
        parts: by drum, what came from each tank; empty for what came from none.
        last_cents_per_kg: what the last pickup cost.
        prices, solvents: what the next entry is charged by.
    """

    prices: PricesState = field(default_factory=PricesState)
    solvents: Mapping[str, str] = field(default_factory=dict)
    streams: dict[str, str] = field(default_factory=dict)
    capacity_l: dict[str, float] = field(default_factory=dict)
    parts: dict[str, dict[str, _Part]] = field(default_factory=dict)
    last_cents_per_kg: float | None = None

    def take(self, entry: Entry) -> list[CostLine]:
        """What an entry costs, given in the order of truth."""
        if isinstance(entry, Drum):
            self.set_up(entry)
        elif isinstance(entry, DrumChanged):
            self.set_right(entry)
        elif isinstance(entry, Pour):
            return self.pour(entry)
        elif isinstance(entry, DrumTransfer):
            self.transfer(entry)
        elif isinstance(entry, PickupShipped):
            return self.ship(entry)
        return []

    def set_up(self, entry: Drum) -> None:
        """Set a drum up; what was poured into it before that entry stays in it."""
        self.streams[entry.drum], self.capacity_l[entry.drum] = entry.stream, entry.capacity_l
        held_l = entry.volume_l or 0.0
        held_kg = mass_kg(held_l, entry.stream) if entry.waste_kg is None else entry.waste_kg
        parts = self.parts.setdefault(entry.drum, {})
        if held_l and held_kg:
            parts.setdefault("", _Part()).add(_Part(held_kg))

    def set_right(self, entry: DrumChanged) -> None:
        """A drum's stream or size is another from then on; what was poured before stays charged."""
        if entry.stream is not None:
            self.streams[entry.drum] = entry.stream
        if entry.capacity_l is not None:
            self.capacity_l[entry.drum] = entry.capacity_l

    def pour(self, entry: Pour) -> list[CostLine]:
        """A pour's cost at the rate known then; nothing where none is known."""
        kg = rounded(poured_kg(entry, entry.stream or self.streams.get(entry.drum, "unknown")))
        cents, basis = self._rate(entry, kg)
        tank = entry.tank or ""
        part = self.parts.setdefault(entry.drum, {}).setdefault(tank, _Part())
        part.add(_Part(kg, kg if basis else 0.0, cents))
        if not basis:
            return []
        return [
            CostLine(entry.id, entry.at, DISPOSAL, cents, "Poured into a drum", basis, tank, "",
                     self.solvents.get(tank, ""), round(kg, 3), "kg", POURED)
        ]  # fmt: skip

    def _rate(self, entry: Pour, kg: float) -> tuple[int, str]:
        rates, capacity_l = self.prices.at(entry.at), self.capacity_l.get(entry.drum)
        if rates.disposal_cents_per_kg:
            return money.times(rates.disposal_cents_per_kg, kg), "rate per kg, when poured"
        if rates.disposal_cents_per_drum and capacity_l:
            filled = money.exact(entry.volume_l) / money.exact(capacity_l)
            cents = money.times(rates.disposal_cents_per_drum, filled)
            return cents, "rate per drum by its volume, when poured"
        if self.last_cents_per_kg is not None:
            return money.times(self.last_cents_per_kg, kg), "as the last pickup per kg, when poured"
        return 0, ""

    def transfer(self, entry: DrumTransfer) -> None:
        source = self.parts.setdefault(entry.from_drum, {})
        whole_kg = sum(part.kg for part in source.values())
        share = min(1.0, entry.waste_kg / whole_kg) if whole_kg else 0.0
        into = self.parts.setdefault(entry.drum, {})
        for tank, part in source.items():
            into.setdefault(tank, _Part()).add(part.taken(share))

    def ship(self, entry: PickupShipped) -> list[CostLine]:
        """What a pickup's price differs from what was charged for its drums, by tank."""
        parts: dict[str, _Part] = {}
        for drum in dict.fromkeys(entry.drums):
            for tank, part in self.parts.pop(drum, {}).items():
                parts.setdefault(tank, _Part()).add(part)
            self.streams.pop(drum, None)
            self.capacity_l.pop(drum, None)
        charged = sum(part.cents for part in parts.values())
        kg = sum(part.kg for part in parts.values())
        cents, basis = self._price(entry, kg, charged)
        if kg and entry.cost_cents is not None:
            self.last_cents_per_kg = cents / kg
        due = allotted(cents, {tank: part.kg for tank, part in parts.items()}) or {"": cents}
        what = (
            f"Pickup {entry.pickup}, {len(entry.drums)} drum{'' if len(entry.drums) == 1 else 's'}"
        )
        if charged:
            whole, before = (money.plain(x, self.prices.currency) for x in (cents, charged))
            what += f", {whole}: {before} was charged when poured"
        lines = []
        for tank in sorted(set(due) | set(parts)):
            part = parts.get(tank, _Part())
            left_kg = round(part.kg - part.charged_kg, 3)
            if (change := due.get(tank, 0) - part.cents) or left_kg or not charged:
                lines.append(
                    CostLine(entry.id, entry.at, DISPOSAL, change, what, basis, tank, "",
                             self.solvents.get(tank, ""), left_kg, "kg", SHIPPED)
                )  # fmt: skip
        return lines

    def _price(self, entry: PickupShipped, kg: float, charged: int) -> tuple[int, str]:
        if entry.cost_cents is not None:
            return entry.cost_cents, "invoice"
        rates = self.prices.at(entry.at)
        if rates.disposal_cents_per_kg:
            return money.times(rates.disposal_cents_per_kg, entry.shipped_kg or kg), "rate per kg"
        if rates.disposal_cents_per_drum:
            return rates.disposal_cents_per_drum * len(entry.drums), "rate per drum"
        return (charged, "as charged when poured") if charged else (0, "no price known")


def disposal_lines(
    entries: Iterable[Entry], prices: PricesState, solvents: Mapping[str, str]
) -> list[CostLine]:
    """What pours cost when they were poured, and what pickups cost more or less than that.

    By the mass poured from each tank; what came from no tank stays with the room.
    """
    drums = Drums(prices, solvents)
    return [line for entry in entries for line in drums.take(entry)]
