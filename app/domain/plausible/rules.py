"""What a typed number is held against, as data: a usual range, what was before, a fact of the room.

A rule gives a sentence where a value is unlikely, and nothing where it is not. It never says that a
value is wrong: whoever typed it may be right, and is asked.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any, Protocol

from app.domain.roomlog.sentences import beside

PRACTICE = "common practice, no source"
FEWEST, SOME = 5, 3  # values that tell what is usual in a place; and that tell a little
ROBUST = 1.4826  # of the median deviation: the standard deviation where values are normal
FEW_OTHERS = 2.5  # one or two others tell that much less
FAR_SD, LEAST_FAR = 4.0, math.log(3.0)
REACH, SOON = 1.5, 5.0  # beyond the extremes seen: by a share, and by more where few were seen
IN_UNITS = ("L", "C", "g", "cm2", "money")
"""Units that are written as the room writes them, both ends of a range alike."""


def plain(value: float, unit: str) -> str:
    """A value with its unit as it is stored.

    >>> plain(1200.0, "mL"), plain(0.25, ""), plain(1.0, "parts")
    ('1200 mL', '0.25', '1 part')
    """
    return beside(f"{value:.6g}", unit)


@dataclass(frozen=True)
class Known:
    """What the room knows that an entry is held against.

    Attributes:
        facts: figures of the room as it stands, by name: what a tank holds, a lot has left.
        before: by field, what the same kind said before in the same place, the latest first.
        others: by field, what the room's other things of the kind have.
        say: how a value with its unit is written for who reads it.
        is_euro_like: amounts are of the scale of the ranges, which are in cents of such currencies.
    """

    facts: Mapping[str, float] = field(default_factory=dict)
    before: Mapping[str, Sequence[float]] = field(default_factory=dict)
    others: Mapping[str, Sequence[float]] = field(default_factory=dict)
    say: Callable[[float, str], str] = plain
    is_euro_like: bool = True


@dataclass(frozen=True)
class Case:
    """A value that is looked at: its field, what it is called, its unit, its entry."""

    field: str
    value: Any
    label: str
    unit: str
    entry: Any
    known: Known

    def said(self, value: float | None = None) -> str:
        """A value, or this one, with its unit."""
        return self.known.say(self.value if value is None else value, self.unit)

    def fact(self, name: str) -> float | None:
        """A figure of the entry itself, or of the room; None where neither has it."""
        own = getattr(self.entry, name, None)
        return float(own) if isinstance(own, int | float) else self.known.facts.get(name)


class Rule(Protocol):
    """Something a value is held against."""

    def look(self, case: Case) -> str:
        """Why the value is unlikely, in a sentence; empty where it is not."""


@dataclass(frozen=True)
class Usual:
    """A range beyond which such a value is seldom found anywhere.

    Attributes:
        source: where the range comes from.
        is_first: it is looked at only until the room's own values tell what is usual.
    """

    low: float
    high: float
    source: str = PRACTICE
    is_first: bool = False

    def look(self, case: Case) -> str:
        """Why it is outside."""
        known = self.is_first and case.known.before.get(case.field)
        if case.unit == "money" and not case.known.is_euro_like:
            return ""
        if case.known.facts.get(f"was.{case.field}") == case.value:
            return ""  # a form sends it again as it stands: it was asked about when it was set
        if known or self.low <= case.value <= self.high:
            return ""
        low = case.said(self.low) if case.unit in IN_UNITS else f"{self.low:g}"
        return f"{case.label}: {low} to {case.said(self.high)} is usual; this says {case.said()}."


@dataclass(frozen=True)
class Before:
    """What the same was in the same place before.

    Attributes:
        near: a difference that is never asked about, in the field's unit.
        factor: where too few came before to tell what is usual: times the last ones.
        spread: times the median, up and down, that is never asked about however alike the past is.
    """

    near: float = 0.0
    factor: float = 8.0
    spread: float = 1.0

    def look(self, case: Case) -> str:
        """Why it is unlike those."""
        past = [one for one in case.known.before.get(case.field, ()) if one > 0]
        near = max(self.near, case.known.facts.get(f"near.{case.field}", 0.0))
        if len(past) < SOME or case.value <= 0 or abs(case.value - median(past)) <= near:
            return ""
        low, high = reach(past, self.factor)
        middle = median(past)
        if min(low, middle / self.spread) <= case.value <= max(high, middle * self.spread):
            return ""
        usual = case.said(rounded(middle))
        return f"{case.label}: usually about {usual} here; this says {case.said()}."


@dataclass(frozen=True)
class Others:
    """What the room's other things have: a tank beside the other tanks."""

    factor: float

    def look(self, case: Case) -> str:
        """Why it is unlike those."""
        beside = [one for one in case.known.others.get(case.field, ()) if one > 0]
        if not beside or case.value <= 0:
            return ""
        low, high = min(beside), max(beside)
        factor = self.factor if len(beside) >= SOME else self.factor * FEW_OTHERS
        if low / factor <= case.value <= high * factor:
            return ""
        span = case.said(high) if low == high else f"{case.said(low)} to {case.said(high)}"
        return f"{case.label}: others here have {span}; this says {case.said()}."


