"""Sets of waste rules as data: each value with its unit, its source, how sure it is, its days.

Nothing here is legal advice. States and countries are often stricter; a site chooses a set, enters
what its authority and its contractor say, and those decide. A new set is one entry in `RULE_SETS`.
"""

from collections.abc import Mapping

from app.domain.waste.rule_model import (
    AS_OF,
    CONFIDENCE_WORDS,
    CUSTOM,
    PRACTICE,
    Category,
    Rule,
    RuleSet,
    practice,
)
from app.domain.waste.rules_europe import ENGLAND, EUROPE
from app.domain.waste.rules_us import CALIFORNIA, US_FEDERAL

__all__ = [
    "AS_OF",
    "CONFIDENCE_WORDS",
    "RULE_SETS",
    "US_FEDERAL",
    "Category",
    "Rule",
    "RuleSet",
    "practice",
]

OWN = RuleSet(
    key="own",
    name="The site's own rules",
    label_words="HAZARDOUS WASTE",
    note="Enter what your authority and your contractor say. Empty values are not watched.",
    categories=(
        Category(
            "own", "As entered", month_rule="month_kg", on_site_rule="on_site_kg",
            clock_rule="storage_days", has_satellites=True,
        ),
    ),
    rules=(
        Rule("month_kg", "Most in a calendar month", None, "kg", "to be entered", CUSTOM),
        Rule("on_site_kg", "Most on site", None, "kg", "to be entered", CUSTOM),
        Rule("storage_days", "Longest in the central area", None, "day", "to be entered", CUSTOM),
        Rule("satellite_volume", "Most at the wash stations of one area", None, "L",
             "to be entered", CUSTOM),
        Rule("satellite_days", "Consecutive calendar days to move the excess", None, "day",
             "to be entered", CUSTOM),
        Rule("check_days", "Check the drums at least every", 7, "day", PRACTICE, CUSTOM),
        Rule("copy_days", "Signed copy missing after", None, "day", "to be entered", CUSTOM),
        Rule("keep_years", "Keep records", None, "year", "to be entered", CUSTOM),
        Rule("flash_c", "Ignitable: liquid with a flash point below", 60, "C", PRACTICE, CUSTOM),
        Rule("flammable_c", "Flammable liquid: flash point up to", 93, "C", PRACTICE, CUSTOM,
             note="GHS counts to 93 °C, CLP to 60 °C."),
        Rule("full_at_c", "Must not be full at", None, "C", "to be entered", CUSTOM),
        Rule("full_percent", "Full is", 100, "%", PRACTICE, CUSTOM),
        *practice(),
    ),
)  # fmt: skip

RULE_SETS: Mapping[str, RuleSet] = {
    each.key: each for each in (US_FEDERAL, CALIFORNIA, EUROPE, ENGLAND, OWN)
}
