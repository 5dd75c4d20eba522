"""The things a room keeps books of besides its baths: each a fold over its entries.

A thing's state after an entry follows from its state before. Folds are total: an entry that does
not fit is taken in and flagged, never refused, since the log is what was said. What may be said is
checked where it is said (services).
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from app.domain.roomlog.kinds import Entry

Value = TypeVar("Value")


@dataclass(frozen=True)
class Thing:
    """A kind of thing.

    Attributes:
        name: its word, as fields name it (`spec(thing=...)`).
        state: a frozen dataclass of plain values, tuples, mappings, dates and instants.
        start: the state of the thing of a key before its first entry.
        apply: the state after an entry; pure.
        is_open: it asks for attention still.
        version: another one where states look otherwise, or follow otherwise from the same log.
    """

    name: str
    state: type[Any]
    start: Callable[[str], Any]
    apply: Callable[[Any, Entry], Any]
    is_open: Callable[[Any], bool] = lambda _: True
    version: int = 1


def step_by_type(
    steps: Mapping[type[Entry], Callable[[Any, Any], Any]], state: Any, entry: Entry
) -> Any:
    """The state after an entry by the step of its type; as it was where there is none."""
    step = steps.get(type(entry))
    return step(state, entry) if step else state


def fold(thing: Thing, key: str, entries: Iterable[Entry]) -> Any:
    """The state of the thing of that key after these entries, given in the order of truth."""
    state = thing.start(key)
    for entry in entries:
        state = thing.apply(state, entry)
    return state


def steps(thing: Thing, key: str, entries: Iterable[Entry]) -> tuple[tuple[datetime, Any], ...]:
    """Each state of the thing and from when on it was in it, for entries in the order of truth."""
    found, state = [], thing.start(key)
    for entry in entries:
        state = thing.apply(state, entry)
        found.append((entry.at, state))
    return tuple(found)


def in_force(found: Sequence[tuple[datetime, Value]], moment: datetime) -> Value | None:
    """What applied at an instant, of values given with when they began; before the first, that.

    None without any.
    """
    place = bisect_right(found, moment, key=lambda step: step[0])
    return found[max(0, place - 1)][1] if found else None


def registry(things: Iterable[Thing]) -> Mapping[str, Thing]:
    """Things by their word.

    Raises:
        ValueError: two have the same word.
    """
    by_name: dict[str, Thing] = {}
    for thing in things:
        if thing.name in by_name:
            raise ValueError(f"two things are called {thing.name}")
        by_name[thing.name] = thing
    return by_name
