"""What one entry of the log costs, and splitting whole cents so that the parts add up."""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

SOLVENT, DISPOSAL, CONSUMABLES = "solvent", "disposal", "consumables"
LABOUR, SPOILED, OTHER = "labour", "spoiled", "other"
CATEGORIES = (SOLVENT, DISPOSAL, CONSUMABLES, LABOUR, SPOILED, OTHER)
CATEGORY_WORDS = {
    SOLVENT: "Solvent", DISPOSAL: "Waste disposal", CONSUMABLES: "Consumables",
    LABOUR: "Labour", SPOILED: "Spoiled or expired", OTHER: "Other",
}  # fmt: skip

Key = TypeVar("Key", bound=Hashable)


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


def allotted(cents: int, weights: Mapping[Key, float]) -> dict[Key, int]:
    """Cents in proportion to the weights, by the largest remainder (Hamilton's method).

    Ties go to the weight that comes first. Without any weight above zero nothing can be allotted
    and the answer is empty.

    >>> allotted(100, {"a": 1, "b": 1, "c": 1})
    {'a': 34, 'b': 33, 'c': 33}
    """
    ratios = {key: weight.as_integer_ratio() for key, weight in weights.items() if weight > 0}
    if not ratios:
        return {}
    shared = math.lcm(*(below for _, below in ratios.values()))
    parts = {key: above * (shared // below) for key, (above, below) in ratios.items()}
    whole = sum(parts.values())
    sign, amount = (-1, -cents) if cents < 0 else (1, cents)
    given, rest = {}, {}
    for key, part in parts.items():  # in whole numbers: nothing is lost to rounding
        given[key], rest[key] = divmod(amount * part, whole)
    order: Sequence[Key] = sorted(rest, key=lambda key: -rest[key])
    for key in order[: amount - sum(given.values())]:
        given[key] += 1
    return {key: sign * value for key, value in given.items()}
