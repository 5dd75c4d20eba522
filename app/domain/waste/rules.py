"""Sets of waste rules as data: each value with its unit, its source, how sure it is, its day.

Nothing here is legal advice. States and countries are often stricter; a site chooses a set, enters
what its authority and its contractor say, and those decide. A new set is one entry in `RULE_SETS`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
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


@dataclass(frozen=True)
class Rule:
    """A value that a rule names; None where the site has to enter one.

    Attributes:
        unit: kg, day, L, US gal, C, %, year or mile.
        as_of: when the value was looked up.
    """

    key: str
    label: str
    value: float | None
    unit: str
    source: str
    confidence: Confidence
    as_of: date = AS_OF
    note: str = ""


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
    """A set of rules: its categories from the smallest to the largest, and its values."""

    key: str
    name: str
    label_words: str
    categories: tuple[Category, ...]
    rules: tuple[Rule, ...]
    note: str = ""

    def category(self, key: str) -> Category:
        """The category of that key; the first where there is none."""
        return next((each for each in self.categories if each.key == key), self.categories[0])


CUSTOM: Confidence = "common practice"
PRACTICE = "common practice, no published source"


def _practice(headspace: float = 10.0) -> tuple[Rule, ...]:
    """What every set holds: how the work is done where no rule says it."""
    return (
        Rule("headspace_percent", "Space left in a new drum", headspace, "%", PRACTICE, CUSTOM,
             note="For expansion; what the rules ask for is less, see the temperature below."),
        Rule("warn_days", "Warn before a day that counts", 14.0, "day", PRACTICE, CUSTOM),
        Rule("warn_percent", "Warn at this share of a limit", 80.0, "%", PRACTICE, CUSTOM),
    )  # fmt: skip


US_FEDERAL = RuleSet(
    key="us_federal",
    name="United States, federal (40 CFR 262)",
    label_words="HAZARDOUS WASTE",
    note="States may be stricter and use other names. Acute waste is not counted here.",
    categories=(
        Category(
            "vsqg", "Very small quantity generator", month_rule="vsqg_month_kg",
            on_site_rule="vsqg_on_site_kg", over_clock_rule="sqg_days",
        ),
        Category(
            "sqg", "Small quantity generator", month_rule="lqg_month_kg",
            month_is_inclusive=False, on_site_rule="sqg_on_site_kg", clock_rule="sqg_days",
            has_satellites=True,
        ),
        Category(
            "sqg_far", "Small quantity generator that ships far", month_rule="lqg_month_kg",
            month_is_inclusive=False, on_site_rule="sqg_on_site_kg", clock_rule="sqg_far_days",
            has_satellites=True,
        ),
        Category(
            "lqg", "Large quantity generator", clock_rule="lqg_days", has_satellites=True,
            copy_rule="lqg_copy_days",
        ),
    ),
    rules=(
        Rule("vsqg_month_kg", "In a calendar month at most: very small", 100, "kg",
             "40 CFR 260.10, 262.13; EPA, categories of hazardous waste generators", "read"),
        Rule("lqg_month_kg", "In a calendar month from here on: large", 1000, "kg",
             "40 CFR 260.10, 262.13; EPA, categories of hazardous waste generators", "read"),
        Rule("vsqg_on_site_kg", "On site at most: very small", 1000, "kg",
             "40 CFR 262.14(a); EPA, categories of hazardous waste generators", "read"),
        Rule("sqg_on_site_kg", "On site at most: small", 6000, "kg", "40 CFR 262.16(b)(1)", "read"),
        Rule("sqg_days", "In the central area at most: small", 180, "day", "40 CFR 262.16(b)",
             "read", note="Also from the day on which a very small one passes its mass on site."),
        Rule("sqg_far_days", "The same where it is shipped far", 270, "day", "40 CFR 262.16(c); "
             "EPA, categories of hazardous waste generators", "read"),
        Rule("far_miles", "Far is more than", 200, "mile",
             "EPA, categories of hazardous waste generators", "read"),
        Rule("lqg_days", "In the central area at most: large", 90, "day", "40 CFR 262.17(a)",
             "second hand"),
        Rule("satellite_volume", "At the wash stations of one area at most", 55, "US gal",
             "40 CFR 262.15(a)", "read", note="For the area, not for each drum."),
        Rule("satellite_days", "Consecutive calendar days to move what is more", 3, "day",
             "40 CFR 262.15(a)(6); EPA RCRA Online 14703", "read",
             note="Counted by the calendar day after the one on which the volume was passed."),
        Rule("check_days", "Look at the central area at least every", 7, "day",
             "40 CFR 262.16(b)(2)(iv), 262.17(a)(1)(v)", "second hand",
             note="Not asked of very small ones; good practice. Wash stations: common practice."),
        Rule("copy_days", "Signed copy missing after", 60, "day", "40 CFR 262.42(b)",
             "second hand", note="Not asked of very small ones; good practice."),
        Rule("lqg_copy_days", "Signed copy missing after: large, ask", 45, "day",
             "40 CFR 262.42(a)", "second hand", note="Report at 60 days; changed in 2025."),
        Rule("keep_years", "Keep shipping documents", 3, "year", "40 CFR 262.40(a)", "read"),
        Rule("flash_c", "Ignitable: liquid with a flash point below", 60, "C",
             "40 CFR 261.21(a)(1)", "read"),
        Rule("wipes_days", "Excluded wipes at most", 180, "day", "40 CFR 261.4(b)(18)", "read"),
        Rule("full_at_c", "Not full at this temperature", 55, "C", "49 CFR 173.24a(d)",
             "second hand"),
        Rule("full_percent", "Full is", 100, "%", "49 CFR 173.24a(d)", "second hand"),
        Rule("container_volume", "Non-bulk container at most", 119, "US gal", "49 CFR 171.8",
             "second hand"),
        *_practice(),
    ),
)  # fmt: skip

EUROPE = RuleSet(
    key="europe",
    name="European Union, general (national law decides)",
    label_words="HAZARDOUS WASTE",
    note="There are no categories by month; national law and the permit of the site set limits, "
    "which are entered here as the site's own.",
    categories=(
        Category(
            "producer", "Producer of hazardous waste", month_rule="month_kg",
            on_site_rule="on_site_kg", clock_rule="storage_days",
        ),
    ),
    rules=(
        Rule("month_kg", "In a calendar month at most", None, "kg", "the site's permit", CUSTOM),
        Rule("on_site_kg", "On site at most", None, "kg", "the site's permit", CUSTOM),
        Rule("storage_days", "Stored before disposal at most", 365, "day",
             "1999/31/EC art. 2(g)", "from memory", note="Longer before recovery; often less."),
        Rule("check_days", "Look at the drums at least every", 7, "day", PRACTICE, CUSTOM),
        Rule("copy_days", "Signed copy missing after", 60, "day", PRACTICE, CUSTOM),
        Rule("keep_years", "Keep records", 3, "year", "2008/98/EC art. 35", "from memory"),
        Rule("flash_c", "Flammable (HP 3): flash point below", 60, "C",
             "2008/98/EC annex III, HP 3", "from memory"),
        Rule("full_at_c", "Filling degree holds for this temperature", 50, "C", "ADR 4.1.1.4",
             "from memory"),
        Rule("full_percent", "Full is", 98, "%", "ADR 4.1.1.4", "from memory"),
        *_practice(),
    ),
)  # fmt: skip

OWN = RuleSet(
    key="own",
    name="Rules of the site's own",
    label_words="HAZARDOUS WASTE",
    note="Enter what your authority and your contractor say; what is left empty is not watched.",
    categories=(
        Category(
            "own", "As entered", month_rule="month_kg", on_site_rule="on_site_kg",
            clock_rule="storage_days", has_satellites=True,
        ),
    ),
    rules=(
        Rule("month_kg", "In a calendar month at most", None, "kg", "to be entered", CUSTOM),
        Rule("on_site_kg", "On site at most", None, "kg", "to be entered", CUSTOM),
        Rule("storage_days", "In the central area at most", None, "day", "to be entered", CUSTOM),
        Rule("satellite_volume", "At the wash stations of one area at most", None, "L",
             "to be entered", CUSTOM),
        Rule("satellite_days", "Consecutive calendar days to move what is more", None, "day",
             "to be entered", CUSTOM),
        Rule("check_days", "Look at the drums at least every", 7, "day", PRACTICE, CUSTOM),
        Rule("copy_days", "Signed copy missing after", None, "day", "to be entered", CUSTOM),
        Rule("keep_years", "Keep records", None, "year", "to be entered", CUSTOM),
        Rule("full_at_c", "Not full at this temperature", None, "C", "to be entered", CUSTOM),
        Rule("full_percent", "Full is", 100, "%", PRACTICE, CUSTOM),
        *_practice(),
    ),
)  # fmt: skip

RULE_SETS: Mapping[str, RuleSet] = {each.key: each for each in (US_FEDERAL, EUROPE, OWN)}
