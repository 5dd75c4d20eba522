"""Every value of a set of rules does something: wipes, bounds of flash point, papers, reviews."""

from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.waste import WasteRules
from app.domain.roomlog.kinds.waste_data import check_marks
from app.domain.roomlog.lines import parse_entry
from app.domain.storage import BathThere, category_of, fire_area
from app.domain.things import fold
from app.domain.waste import counters
from app.domain.waste.rulebook import RULES_BOOK, Edit, Mark, RuleBook
from app.domain.waste.rules import RULE_SETS, RuleSet
from app.domain.waste.streams import STREAMS
from tests.domain.waste.book import after, at, drum, moved, pour

ROOT = Path(__file__).parents[3]
UTC = ZoneInfo("UTC")
EACH_SET = pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=lambda each: each.key)


@EACH_SET
def test_a_legal_value_has_its_section_its_words_and_its_day_of_review(rule_set: RuleSet) -> None:
    for rule in rule_set.rules:
        if rule.is_legal:
            assert len(rule.says) > 20, rule.key
            assert any(c.isdigit() for c in rule.source) or "GOV.UK" in rule.source, rule.key
            assert rule.looked_at_again_on > rule.as_of


def test_california_and_england_are_sets_of_their_own() -> None:
    """22 CCR 66262.15(a) and 66262.16(b) and (b)(1), read in print, and the state's page on the
    time of accumulation (DTSC, 2014) and on satellite accumulation; the rest second hand or from
    memory. The year of England: the regulations of 2010, schedule 25, part 3, paragraph 2, as made;
    its HP 3: the definition of WM3 in a reprint."""
    california, england = RULE_SETS["california"], RULE_SETS["england"]
    read = {rule.key: rule.value for rule in california.rules if rule.confidence == "read"}
    assert read == {
        "lqg_month_kg": 1000, "sqg_on_site_kg": 6000, "sqg_days": 180, "sqg_far_days": 270,
        "lqg_days": 90, "satellite_volume": 55, "check_days": 7, "container_volume": 119,
        "flash_c": 60, "keep_years": 3, "satellite_whole_days": 365,
    }  # fmt: skip
    assert not any(rule.key == "wipes_days" for rule in california.rules)
    kept = next(rule for rule in england.rules if rule.key == "keep_years")
    assert (kept.value, kept.confidence) == (3, "read")  # GOV.UK, producers and holders
    said = {rule.key: (rule.value, rule.confidence) for rule in england.rules}
    assert (said["storage_days"], said["flash_c"]) == ((365, "read"), (60, "read"))
    assert said["flammable_c"] == (60, "second hand")
    keys = [category.key for each in RULE_SETS.values() for category in each.categories]
    assert len(keys) == len(set(keys))


def test_a_passed_review_shows() -> None:
    book = RuleBook()
    first = min(rule.looked_at_again_on for rule in book.rules.values() if rule.is_legal)
    assert book.to_review(first - timedelta(days=1)) == ()
    due = book.to_review(first)
    assert "sqg_days" in {rule.key for rule in due}
    assert "headspace_percent" not in {rule.key for rule in due}
    edits = {"sqg_days": Edit(150, "Permit 7", first)}
    again = RuleBook(edits=edits)
    assert "sqg_days" not in {rule.key for rule in again.to_review(first)}
    assert "sqg_days" in {rule.key for rule in again.to_review(first + timedelta(days=365))}


def test_every_set_says_of_when_it_is_and_when_to_look_again() -> None:
    for each in RULE_SETS.values():
        looked_up = [rule for rule in each.rules if rule.is_looked_up]
        assert (each.as_of is None) == (not looked_up) == (each.review_on is None)
        if each.as_of is not None and each.review_on is not None:
            assert each.review_on == each.as_of + timedelta(days=365)
    own = RuleBook("own")
    assert own.as_of is None
    entered = RuleBook("own", "own", {"month_kg": Edit(90, "Permit", date(2026, 1, 1))})
    assert entered.as_of == date(2026, 1, 1)


