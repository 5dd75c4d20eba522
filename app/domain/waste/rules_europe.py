"""Waste rules of Europe: of the union in general, and of England."""

from datetime import date

from app.domain.waste.rule_model import CUSTOM, PRACTICE, Category, Rule, RuleSet, practice

SEEN, READ = date(2026, 11, 29), date(2026, 11, 30)

ADR = "ADR 4.1.1.4(b) (2013, in French)"
FILLING = (
    Rule("full_at_c", "Filling degree is for", 50, "C", ADR, "read", SEEN,
         says="The filling degree is worked out for this temperature.",
         note="Nor may it be full at 55 °C, which asks for less."),
    Rule("full_percent", "Full is", 98, "%", ADR, "read", SEEN,
         says="How full a packaging may be at that temperature.",
         note="98 / (1 + α (50 − t)) percent at t °C. Some goods have stricter rules."),
)  # fmt: skip
"""How full a packaging may be on the road; the same in the union and in England."""

EUROPE = RuleSet(
    key="europe",
    name="European Union, general (national law decides)",
    label_words="HAZARDOUS WASTE",
    flammable_code="HP 3",
    note="There are no monthly categories. National law and the site's permit set limits. "
    "Enter them here as the site's own.",
    categories=(
        Category(
            "producer", "Producer of hazardous waste", month_rule="month_kg",
            on_site_rule="on_site_kg", clock_rule="storage_days",
        ),
    ),
    rules=(
        Rule("month_kg", "Most in a calendar month", None, "kg", "the site's permit", CUSTOM),
        Rule("on_site_kg", "Most on site", None, "kg", "the site's permit", CUSTOM),
        Rule("storage_days", "Longest stored before disposal", 365, "day",
             "1999/31/EC art. 2(g) (in a reprint of the definition)", "read", READ,
             note="Longer before recovery; often less.",
             says="Waste that stands longer than this before disposal makes the place a landfill."),
        Rule("check_days", "Check the drums at least every", 7, "day", PRACTICE, CUSTOM),
        Rule("copy_days", "Signed copy missing after", 60, "day", PRACTICE, CUSTOM),
        Rule("keep_years", "Keep records", 3, "year", "2008/98/EC art. 35(2)", "read",
             says="The producer keeps records of hazardous waste for at least this many years."),
        Rule("flash_c", "Flammable (HP 3): flash point below", 60, "C",
             "2008/98/EC annex III, HP 3; European Chemicals Agency", "read", SEEN,
             says="A liquid that flashes below this is hazardous waste as flammable, HP 3."),
        Rule("flammable_c", "Flammable liquid: flash point up to", 60, "C",
             "Regulation (EC) 1272/2008, annex I, 2.6 (1 September 2025)", "read", SEEN,
             says="Liquids that flash at or below this are flammable, in three categories (CLP)."),
        *FILLING,
        *practice(),
    ),
)  # fmt: skip

ENGLAND = RuleSet(
    key="england",
    name="England (Hazardous Waste Regulations 2005)",
    label_words="HAZARDOUS WASTE",
    flammable_code="HP 3",
    note="There are no monthly categories, and premises have not been registered since April 2016. "
    "The site's permit or exemption sets its limits. Enter them here as the site's own.",
    categories=(
        Category(
            "en_producer", "Producer of hazardous waste in England", month_rule="month_kg",
            on_site_rule="on_site_kg", clock_rule="storage_days",
        ),
    ),
    rules=(
        Rule("month_kg", "Most in a calendar month", None, "kg", "the site's permit", CUSTOM),
        Rule("on_site_kg", "Most on site", None, "kg", "the site's permit", CUSTOM),
        Rule("storage_days", "Longest stored where it was produced", 365, "day",
             "Environmental Permitting (England and Wales) Regulations 2016; read as those of "
             "2010, schedule 25, part 3, paragraph 2, which they took over",
             "read", READ, says="Without a permit waste is kept where it was produced for "
             "no longer than twelve months."),
        Rule("check_days", "Check the drums at least every", 7, "day", PRACTICE, CUSTOM),
        Rule("copy_days", "Consignee return missing after", 60, "day", PRACTICE, CUSTOM),
        Rule("keep_years", "Keep consignment notes", 3, "year",
             "GOV.UK, hazardous waste: producers and holders", "read", SEEN,
             says="A producer keeps notes and returns as a register for three years."),
        Rule("flash_c", "Flammable (HP 3): flash point below", 60, "C",
             "Technical guidance WM3, appendix C, HP 3 (in a reprint of the definition)", "read",
             READ,
             says="A liquid that flashes below this is hazardous waste as flammable, HP 3."),
        Rule("flammable_c", "Flammable liquid: flash point up to", 60, "C",
             "GB CLP, annex I, 2.6; read in the Union's, which it keeps", "second hand", SEEN,
             says="Liquids that flash at or below this are classified as flammable."),
        *FILLING,
        *practice(),
    ),
)  # fmt: skip
