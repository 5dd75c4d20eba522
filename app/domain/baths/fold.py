"""The estimate of a room's baths as a fold of its log."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import ClassVar

from app.domain.baths.estimator import STATE_FORMAT, UNREAD, Effect, RoomFilter
from app.domain.baths.forecast.keeping import follow
from app.domain.folds import Key
from app.domain.roomlog.kinds import Entry, Reject

BATHS: Key = ("", "")
"""The one state: the baths of a room share their resins."""


@dataclass(frozen=True)
class BathFold:
    """The filter of a room; what an entry did to its bath is kept beside it.

    Attributes:
        zone: whose calendar days the habits go by.
    """

    zone: tzinfo
    name: ClassVar[str] = "baths"
    versions: ClassVar[Mapping[str, str]] = {"": STATE_FORMAT.decode("latin-1")}

    def concerns(self, entry: Entry) -> Iterable[Key]:
        """All that happens in or to a bath."""
        return (BATHS,) if entry.concerns_bath else ()

    def empty(self, _key: Key) -> RoomFilter:
        """A filter that has seen nothing."""
        return RoomFilter(zone=self.zone)

    def take(
        self, _key: Key, state: RoomFilter, entry: Entry
    ) -> tuple[RoomFilter, Sequence[Effect]]:
        """The filter after an entry; it is moved on in place."""
        effect = follow(state, entry) or _seen(state, entry)
        return state, () if effect is None else (effect,)

    def dump(self, _key: Key, state: RoomFilter) -> bytes:
        """The whole state, exactly."""
        return state.to_bytes()

    def load(self, _key: Key, kept: bytes | str) -> RoomFilter:
        """The state of `dump`.

        Raises:
            DomainError: another version kept it.
        """
        assert isinstance(kept, bytes)
        return RoomFilter.from_bytes(kept)


def _seen(state: RoomFilter, entry: Entry) -> Effect | None:
    """A reject does nothing to its bath; what the bath was then is kept with it."""
    if not isinstance(entry, Reject) or entry.tank not in state.tanks:
        return None
    belief = state.belief(entry.tank, entry.at)
    notes = (UNREAD,) if "unread_for_a_year" in belief.flags else ()
    return Effect(entry.tank, belief.fill, belief, belief.mean_percent, notes=notes)
