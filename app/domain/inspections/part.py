"""A part that is inspected: what is asked of it, what a yes means, and where it sits."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Where = Literal["impeller", "tank", "station"]
LOOKS = ("full", "empty", "refilled")
"""When a part is looked at: the bath still in, the tank empty, the new bath filled."""
EMPTY = "empty"


@dataclass(frozen=True)
class Condition:
    """One question that anybody can answer by looking or touching.

    Attributes:
        key: its word in the log, and the name of its drawing in `static/drawings`.
        question: answered yes or no.
        verdict: what a yes leads to.
        reason: why, shown with the verdict.
        mode, mechanism, cause: ISO 14224 terms by key; the cause is the usual one, not a finding.
        is_drawn: there is a drawing.
    """

    key: str
    question: str
    verdict: str
    reason: str
    mode: str
    mechanism: str
    cause: str
    is_drawn: bool = True


@dataclass(frozen=True)
class Part:
    """A kind of part, with all that the program knows of it.

    Attributes:
        key: its word in the log, never changed.
        conditions: what is asked with the tank empty, or of a station, the gravest first.
        full, refilled: what is asked at the two other looks; nothing where the part shows nothing.
        sits: where it is set up, and its place among what is offered there, the lowest first. What
            sits on an impeller comes with each.
        mate: the part that is replaced together with it.
        place: among all parts, the lowest first.
    """

    key: str
    name: str
    conditions: tuple[Condition, ...]
    sits: Mapping[Where, int]
    mate: str = ""
    place: int = 1000
    full: tuple[Condition, ...] = ()
    refilled: tuple[Condition, ...] = ()

    def asked(self, look: str) -> tuple[Condition, ...]:
        """What is asked at a look."""
        return {"full": self.full, "refilled": self.refilled}.get(look, self.conditions)

    @property
    def all_conditions(self) -> tuple[Condition, ...]:
        """What is asked at all looks."""
        return tuple(one for look in LOOKS for one in self.asked(look))


WATCH, REPLACE, MATE, OUT = "watch", "replace", "replace_with_mate", "take_out_of_service"
