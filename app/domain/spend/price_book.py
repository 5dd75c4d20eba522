"""The room's price book as its entries leave it, and what else every cost line rests on.

Beside the rates that is what the shelf keeps, what each tank holds when, and what a swap usually
takes; and the what-if cases that were kept.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from app.domain.money import digits_of
from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList, WhatIfCase
from app.domain.site import SITE_BOOK, SiteState
from app.domain.things import Thing, in_force

Step = tuple[datetime, Any]
BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
Steps = tuple[tuple[datetime, str], ...]
"""From when on a tank held which solvent."""
Minutes = tuple[tuple[datetime, float], ...]
"""From when on a swap usually took how long."""


@dataclass(frozen=True)
class Rates:
    """Rates in force from `since_at` on; None where the room has said nothing, or zero: none."""

    since_at: datetime
    weekly_budget_cents: int | None = None
    labour_cents_per_hour: int | None = None
    inspection_minutes: float | None = None
    solvent_cents_per_l: int | None = None
    disposal_cents_per_drum: int | None = None
    disposal_cents_per_kg: int | None = None
    reject_cents: int | None = None


NAMES = tuple(name for name in Rates.__dataclass_fields__ if name != "since_at")


@dataclass(frozen=True)
class PricesState:
    """The rates, the oldest first.

    Attributes:
        currency: the one that came first: amounts are never mixed. `refused` is what came later.
    """

    currency: str = ""
    locale: str = ""
    refused: str = ""
    steps: tuple[Rates, ...] = ()

    def at(self, moment: datetime) -> Rates:
        """The rates in force at an instant; before the first of them, the first."""
        found = self.steps[0] if self.steps else Rates(moment)
        for step in self.steps:
            if step.since_at <= moment:
                found = step
        return found

    @property
    def latest(self) -> Rates | None:
        """The rates in force now."""
        return self.steps[-1] if self.steps else None


def _after(state: PricesState, entry: Entry) -> PricesState:
    if not isinstance(entry, PriceList):
        return state
    if entry.currency and state.currency and entry.currency != state.currency:
        return replace(state, refused=entry.currency)  # its amounts are of the other currency
    before = state.latest or Rates(entry.at)
    given = {name: value or None for name in NAMES if (value := getattr(entry, name)) is not None}
    step = replace(before, since_at=entry.at, **given)
    return PricesState(
        state.currency or entry.currency or "", entry.locale or state.locale, state.refused,
        (*state.steps, step),
    )  # fmt: skip


@dataclass(frozen=True)
class CaseState:
    """A kept case of what would cost less."""

    key: str
    name: str = ""
    changes: Mapping[str, Any] = field(default_factory=dict)
    is_removed: bool = False
    by: str = ""
    at: datetime | None = None


def _case_after(state: CaseState, entry: Entry) -> CaseState:
    if not isinstance(entry, WhatIfCase):
        return state
    return CaseState(
        state.key, entry.name, dict(entry.changes), bool(entry.is_removed), entry.by, entry.at
    )


PRICES_BOOK = Thing(PRICES, PricesState, lambda _: PricesState(), _after, version=2)
CASE_BOOK = Thing(WHAT_IF, CaseState, CaseState, _case_after, lambda state: not state.is_removed)


@dataclass(frozen=True)
class Basis:
    """What lines of a room rest on beside their own entries.

    Attributes:
        swap_minutes: what a swap usually takes, as the site said it, the oldest first.
        on_shelf: solvents that the shelf keeps an item of, and from when on.
        tanks: the solvent of each tank as it changed, the oldest first.
    """

    prices: PricesState = field(default_factory=PricesState)
    swap_minutes: Minutes = ()
    on_shelf: Mapping[str, datetime] = field(default_factory=dict)
    tanks: Mapping[str, Steps] = field(default_factory=dict)

    def swap_minutes_at(self, moment: datetime) -> float:
        """What a swap usually took at an instant; before the site first said so, that."""
        found = in_force(self.swap_minutes, moment)
        return SiteState().swap_minutes if found is None else found

    def solvents_at(self, moment: datetime) -> "SolventsAt":
        """The solvent of each tank at an instant."""
        return SolventsAt(self.tanks, moment)


class SolventsAt(Mapping[str, str]):
    """What each tank held at an instant; before the first that is known of it, that."""

    def __init__(self, tanks: Mapping[str, Steps], moment: datetime) -> None:
        self._tanks, self._moment = tanks, moment

    def __getitem__(self, tank: str) -> str:
        return in_force(self._tanks[tank], self._moment) or ""

    def __iter__(self) -> Iterator[str]:
        return iter(self._tanks)

    def __len__(self) -> int:
        return len(self._tanks)


def solvent_steps(entries: Iterable[Entry]) -> Steps:
    """The solvents of one tank from its set-ups and swaps, given in the order of truth."""
    steps: list[tuple[datetime, str]] = []
    for entry in entries:
        solvent = entry.solvent if isinstance(entry, Tank | Swap) else None
        if solvent and (not steps or steps[-1][1] != solvent):
            steps.append((entry.at, solvent))
    return tuple(steps)


def swap_minutes(entries: Iterable[Entry]) -> Minutes:
    """What a swap usually takes, from the site's settings given in the order of truth."""
    steps: list[tuple[datetime, float]] = []
    state = SiteState()
    for entry in entries:
        state = SITE_BOOK.apply(state, entry)
        is_said = isinstance(entry, SiteRules) and (
            entry.swap_minutes is not None
            or "swap_minutes" in map(str.strip, (entry.unset or "").split(","))
        )
        if is_said and (not steps or steps[-1][1] != state.swap_minutes):
            steps.append((entry.at, state.swap_minutes))
    return tuple(steps)


def first_change(before: Basis, after: Basis) -> datetime | None:
    """From when on lines that rest on `before` are no longer right; None where all are."""
    both = before.tanks.keys() & after.tanks.keys()
    shelf = before.on_shelf.items() ^ after.on_shelf.items()
    changes = [
        _of_prices(before.prices, after.prices),
        _of_steps(before.swap_minutes, after.swap_minutes),
        *(_of_steps(before.tanks[tank], after.tanks[tank]) for tank in both),
        min((since for _, since in shelf), default=None),
    ]
    return min((change for change in changes if change is not None), default=None)


def _of_steps(before: Sequence[Step], after: Sequence[Step]) -> datetime | None:
    if before == after:
        return None
    if not before or not after or before[0] != after[0]:
        return BEGIN
    alike = next(
        (n for n, pair in enumerate(zip(before, after, strict=False)) if pair[0] != pair[1]),
        min(len(before), len(after)),
    )
    return min(steps[alike][0] for steps in (before, after) if len(steps) > alike)


def _of_prices(before: PricesState, after: PricesState) -> datetime | None:
    if digits_of(before.currency) != digits_of(after.currency):
        return BEGIN  # what lines say of prices is written in other digits
    if before.steps == after.steps:
        return None
    moments = sorted({step.since_at for state in (before, after) for step in state.steps})
    for moment in [BEGIN, *moments]:
        if _values(before.at(moment)) != _values(after.at(moment)):
            return moment
    return None


def _values(rates: Rates) -> tuple[object, ...]:
    return tuple(getattr(rates, name) for name in NAMES)