def test_rules_that_somebody_looked_up_again_are_due_a_year_later() -> None:
    book, first = RuleBook(), date(2027, 11, 25)
    assert book.to_review(first)
    assert book.to_review(first, looked_on=first) == ()
    assert book.to_review(first + timedelta(days=364), looked_on=first) == ()
    assert book.to_review(first + timedelta(days=365), looked_on=first)


def test_in_california_a_drum_leaves_a_year_after_its_first_drop() -> None:
    """22 CCR 66262.15(a), formerly 66262.34(e)(1)(B), second hand: at the wash station as well;
    its days in the central area count besides, whichever end first."""
    book, federal = RuleBook("california", "ca_sqg"), RuleBook("us_federal", "sqg")
    there = after(drum(), pour(2.0))
    clock = counters.clock_of(there, counters.site_of([there], book), book, UTC, at(100))
    assert clock is not None
    assert (clock.cause, clock.rule, clock.days_left) == ("whole", "satellite_whole_days", 267)
    assert counters.clock_of(there, counters.site_of([there], federal), federal, UTC, at(9)) is None
    brought = after(drum(), pour(2.0), moved(300.0))
    clock = counters.clock_of(brought, counters.site_of([brought], book), book, UTC, at(301))
    assert clock is not None
    assert (clock.cause, clock.days_left) == ("whole", 66)
    soon = after(drum(), pour(2.0), moved(10.0))
    clock = counters.clock_of(soon, counters.site_of([soon], book), book, UTC, at(11))
    assert clock is not None
    assert (clock.cause, clock.days_left) == ("central", 179)
    uncounted = RuleBook("california", "ca_sqg", uncounted=("wipes",))
    bin_ = after(*wipes())  # type: ignore[arg-type]
    assert (
        counters.clock_of(bin_, counters.site_of([bin_], uncounted), uncounted, UTC, at(9)) is None
    )


def wipes(area: str = "wash_station") -> tuple[object, ...]:
    return drum(stream="wipes", area=area), pour(2, 5.0, mass_before_kg=0.0, mass_after_kg=2.0)


def test_excluded_wipes_have_their_own_label_and_clock() -> None:
    """40 CFR 261.4(b)(18): 180 days from the first, wherever the container stands."""
    excluded = RuleBook("us_federal", "sqg", uncounted=("wipes",))
    state = after(*wipes())  # type: ignore[arg-type]
    assert excluded.label_words("wipes") == "EXCLUDED SOLVENT-CONTAMINATED WIPES"
    assert excluded.label_words("isopropanol_resin") == "HAZARDOUS WASTE"
    site = counters.site_of([state], excluded)
    clock = counters.clock_of(state, site, excluded, UTC, at(100))
    assert clock is not None
    assert (clock.cause, clock.rule, clock.days_left) == ("wipes", "wipes_days", 180 - 98)


@pytest.mark.parametrize(
    "book",
    [RuleBook("us_federal", "sqg"), RuleBook("california", "ca_sqg", uncounted=("wipes",)),
     RuleBook("us_federal", "sqg", {"wipes_days": Edit(None, "State", date(2026, 1, 1))},
              uncounted=("wipes",))],
)  # fmt: skip
def test_wipes_that_no_rule_excludes_are_waste_like_any_other(book: RuleBook) -> None:
    state = after(*wipes("central"))  # type: ignore[arg-type]
    assert book.label_words("wipes") == "HAZARDOUS WASTE"
    clock = counters.clock_of(state, counters.site_of([state], book), book, UTC, at(100))
    assert clock is None or clock.cause == "central"


def test_the_bound_of_the_flash_point_decides_what_always_counts() -> None:
    """Dipropylene glycol methyl ether flashes at 74 C (IEC 60079-20-1)."""
    stream, uncounted = "glycol_ether_resin", ("glycol_ether_resin", "wipes", "acetone_resin")
    usual = RuleBook(uncounted=uncounted)
    assert [usual.counts(key) for key in uncounted] == [False, False, True]
    strict = {"flash_c": Edit(93, "State", date(2026, 1, 1))}
    assert RuleBook(edits=strict, uncounted=uncounted).counts(stream)
    assert not RuleBook(uncounted=uncounted, edits={**strict, "flash_c": Edit(None, "State",
                        date(2026, 1, 1))}).counts(stream)  # fmt: skip


