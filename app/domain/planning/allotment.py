"""Sharing out what there is among the swaps of the queue, in its order."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

TINY = 1e-6  # of a litre, a kilogram, a piece: below it nothing is missing


@dataclass(frozen=True)
class Parcel:
    """An amount of something.

    Attributes:
        name: what it is known by: a lot, an order, a drum.
        from_on: day it comes; None where it is there already.
        until_on: last day on which it can be used; None where there is none.
        key: of the drum, where it is room in one that is here.
    """

    name: str
    amount: float
    from_on: date | None = None
    until_on: date | None = None
    key: str = ""


@dataclass(frozen=True)
class Allotment:
    """What a swap gets.

    Attributes:
        parcels: the parts it gets of each parcel.
        missing: what nothing is left for.
        ready_on: day the last part comes; None where all parts are there.
    """

    parcels: tuple[Parcel, ...]
    missing: float

    @property
    def there(self) -> float:
        """What it gets, now or later."""
        return sum(parcel.amount for parcel in self.parcels)

    @property
    def ready_on(self) -> date | None:
        return max((p.from_on for p in self.parcels if p.from_on is not None), default=None)


def allot(
    parcels: Iterable[Parcel],
    wanted: Sequence[tuple[float, date | None]],
    chosen: Sequence[str] = (),
    *,
    is_best_whole: bool = False,
) -> list[Allotment]:
    """What each in turn gets of the parcels.

    `wanted` holds an amount and its day for each, in the order of the queue. Each takes what is
    there before what comes later, and of that what spoils first, and nothing that will be spoiled
    on its day. Who comes earlier in the queue never gets less because of who comes later.

    Args:
        chosen: key of the parcel that each has chosen by hand, taken first; empty for none.
        is_best_whole: what is there and holds all of an amount comes before what shares it.
    """
    left = sorted(parcels, key=lambda p: (p.from_on or date.min, p.until_on or date.max))
    found = []
    for turn, (amount, day) in enumerate(wanted):
        taken, missing = [], max(0.0, amount)
        pick = chosen[turn] if chosen else ""
        usable = [n for n, parcel in enumerate(left) if not _is_spoiled(parcel, day)]
        if is_best_whole:
            usable.sort(key=lambda n: not _holds(left[n], amount))
        if pick:
            usable.sort(key=lambda n: left[n].key != pick)
        for place in usable:
            parcel = left[place]
            part = min(missing, parcel.amount)
            if part > TINY:
                taken.append(replace(parcel, amount=part))
                left[place] = replace(parcel, amount=parcel.amount - part)
                missing -= part
        found.append(Allotment(tuple(taken), missing if missing > TINY else 0.0))
    return found


def _is_spoiled(parcel: Parcel, day: date | None) -> bool:
    return parcel.until_on is not None and day is not None and parcel.until_on < day


def _holds(parcel: Parcel, amount: float) -> bool:
    """It is there, and takes all of an amount."""
    return parcel.from_on is None and parcel.amount + TINY >= amount
