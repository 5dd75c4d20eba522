"""What waste costs: charged in the week it is poured, set right when its drum is shipped.

A week's costs are to say what that week did (accrual: effects of events are shown in the period in
which they occur, IFRS Conceptual Framework, paragraph 1.17). So each pour is charged at the rate
known then, and the pickup only with what its price differs from that: all lines of a drum together
are what its disposal cost, to the cent.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from app.domain import money
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.domain.spend.allot import allotted
from app.domain.spend.lines import DISPOSAL, CostLine
from app.domain.spend.prices import PricesState
from app.domain.waste.measures import mass_kg, poured_kg

POURED, SHIPPED = "pour", "pickup"


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

    def pour(self, entry: Pour) -> list[CostLine]:
        """A pour's cost at the rate known then; nothing where none is known."""
        kg = poured_kg(entry, entry.stream or self.streams.get(entry.drum, "unknown"))
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
            cents = money.times(rates.disposal_cents_per_drum, entry.volume_l / capacity_l)
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
