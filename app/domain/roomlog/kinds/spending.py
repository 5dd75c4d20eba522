"""Prices, budgets and rates behind what a week costs; cases of what would cost less.

Amounts are in the smallest unit of the room's one currency (`_cents`), without tax.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Page, Way
from app.domain.solvents import SOLVENTS

PRICES = "prices"
WHAT_IF = "what_if"
DEAREST_CENTS = 100_000_000_000
CURRENCY = re.compile(r"[A-Z]{3}")
LOCALE = re.compile(r"[a-z]{2,3}(_[A-Z]{2})?")
PURPOSES = ("solvent", "disposal", "consumables", "labour", "other")
CASE_NUMBERS: Mapping[str, tuple[float, float]] = {
    "limit_percent": (1, 40), "size_percent": (10, 1000), "container_l": (0.1, 2000),
    "container_price": (0, 1_000_000_000), "disposal_per_drum": (0, 1_000_000_000),
    "disposal_per_kg": (0, 100_000_000), "renew_percent": (5, 95), "recovery_percent": (1, 98),
    "recovery_per_l": (0, 10_000_000),
}  # fmt: skip
CASE_TITLES: Mapping[str, str] = {
    "limit_percent": "swap limit (mass %)", "size_percent": "bath size (% of now)",
    "container_l": "size of a container (L)", "container_price": "price of a container",
    "disposal_per_drum": "price of a drum's disposal",
    "disposal_per_kg": "price of a kilogram's disposal",
    "renew_percent": "share drained and topped up (% of the bath)",
    "recovery_percent": "share recovered by a still (%)",
    "recovery_per_l": "cost per recovered litre",
}  # fmt: skip
CASE_WORDS: Mapping[str, tuple[str, ...]] = {"baths": ("as_now", "single", "paired")}


def check_case(value: Any) -> dict[str, float | str]:
    """The changes of a case by name, prices in whole units of the currency.

    Raises:
        ValueError: an unknown name, or a value outside its range.
    """
    if not isinstance(value, Mapping):
        raise ValueError("A case is a list of changes by name.")
    kept: dict[str, float | str] = {}
    for name, given in value.items():
        if name == "solvent" and isinstance(given, str) and given in SOLVENTS:
            kept[name] = given
        elif name in CASE_WORDS and given in CASE_WORDS[name]:
            kept[name] = str(given)
        elif name in CASE_NUMBERS and isinstance(given, int | float) and given is not True:
            low, high = CASE_NUMBERS[name]
            if not low <= given <= high:
                raise ValueError(
                    f"The {CASE_TITLES[name]} must be between {low:g} and {high:,.0f}."
                )
            kept[name] = float(given)
        else:
            raise ValueError(f"“{str(name)[:40]}” cannot be “{str(given)[:40]}”.")
    return kept


@dataclass(frozen=True, kw_only=True)
class PriceList(LedgerEntry):
    """The room's rates and budget from then on; what is left out stays as it was."""

    kind: ClassVar[str] = "price_list"
    summary: ClassVar[str] = "Rates and budget changed"
    sentence: ClassVar[str] = "{by} changed the rates and budget[: {rest}]"
    reached: ClassVar[Way] = Page("/spend/prices")

    prices: str = spec("key", "Price list", required=True, thing=PRICES)
    currency: str | None = spec("text", "Currency", help="Its three letters, such as EUR or USD.")
    locale: str | None = spec("text", "Number format", help="Such as en_IE, de_DE or fr.")
    weekly_budget_cents: int | None = spec("money", "Weekly budget")
    labour_cents_per_hour: int | None = spec("money", "Labour, per hour")
    inspection_minutes: float | None = number("An inspection takes", "min", 0, 1440)
    solvent_cents_per_l: int | None = spec("money", "Solvent without its own price, per litre")
    disposal_cents_per_drum: int | None = spec("money", "Disposal, per drum")
    disposal_cents_per_kg: int | None = spec("money", "Disposal, per kg")
    reject_cents: int | None = spec("money", "A reject")

    def problems(self) -> list[FieldError]:
        """Prices are zero or more; a currency has three letters."""
        found = []
        for name, each in self.specs().items():
            if each.type == "money":
                found += amount_problems(name, getattr(self, name))
        if self.currency is not None and not CURRENCY.fullmatch(self.currency):
            found.append(FieldError("currency", "Enter its three capital letters, such as EUR."))
        if self.locale is not None and not LOCALE.fullmatch(self.locale):
            found.append(FieldError("locale", "Enter it as en_IE, de_DE or fr."))
        return found


@dataclass(frozen=True, kw_only=True)
class OtherCost(LedgerEntry):
    """Something was paid that no other entry covers."""

    kind: ClassVar[str] = "other_cost"
    summary: ClassVar[str] = "Other cost"
    sentence: ClassVar[str] = "{by} entered {cost_cents} for {what}[ at {tank}], {purpose}"
    reached: ClassVar[Way] = Page("/spend/prices")

    prices: str = spec("key", "Price list", required=True, thing=PRICES)
    cost_cents: int = spec("money", "Cost", required=True)
    purpose: str = spec("choice", "For", choices=PURPOSES, required=True)
    what: str = spec("text", "What", required=True)
    tank: str | None = spec("key", "Tank")

    def problems(self) -> list[FieldError]:
        """A cost is zero or more."""
        return amount_problems("cost_cents", self.cost_cents)


@dataclass(frozen=True, kw_only=True)
class WhatIfCase(LedgerEntry):
    """A case of what would cost less is kept under a name."""

    kind: ClassVar[str] = "what_if_case"
    summary: ClassVar[str] = "What-if case kept"
    sentence: ClassVar[str] = "{by} [is_removed!kept][is_removed?dropped] the what-if case {name}"
    reached: ClassVar[Way] = Page("/spend/what-if")

    what_if: str = spec("key", "Case", required=True, thing=WHAT_IF)
    name: str = spec("text", "Name", required=True)
    changes: Any = spec(
        "data", "Changes", required=True, check=check_case, example={"limit_percent": 12}
    )
    is_removed: bool | None = spec("flag", "No longer kept")


def amount_problems(name: str, cents: int | None) -> list[FieldError]:
    """An amount below zero, or beyond anything that is paid."""
    if cents is None or 0 <= cents < DEAREST_CENTS:
        return []
    return [FieldError(name, "An amount must be zero or more, and less than a thousand million.")]


KINDS_OF_SPENDING: tuple[type[LedgerEntry], ...] = (PriceList, OtherCost, WhatIfCase)
