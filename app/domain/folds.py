"""What a projection of the log is: a pure fold, so that its state follows from the log alone."""

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Protocol, TypeVar

from app.domain.roomlog.kinds import Entry

State = TypeVar("State")
Out_co = TypeVar("Out_co", covariant=True)

Key = tuple[str, str]
"""Which of a fold's states: its kind, such as `drum`, and its key; `""` where it has one."""

EVERY = 50  # entries between two states that are kept on the way, at first
SHARE = 16  # of the entries still to come, how many lie between two at most
THINNING = 8  # distance between kept states, as a share of their age in entries


class Fold(Protocol[State, Out_co]):
    """One projection, or a family of the same make (all books of things).

    No clock, no I/O; the same entries in the same order give the same state, bit for bit.

    Attributes:
        name: unlike any other fold's.
        versions: by kind, of the states' form and of how they are worked out: states that another
            version kept are folded anew when the program starts.
    """

    @property
    def name(self) -> str: ...

    @property
    def versions(self) -> Mapping[str, str]: ...

    def concerns(self, entry: Entry) -> Iterable[Key]:
        """The states that an entry moves; none where it has nothing to do with the fold."""

    def empty(self, key: Key) -> State:
        """The state before the first entry."""

    def take(self, key: Key, state: State, entry: Entry) -> tuple[State, Sequence[Out_co]]:
        """The state after an entry, and what the entry did that is kept beside the state.

        The state given may be moved on in place.
        """

    def dump(self, key: Key, state: State) -> bytes | str:
        """The whole state, exactly."""

    def load(self, key: Key, kept: bytes | str) -> State:
        """The state of `dump`."""


class Ordered(Protocol):
    """What has to come after others."""

    @property
    def name(self) -> str: ...

    @property
    def needs(self) -> tuple[str, ...]: ...


Some = TypeVar("Some", bound=Ordered)


def in_order(projections: Iterable[Some]) -> tuple[Some, ...]:
    """Projections behind those that they read.

    Raises:
        ValueError: one needs another that there is none of, or two need each other.
    """
    left = {one.name: one for one in projections}
    found: dict[str, Some] = {}
    while left:
        ready = [one for one in left.values() if set(one.needs) <= found.keys()]
        if not ready:
            raise ValueError(f"these need each other, or what is not there: {sorted(left)}")
        for one in ready:
            found[one.name] = left.pop(one.name)
    return tuple(found.values())


def is_to_be_kept(entries: int, last: int, left: int, farthest: float = math.inf) -> bool:
    """Whether the state after so many entries is kept on the way.

    `last` is the number at the last one that was, `left` how many entries are still to come,
    `farthest` how many entries two kept states are apart at most, however old they are.
    """
    return entries % EVERY == 0 and entries - last >= min(left // SHARE, farthest)


def superfluous(
    kept: Iterable[tuple[int, int]], entries: int, farthest: float = math.inf
) -> list[int]:
    """Which of the (key, entries before it) pairs of kept states, in rising order, can go.

    One goes where those beside it stay close enough for the age of the later one, which only
    grows: so they do however often this is asked. What is kept grows with the logarithm of the log;
    with `farthest`, the most entries between two, with the log.

    >>> superfluous([(1, 100), (2, 150), (3, 200), (4, 9_960)], entries=10_000)
    [2]
    """
    dropped = []
    last: int | None = None
    for (key, count), (_, following) in pairwise(kept):
        allowed = min((entries - following) / THINNING, farthest)
        if last is not None and following - last <= allowed:
            dropped.append(key)
        else:
            last = count
    return dropped