def test_each_system_has_its_own_bound_of_flammable_liquids() -> None:
    """GHS and 29 CFR 1910.106(a)(19) count to 93 C in four categories, CLP to 60 C in three."""
    assert [RuleBook(key).flammable_to_c for key in RULE_SETS] == [93, 93, 60, 60, 93]
    assert (category_of(74.0, 190.0), category_of(74.0, 190.0, 60.0)) == (4, None)
    assert (category_of(60.0, 190.0, 60.0), category_of(12.0, 82.0, 60.0)) == (3, 2)
    bath = BathThere("t", "T", 40.0, "dipropylene_glycol_methyl_ether")
    assert fire_area([bath], [], [], None).total_l == 40.0
    assert fire_area([bath], [], [], None, 60.0).total_l == 0.0


def test_codes_and_names_are_kept_by_stream() -> None:
    marks = {"isopropanol_resin": {
        "codes": " D001 ", "un_number": "UN1993", "class_group": "3, PG II",
        "shipping_name": "Waste flammable liquids, n.o.s. (isopropanol)",
    }}  # fmt: skip
    entry = WasteRules(at=at(0), waste_rules="waste_rules", marks=check_marks(marks))
    book = fold(RULES_BOOK, "waste_rules", [entry])
    mark = book.marks["isopropanol_resin"]
    assert isinstance(mark, Mark)
    assert mark.codes == "D001"
    assert mark.shipping == "UN1993, Waste flammable liquids, n.o.s. (isopropanol), 3, PG II"
    assert not book.is_chosen  # codes choose no set of rules


@pytest.mark.parametrize(
    "marks", [[], {"paint": {"codes": "D001"}}, {"wipes": {"colour": "red"}},
              {"wipes": {"un_number": "1993"}}, {"wipes": {"codes": "D" * 200}}],
)  # fmt: skip
def test_codes_that_cannot_be_are_refused(marks: object) -> None:
    with pytest.raises(FieldErrors):
        parse_entry(
            {"kind": "waste_rules", "waste_rules": "waste_rules", "at": at(0), "marks": marks}
        )


@pytest.mark.parametrize("rule_set", ["europe", "england"])
def test_europe_calls_flammable_waste_by_its_own_name(rule_set: str) -> None:
    """HP 3, 2008/98/EC annex III: D001 is a number of the United States."""
    book = RuleBook(rule_set)
    said = {key: book.status(key) for key in STREAMS}
    assert not any("D001" in words or "CFR" in words for words in said.values())
    assert said["isopropanol_resin"] == "commonly HP 3 (liquid with a flash point below 60 °C)"
    assert said["glycol_ether_resin"].startswith("not HP 3 by its flash point")
    assert said["glycol_ether_with_alcohol"].startswith("may be HP 3: needs a flash test")
    assert said["own_with_alcohol"].startswith("may be HP 3")
    assert (
        said["wipes"]
        == said["still_bottoms"]
        == ("treated as HP 3 while wet with a flammable solvent")
    )
    assert said["uncured_resin"] == "the data sheet and the contractor's profile decide"
    assert said["unknown"] == STREAMS["unknown"].status
    assert book.status("own:Bare:0.9:20::190::::").startswith("commonly HP 3")
    own = RuleBook(rule_set, edits={"flash_c": Edit(None, "Permit 7", at(0).date())})
    assert own.status("isopropanol_resin") == said["uncured_resin"]


@pytest.mark.parametrize("rule_set", ["us_federal", "california", "own"])
def test_elsewhere_a_stream_is_called_what_it_commonly_is(rule_set: str) -> None:
    assert {key: RuleBook(rule_set).status(key) for key in STREAMS} == {
        key: stream.status for key, stream in STREAMS.items()
    }
