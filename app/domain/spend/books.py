"""What a room's books say of some days, in the parts that a what-if year is made of.

Each line of the week's pages is in one of them: what the model replays (solvent, disposal and
labour of swaps, the goods that swaps use up), or the rest, which comes again as it was. Lines of
tanks that are out of use are in none, and are named.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from app.domain.spend.disposal import POURED
from app.domain.spend.lines import (
    CONSUMABLES,
    DISPOSAL,
    LABOUR,
    OTHER,
    SOLVENT,
    SPOILED,
    CostLine,
    total,
)

FEW_SWAPS = 3
GOODS, REST = "goods", "rest"
REST_WORDS: Mapping[str, str] = {
    CONSUMABLES: "consumables", LABOUR: "inspections", SPOILED: "spoiled or expired",
    DISPOSAL: "disposal beside its rates", SOLVENT: "solvent of no bath", OTHER: "other costs",
}  # fmt: skip


@dataclass(frozen=True)
class Books:
    """What the room's books say of some days; None where they say nothing.

    Attributes:
        swaps: those that were done at once, as of a pair whose clean bath moved up, are one.
        bath_l: fresh solvent poured into baths.
        solvent_cents: what solvent that was used in baths cost; cents: everything.
        waste_kg: poured into drums.
    """

    swaps: int
    bath_l: float
    waste_kg: float | None = None
    solvent_cents: float | None = None
    cents: float | None = None


@dataclass(frozen=True)
class Paid:
    """What was paid in the days looked at, by what the model tells.

    Attributes:
        cents_per_l: of solvent that was used in baths.
        rest_cents: what the model does not replay, by its word; `days` that it is of.
        left_out_cents: of tanks that are out of use.
    """

    cents_per_l: Mapping[str, float] = field(default_factory=dict)
    disposal_cents_per_kg: float = 0.0
    labour_cents_per_swap: float = 0.0
    goods_cents_per_swap: float = 0.0
    rest_cents: Mapping[str, int] = field(default_factory=dict)
    days: int = 1
    left_out_cents: int = 0

    @property
    def rest_cents_per_day(self) -> float:
        """What the model does not replay, as it was on average."""
        return sum(self.rest_cents.values()) / self.days

    def rest_in(self, days: int) -> dict[str, float]:
        """The same over so many days, by its word."""
        return {word: cents * days / self.days for word, cents in self.rest_cents.items()}


def part_of(line: CostLine, tanks: Collection[str]) -> str | None:
    """The part of a year that a line belongs to; None where its tank is out of use."""
    if line.tank and line.tank not in tanks:
        return None
    if line.category == SOLVENT and line.tank:
        return SOLVENT
    if line.category == DISPOSAL and line.tank and line.purpose == POURED:
        return DISPOSAL
    if line.category == LABOUR and line.what == "Swap" and line.tank:
        return LABOUR
    if line.category == CONSUMABLES and line.purpose == "swap":
        return GOODS
    return REST


def paid_of(
    lines: Iterable[CostLine], tanks: Collection[str], swaps: int, days: int
) -> Paid:  # fmt: skip
    """What was paid, from the lines of so many days with so many swaps."""
    parts: dict[str | None, list[CostLine]] = {}
    for line in lines:
        parts.setdefault(part_of(line, tanks), []).append(line)
    if swaps < FEW_SWAPS:  # too few to tell what one uses up
        parts.setdefault(REST, []).extend(parts.pop(GOODS, []))
    rest: dict[str, int] = {}
    for line in parts.get(REST, ()):
        word = REST_WORDS[line.category]
        rest[word] = rest.get(word, 0) + line.cents
    poured = parts.get(DISPOSAL, [])
    kg = sum(line.quantity for line in poured)
    return Paid(
        cents_per_l=_per_l(parts.get(SOLVENT, ())),
        disposal_cents_per_kg=total(poured) / kg if kg else 0.0,
        labour_cents_per_swap=total(parts.get(LABOUR, [])) / swaps if swaps else 0.0,
        goods_cents_per_swap=total(parts.get(GOODS, [])) / swaps if swaps else 0.0,
        rest_cents={word: cents for word, cents in rest.items() if cents}, days=days,
        left_out_cents=total(parts.get(None, [])),
    )  # fmt: skip


def _per_l(used: Sequence[CostLine]) -> dict[str, float]:
    """Cents of a litre of each solvent that was used."""
    litres: dict[str, float] = {}
    cents: dict[str, int] = {}
    for line in used:
        if line.unit == "L" and line.solvent:
            litres[line.solvent] = litres.get(line.solvent, 0.0) + line.quantity
            cents[line.solvent] = cents.get(line.solvent, 0) + line.cents
    return {key: cents[key] / some_l for key, some_l in litres.items() if some_l > 0}
