"""What a rule of waste is: its value with unit, section, own words, how it was read, its days."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

Confidence = Literal["read", "second hand", "from memory", "common practice", "the site's own"]
CONFIDENCE_WORDS: Mapping[Confidence, str] = {
    "read": "read in the regulation or on its agency's page",
    "second hand": "read in a summary by others",
    "from memory": "not looked up: check it before you rely on it",
    "common practice": "a custom without a published source",
    "the site's own": "entered here",
}
AS_OF = date(2026, 11, 25)
REVIEW_AFTER_DAYS = 365  # common practice, no source


@dataclass(frozen=True)
class Rule:
    """A value that a rule names; None where the site has to enter one.

    Attributes:
        unit: kg, day, L, US gal, C, %, year or mile.
        as_of: when the value was looked up.
        says: what the section asks, in our own words.
        review_on: when somebody should look it up again; without a day, a year after `as_of`.
    """

    key: str
    label: str
    value: float | None
    unit: str
    source: str
    confidence: Confidence
    as_of: date = AS_OF
    note: str = ""
    says: str = ""
    review_on: date | None = None

    @property
    def is_legal(self) -> bool:
        """It stands in a law or a regulation, not in what is customary."""
        return self.confidence in ("read", "second hand", "from memory")

    @property
    def is_looked_up(self) -> bool:
        """It has a value and a section to look up. What is customary has none."""
        return self.value is not None and self.confidence != "common practice"

    @property
    def looked_at_again_on(self) -> date:
        """The day on which it should be looked up again."""
        return self.review_on or self.as_of + timedelta(days=REVIEW_AFTER_DAYS)

    def is_review_due(self, today: date, looked_on: date | None = None) -> bool:
        """That day has come; `looked_on` is when somebody last looked all of them up again."""
        again_on = self.looked_at_again_on
        if looked_on is not None and looked_on > self.as_of:
            again_on = max(again_on, looked_on + timedelta(days=REVIEW_AFTER_DAYS))
        return self.is_looked_up and again_on <= today


@dataclass(frozen=True)
class Category:
    """A category of generator: which rules bind a site of it.

    Attributes:
        month_rule: rule of the mass in a calendar month that ends the category; empty for none.
        month_is_inclusive: that mass itself still belongs to the category.
        on_site_rule: rule of the mass on site; empty for none.
        clock_rule: days that a drum may stand in the central area; empty for none.
        over_clock_rule: days from the moment at which the mass on site is passed, where the
            category has no other clock.
        has_satellites: the limit for the areas at the process binds it.
        copy_rule: days after which a signed copy is missing.
    """

    key: str
    name: str
    month_rule: str = ""
    month_is_inclusive: bool = True
    on_site_rule: str = ""
    clock_rule: str = ""
    over_clock_rule: str = ""
    has_satellites: bool = False
    copy_rule: str = "copy_days"


@dataclass(frozen=True)
class RuleSet:
    """A set of rules: its categories from the smallest to the largest, and its values.

    Attributes:
        flammable_code: what waste that flashes below the bound is called where it is not D001.
        wipes_words: the label of wipes that the site excludes; empty where no rule excludes them.
    """

    key: str
    name: str
    label_words: str
    categories: tuple[Category, ...]
    rules: tuple[Rule, ...]
    note: str = ""
    wipes_words: str = ""
    flammable_code: str = ""

    @property
    def as_of(self) -> date | None:
        """When the oldest of its values was looked up; None where it holds none to look up."""
        return oldest(self.rules)

    @property
    def review_on(self) -> date | None:
        """The first day on which one of them should be looked up again; None likewise."""
        days = (rule.looked_at_again_on for rule in self.rules if rule.is_looked_up)
        return min(days, default=None)

    def category(self, key: str) -> Category:
        """The category of that key; the first where there is none."""
        return next((each for each in self.categories if each.key == key), self.categories[0])


def oldest(rules: Iterable[Rule]) -> date | None:
    """When the oldest of some values was looked up; None where none is to be looked up."""
    return min((rule.as_of for rule in rules if rule.is_looked_up), default=None)


CUSTOM: Confidence = "common practice"
PRACTICE = "common practice, no published source"


def practice(headspace: float = 10.0) -> tuple[Rule, ...]:
    """What every set holds: how the work is done where no rule says it."""
    return (
        Rule("headspace_percent", "Space left in a new drum", headspace, "%", PRACTICE, CUSTOM,
             note="For expansion. The rules ask for less; see the temperature below."),
        Rule("warn_days", "Warn before a date that counts", 14.0, "day", PRACTICE, CUSTOM),
        Rule("warn_percent", "Warn at this share of a limit", 80.0, "%", PRACTICE, CUSTOM),
    )  # fmt: skip