@dataclass(frozen=True)
class Of:
    """A share of another figure, of the room or of the entry itself.

    Attributes:
        fact: its name.
        low, high: shares between which nothing is asked.
        words: the sentence, with `{fact}` and `{value}` in words.
        near: a difference that is never asked about, in the field's unit.
        unit: the fact's unit where it is another than the field's.
    """

    fact: str
    low: float
    high: float
    words: str
    near: float = 0.0
    unit: str | None = None

    def look(self, case: Case) -> str:
        """Why the share is unlikely."""
        fact = case.fact(self.fact)
        if fact is None:
            return ""
        low, high = sorted((self.low * fact, self.high * fact))
        if low - self.near <= case.value <= high + self.near:
            return ""
        unit = case.unit if self.unit is None else self.unit
        return self.words.format(fact=case.known.say(rounded(fact), unit), value=case.said())


@dataclass(frozen=True)
class Told:
    """A look of its own, where none of the others tells enough."""

    find: Callable[[Case], str]

    def look(self, case: Case) -> str:
        """What it finds."""
        return self.find(case)


@dataclass(frozen=True)
class Unasked:
    """Nothing is asked about the field, for a reason."""

    reason: str

    def look(self, case: Case) -> str:  # noqa: ARG002
        """Nothing."""
        return ""


def reach(past: Sequence[float], factor: float) -> tuple[float, float]:
    """Between what a next value would lie, by past ones above zero.

    With five or more: their extremes and somewhat beyond, more where few were seen. Values far from
    the median, in multiples of the median deviation of their logarithms, are left out first, so
    that a slip of the past lets no slip pass. With fewer: some times the extremes.

    >>> low, high = reach([4.0, 5.0, 6.0, 5.0, 7.0, 50.0], 4.0)
    >>> round(low, 1), round(high, 1)
    (1.6, 17.5)
    """
    if len(past) < FEWEST:
        return min(past) / factor, max(past) * factor
    logs = [math.log(one) for one in past]
    middle = median(logs)
    sd = ROBUST * median(abs(one - middle) for one in logs)
    far = max(LEAST_FAR, FAR_SD * sd)
    kept = [one for one in logs if abs(one - middle) <= far]
    beyond = math.log(REACH + SOON / len(kept))
    return math.exp(min(kept) - beyond), math.exp(max(kept) + beyond)


def rounded(value: float) -> float:
    """To three digits: a figure to compare with, not to copy."""
    return float(f"{value:.3g}")


@dataclass(frozen=True)
class Was:
    """The same setting as it stands: `was.` and the field's name among the facts."""

    factor: float

    def look(self, case: Case) -> str:
        """Why the change is great."""
        was = case.known.facts.get(f"was.{case.field}")
        if not was or case.value <= 0 or 1 / self.factor <= case.value / was <= self.factor:
            return ""
        return f"{case.label}: until now it is {case.said(was)}; this says {case.said()}."
