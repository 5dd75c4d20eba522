"""Rules and streams as data: complete, sourced, and the numbers of the regulation."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.waste import WasteRules
from app.domain.roomlog.kinds.waste_data import STREAMS as WORDS
from app.domain.roomlog.lines import parse_entry
from app.domain.solvents import SOLVENTS
from app.domain.things import fold
from app.domain.waste import counters
from app.domain.waste.rulebook import RULES_BOOK, Edit, RuleBook
from app.domain.waste.rules import CONFIDENCE_WORDS, RULE_SETS, US_FEDERAL, RuleSet
from app.domain.waste.streams import STREAMS, fits_bath, stream_of_bath, why_apart
from tests.domain.waste.book import after, at, drum, pour

EACH_SET = pytest.mark.parametrize("rule_set", RULE_SETS.values(), ids=lambda each: each.key)


@EACH_SET
def test_every_value_says_where_it_comes_from_and_how_sure_it_is(rule_set: RuleSet) -> None:
    for rule in rule_set.rules:
        assert rule.source, rule.key
        assert rule.label, rule.key
        assert rule.confidence in CONFIDENCE_WORDS, rule.key
        assert date(2020, 1, 1) < rule.as_of, rule.key


@EACH_SET
def test_categories_name_rules_that_the_set_has(rule_set: RuleSet) -> None:
    known = {rule.key for rule in rule_set.rules}
    assert len(known) == len(rule_set.rules)
    for each in rule_set.categories:
        named = {each.month_rule, each.on_site_rule, each.clock_rule, each.over_clock_rule,
                 each.copy_rule} - {""}  # fmt: skip
        assert named <= known, each.key
        if each.has_satellites:
            assert {"satellite_volume", "satellite_days"} <= known


@pytest.mark.parametrize(
    "key, value, section",
    [
        ("vsqg_month_kg", 100, "260.10"),
        ("lqg_month_kg", 1000, "260.10"),
        ("vsqg_on_site_kg", 1000, "262.14"),
        ("sqg_on_site_kg", 6000, "262.16(b)(1)"),
        ("sqg_days", 180, "262.16(b)"),
        ("sqg_far_days", 270, "262.16(c)"),
        ("lqg_days", 90, "262.17(a)"),
        ("satellite_volume", 55, "262.15(a)"),
        ("satellite_days", 3, "262.15(a)(6)"),
        ("check_days", 7, "262.16(b)(2)(iv)"),
        ("copy_days", 60, "262.42(b)"),
        ("keep_years", 3, "262.40(a)"),
        ("flash_c", 60, "261.21(a)(1)"),
        ("wipes_days", 180, "261.4(b)(18)"),
        ("full_at_c", 55, "173.24a(d)"),
    ],
)
def test_the_federal_values_are_those_of_their_section(
    key: str, value: float, section: str
) -> None:
    """40 CFR 260 to 262 and 49 CFR 173, as the sections are named beside each value."""
    rule = RuleBook().rules[key]
    assert rule.value == value
    assert section in rule.source


def test_values_of_europe_say_how_they_were_read() -> None:
    """HP 3 on the page of the European Chemicals Agency, CLP as consolidated on 1 September 2025,
    ADR 4.1.1.4 as the Belgian agency prints it; three years of records, directive
    2008/98/EC article 35(2); a year of storage, 1999/31/EC article 2(g), in a reprint of it."""
    legal = [rule for rule in RULE_SETS["europe"].rules if rule.is_legal]
    assert {rule.key: rule.confidence for rule in legal} == {
        "storage_days": "read", "keep_years": "read", "flash_c": "read",
        "flammable_c": "read", "full_at_c": "read", "full_percent": "read",
    }  # fmt: skip


def test_a_set_without_values_watches_nothing_until_they_are_entered() -> None:
    empty = RuleBook("own", "own")
    state = after(drum(area="central"), pour(1, 50.0))
    site = counters.site_of([state], empty)
    zone = ZoneInfo("UTC")
    assert counters.clock_of(state, site, empty, zone, at(400)) is None
    assert counters.month_limit_kg(empty) is None
    assert counters.category_of(5000, empty) is None
    day = date(2026, 3, 1)
    edits = {"storage_days": Edit(30, "Permit", day), "satellite_volume": Edit(40, "Permit", day)}
    own = RuleBook("own", "own", edits)
    found = counters.clock_of(state, site, own, zone, at(1))
    assert found is not None
    assert found.days_left == 30
    assert own.litres("satellite_volume") == 40


def test_choices_and_values_fold_in_order() -> None:
    edits = {"warn_days": {"value": 21, "source": "Site", "as_of": "2026-03-02"}}
    entries = [
        WasteRules(at=at(0), waste_rules="waste_rules", rule_set="us_federal", category="sqg"),
        WasteRules(at=at(1), waste_rules="waste_rules", edits=edits, uncounted=["wipes"]),
        WasteRules(at=at(2), waste_rules="waste_rules", category="lqg"),
    ]
    book = fold(RULES_BOOK, "waste_rules", entries)
    assert (book.category.key, book.value("warn_days"), book.uncounted) == ("lqg", 21, ("wipes",))
    back = WasteRules(at=at(3), waste_rules="waste_rules", edits={})
    assert fold(RULES_BOOK, "waste_rules", [*entries, back]).value("warn_days") == 14


def test_a_set_or_category_that_is_gone_does_no_harm() -> None:
    book = RuleBook("moon", "crater")
    assert book.set is US_FEDERAL
    assert book.category.key == "vsqg"
    assert book.value("nonsense") is None


@pytest.mark.parametrize(
    "edits",
    [
        [],
        {"warn_days": 3},
        {"warn_days": {"value": -1, "source": "x", "as_of": "2026-03-02"}},
        {"warn_days": {"value": True, "source": "x", "as_of": "2026-03-02"}},
        {"warn_days": {"value": 1, "source": " ", "as_of": "2026-03-02"}},
        {"warn_days": {"value": 1, "source": "x", "as_of": "yesterday"}},
        {"warn_days": {"value": 1, "source": "x", "as_of": "2026-03-02", "more": 1}},
        {"a b": {"value": 1, "source": "x", "as_of": "2026-03-02"}},
    ],
)
def test_values_that_are_none_are_refused(edits: Any) -> None:
    line = {"kind": "waste_rules", "at": at(0).isoformat(), "waste_rules": "waste_rules"}
    with pytest.raises(FieldErrors) as caught:
        parse_entry({**line, "edits": edits})
    assert list(caught.value.by_field()) == ["edits"]


@pytest.mark.parametrize("drums", [[], "d1", ["a b"], [1], ["d"] * 101])
def test_drums_of_a_pickup_are_keys(drums: Any) -> None:
    line = {
        "kind": "pickup_cancelled", "at": at(0).isoformat(), "pickup": "p1", "reason": "x",
        "drums": drums,
    }  # fmt: skip
    with pytest.raises(FieldErrors) as caught:
        parse_entry(line)
    assert list(caught.value.by_field()) == ["drums"]


def test_every_word_of_a_stream_is_a_stream() -> None:
    assert tuple(STREAMS) == WORDS


def test_every_solvent_has_its_stream_and_ignitable_ones_are_called_so() -> None:
    """40 CFR 261.21(a)(1): a liquid with a flash point below 60 C is ignitable."""
    for key, solvent in SOLVENTS.items():
        stream = STREAMS[stream_of_bath(key)]
        assert key in stream.solvents
        assert stream.is_flammable == solvent.is_flammable, key
        assert fits_bath(stream.key, key)
        assert not (stream.is_flammable and stream.may_be_uncounted)


def test_two_streams_are_kept_apart_with_a_reason() -> None:
    for poured in STREAMS:
        for held in STREAMS:
            reason = why_apart(poured, held)
            assert (reason == "") == (poured == held)
            assert poured == held or STREAMS[poured].apart in reason


def test_alcohol_in_a_high_flash_bath_has_a_stream_of_its_own() -> None:
    """Inference, untested: a few per cent of alcohol bring the flash point down."""
    assert fits_bath("glycol_ether_with_alcohol", "isopropanol")
    assert "flash test" in STREAMS["glycol_ether_with_alcohol"].status
    assert "flash point" in why_apart("glycol_ether_resin", "isopropanol_resin")
