"""Figures that a log, a label or physics make unlikely: what is asked about on every door.

`TABLE` says for every number of every kind of entry what it is held against, or why nothing is
asked about it. `unlikely` looks; `services/questions` brings what the room knows and asks.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from app.domain.plausible import baths, curing, room, shelf, waste
from app.domain.plausible.rules import Case, Known, Rule, Unasked
from app.domain.plausible.words import (
    CLOSE_UNLIKE,
    LEAKS_UNSEEN,
    LOT_DONE,
    LOT_RESIN,
    LOT_UNKNOWN,
    MONTH_OVER,
    NOW_METAL,
    OTHER_LOT,
    OVERFULL,
    PADS_IN_LIQUID,
    PARTS_WET,
    PURITY_UNLIKE,
    RAISED_LIMIT,
    READING_UNLIKE,
    REJECT_UNLIKE,
    SOAK_SHORT,
    SOURCE_UNSAID,
    STILL_FULL,
    SWAP_BEGUN,
    WARM_DRUM,
    WASH_UNKNOWN,
    WASH_UNLOGGED,
)
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import Entry

__all__ = ["NAMES", "TABLE", "Known", "Unasked", "Unlikely", "is_number", "numbers", "unlikely"]

TABLE: Mapping[tuple[str, str], tuple[Rule, ...]] = {
    **baths.TABLE, **shelf.TABLE, **waste.TABLE, **curing.TABLE, **room.TABLE,
}  # fmt: skip
"""By kind and field what a number is held against."""
NUMBERS = ("number", "whole", "money", "points")
EMPTIED = ("price_list",)
"""Kinds in which nought says that there is no such figure any more: their field was emptied."""


@dataclass(frozen=True)
class Unlikely:
    """A figure that is to be asked about.

    Attributes:
        name: of the question; an answer to it settles no other.
        field: where it stands.
        words: why, in a sentence.
    """

    name: str
    field: str
    words: str


def is_number(spec: FieldSpec) -> bool:
    """Whether a field holds figures that somebody types."""
    return spec.type in NUMBERS


def numbers(entry: Entry) -> Iterator[tuple[str, FieldSpec, tuple[Rule, ...]]]:
    """The fields of an entry that have rules and a value, in their order."""
    for name, spec in entry.specs().items():
        rules = TABLE.get((entry.kind, name), ())
        value = getattr(entry, name)
        is_emptied = entry.kind in EMPTIED and value == 0
        if rules and value is not None and not is_emptied:
            yield name, spec, rules


def unlikely(entry: Entry, known: Known) -> list[Unlikely]:
    """What is unlikely among the figures of an entry: of each field the first sentence."""
    found: list[Unlikely] = []
    for name, spec, rules in numbers(entry):
        unit = "money" if spec.type == "money" else spec.shown_unit
        case = Case(name, getattr(entry, name), spec.label, unit, entry, known)
        words = next((said for rule in rules if (said := rule.look(case))), "")
        if words and words not in {one.words for one in found}:
            found.append(Unlikely(question(entry.kind, name), name, words))
    return found


def question(kind: str, field: str) -> str:
    """The name of the question about a field."""
    return f"{kind}_{field}"


NAMES: tuple[str, ...] = (
    PURITY_UNLIKE, CLOSE_UNLIKE, SOAK_SHORT, READING_UNLIKE, REJECT_UNLIKE,
    OVERFULL, WASH_UNKNOWN, OTHER_LOT, LOT_RESIN, LOT_DONE, PADS_IN_LIQUID, SWAP_BEGUN,
    NOW_METAL, RAISED_LIMIT, STILL_FULL, LOT_UNKNOWN, WARM_DRUM, LEAKS_UNSEEN, SOURCE_UNSAID,
    PARTS_WET, MONTH_OVER, WASH_UNLOGGED,
    *sorted(
        question(kind, field)
        for (kind, field), rules in TABLE.items()
        if not all(isinstance(rule, Unasked) for rule in rules)
    ),
)  # fmt: skip
"""The names of these questions."""
