"""What one entry of the log costs, and what it was charged for."""

from dataclasses import dataclass
from datetime import datetime

SOLVENT, DISPOSAL, CONSUMABLES = "solvent", "disposal", "consumables"
LABOUR, SPOILED, OTHER = "labour", "spoiled", "other"
CATEGORIES = (SOLVENT, DISPOSAL, CONSUMABLES, LABOUR, SPOILED, OTHER)
CATEGORY_WORDS = {
    SOLVENT: "Solvent", DISPOSAL: "Waste disposal", CONSUMABLES: "Consumables",
    LABOUR: "Labour", SPOILED: "Spoiled or expired", OTHER: "Other",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class CostLine:
    """A cost of one entry; an entry that is charged to several tanks has a line for each.

    Attributes:
        entry: id of the entry it comes from.
        cents: in the smallest unit of the room's currency; every cent of an entry is in one of
            its lines.
        what: in words; basis: where its price comes from.
        tank, item, solvent: empty where it is tied to none.
        quantity: in `unit`, or 0.
        purpose: what it was taken from the shelf for, as its entry says.
    """

    entry: str
    at: datetime
    category: str
    cents: int
    what: str
    basis: str = ""
    tank: str = ""
    item: str = ""
    solvent: str = ""
    quantity: float = 0.0
    unit: str = ""
    purpose: str = ""


def total(lines: list[CostLine] | tuple[CostLine, ...]) -> int:
    """The sum in cents."""
    return sum(line.cents for line in lines)
