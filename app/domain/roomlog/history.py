"""Which entries of a log count, and in what order: corrections and withdrawals taken in."""

from bisect import bisect_left, insort
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from app.domain.roomlog.kinds import (
    Calibration,
    Entry,
    PlannedWash,
    Resin,
    Tank,
    TankChange,
    Withdrawal,
)
from app.domain.roomlog.kinds.instruments import InstrumentAdded, InstrumentCalibrated

_RANKS: dict[type[Entry], int] = {
    Resin: 0, Calibration: 0, InstrumentAdded: 0, InstrumentCalibrated: 0, Tank: 1, TankChange: 2,
}  # fmt: skip
_RANK_OF_EVENTS = 3


class Place(NamedTuple):
    """A place in the order of truth.

    Attributes:
        moment: when it happened; of a plan, from when it was known.
        rank: at one moment, definitions come before what uses them.
        sequence: order in the log; a correction stands where the corrected entry stood.
    """

    moment: datetime
    rank: int
    sequence: int


def moment(entry: Entry) -> datetime:
    """Where an entry stands in time: `at`, but for a plan the instant it became known."""
    return entry.known_at if isinstance(entry, PlannedWash) else entry.at


def rank(entry: Entry) -> int:
    """The order of kinds at one moment: resins and tanks before what happens in them."""
    return _RANKS.get(type(entry), _RANK_OF_EVENTS)


def effective(entries: Iterable[Entry]) -> list[Entry]:
    """The entries of a log, given in the order of their lines, that count; in order of truth.

    Raises nothing: a correction of an entry that is not there counts by itself.
    """
    history = History()
    for sequence, entry in enumerate(entries):
        history.learn(entry, sequence)
    return history.entries


class History:
    """A log that grows as entries become known, in whatever order."""

    def __init__(self) -> None:
        self.places: list[Place] = []
        self.entries: list[Entry] = []
        self._place_of: dict[str, Place] = {}
        self._corrections: dict[str, Entry] = {}
        self._withdrawn: set[str] = set()
        self._sequences: dict[str, int] = {}

    def learn(self, entry: Entry, sequence: int) -> Place | None:
        """Take an entry in; the earliest place whose past it changes, None where it changes none.

        Args:
            entry: what became known.
            sequence: number of its line in the log, unlike any other.
        """
        if isinstance(entry, Withdrawal):
            self._withdrawn.add(entry.withdraws)
            return self._drop(entry.withdraws)
        dropped = self._replace(entry)
        sequence = self._inherited(entry, sequence)
        if self._is_void(entry):
            return dropped
        place = Place(moment(entry), rank(entry), sequence)
        self._insert(place, entry)
        return place if dropped is None else min(place, dropped)

    def first_after(self, place: Place) -> int:
        """Index of the first entry that does not stand before a place."""
        return bisect_left(self.places, place)

    def _replace(self, entry: Entry) -> Place | None:
        """Take out what the entry corrects: the original, or an earlier correction of it."""
        if not entry.corrects:
            return None
        earlier = self._corrections.get(entry.corrects)
        self._corrections[entry.corrects] = entry
        places = [self._drop(entry.corrects)]
        if earlier is not None and earlier.id:
            places.append(self._drop(earlier.id))
        return min((place for place in places if place is not None), default=None)

    def _inherited(self, entry: Entry, sequence: int) -> int:
        sequence = self._sequences.get(entry.corrects, sequence) if entry.corrects else sequence
        if entry.id:
            self._sequences[entry.id] = sequence
        return sequence

    def _is_void(self, entry: Entry) -> bool:
        """Corrected or withdrawn before it was known itself."""
        if not entry.id:
            return False
        return entry.id in self._withdrawn or entry.id in self._corrections

    def _insert(self, place: Place, entry: Entry) -> None:
        if self.places and place < self.places[-1]:
            index = bisect_left(self.places, place)
            insort(self.places, place)
            self.entries.insert(index, entry)
        else:
            self.places.append(place)
            self.entries.append(entry)
        if entry.id:
            self._place_of[entry.id] = place

    def _drop(self, entry_id: str) -> Place | None:
        place = self._place_of.pop(entry_id, None)
        if place is not None:
            index = bisect_left(self.places, place)
            del self.places[index], self.entries[index]
        return place
