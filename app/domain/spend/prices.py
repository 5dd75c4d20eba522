"""The room's rates as its entries leave them, and the cases that were kept."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PRICES, WHAT_IF, PriceList, WhatIfCase
from app.domain.things import Thing


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
