"""Drums, counters, rules and streams at their boundaries; their days, marks and sentences."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    PickupBooked,
    PickupCancelled,
    WasteRules,
)
from app.domain.things import fold
from app.domain.waste import counters
from app.domain.waste.drums import DrumState, Filling, Level
from app.domain.waste.limits import bound, computed_percent
from app.domain.waste.measures import (
    density_is_odd,
    highest_fill_percent,
    mass_kg,
    poured_kg,
    volume_by_mass_l,
    weighed_kg,
)
from app.domain.waste.rulebook import RULES_BOOK, Edit, RuleBook, rule_problems
from app.domain.waste.rules import AS_OF, RULE_SETS, Rule
from app.domain.waste.rules import practice as customs
from app.domain.waste.streams import (
    STREAMS,
    Stream,
    _all,
    _solvents_of,
    fits_bath,
    stream_of_bath,
    why_apart,
)
from tests.domain.waste.book import after, at, drum, moved, pour, shipped

DUBLIN = ZoneInfo("Europe/Dublin")
SQG = RuleBook("us_federal", "sqg", is_chosen=True)


def test_a_drum_keeps_all_that_was_said_of_it() -> None:
    state = after(
        drum(capacity_l=100.0, fill_limit_percent=80.0, tare_kg=9.5, inner_height_cm=85.0)
    )
    assert state == DrumState(
        "d1", "Drum 1", 100.0, 80.0, "isopropanol_resin", tare_kg=9.5, inner_height_cm=85.0,
        area="wash_station", set_up_at=at(0), levels=(Level(at(0), "wash_station", 0, 0),),
    )  # fmt: skip
    assert (state.fill_limit_l, state.free_l, state.of_limit_percent) == (80, 80, 0)
    assert after(drum(capacity_l=100.0), pour(1, 45.0)).of_limit_percent == 50
    assert DrumState("d1").of_limit_percent == 0


def test_contents_at_set_up_have_mass_and_days() -> None:
    weighed = after(drum(volume_l=50.0, waste_kg=0.0))
    assert (weighed.volume_l, weighed.mass_kg) == (50, 0)
    estimated = after(drum(volume_l=50.0))
    assert estimated.mass_kg == pytest.approx(50 * 0.8197, rel=1e-3)
    assert (estimated.first_pour_at, estimated.last_pour_at) == (at(0), at(0))
    assert estimated.central_at is None
    # A mass without contents is none.
    assert after(drum(waste_kg=12.0)).mass_kg == 0
    told = after(drum(area="central", volume_l=50.0, first_pour_at=at(-9)))
    assert (told.first_pour_at, told.last_pour_at, told.central_at) == (at(-9), at(-9), at(-9))
    bare = after(drum(area="central", volume_l=50.0))
    assert (bare.first_pour_at, bare.central_at) == (at(0), at(0))
    both = after(pour(-1, 12.0), drum(volume_l=30.0, waste_kg=25.0))
    assert both.volume_l == 42
    assert both.mass_kg == pytest.approx(25 + mass_kg(12.0, "unknown"))


def test_a_pour_is_kept_as_it_was_entered() -> None:
    state = after(
        drum(),
        pour(1, 20.0, id="e1", tank="t1", swap="s1", by="Wren"),
        pour(2, 10.0, id="e2", mass_before_kg=30.0, mass_after_kg=38.5),
    )
    assert state.fillings[0] == Filling(
        "e1", at(1), 20.0, mass_kg(20.0, "isopropanol_resin"), False, True, "t1", "s1", "", "Wren"
    )
    assert state.fillings[1] == Filling("e2", at(2), 10.0, 8.5, True, True)
    assert state.levels[-1] == Level(at(2), "wash_station", 30.0, state.mass_kg)


def test_a_transfer_takes_what_it_says_from_one_drum_to_the_other() -> None:
    half = DrumTransfer(
        at=at(3), drum="d2", from_drum="d1", volume_l=15.0, waste_kg=12.0, id="e9", by="Wren"
    )
    entries = [drum(), drum(key="d2"), pour(1, 40.0, mass_before_kg=1.0, mass_after_kg=33.0), half]
    source, target = after(*entries), after(*entries, key="d2")
    assert (source.volume_l, source.mass_kg, source.first_pour_at) == (25, 20, at(1))
    assert source.levels[-1] == Level(at(3), "wash_station", 25, 20)
    assert target.fillings == (
        Filling("e9", at(3), 15.0, 12.0, False, False, from_drum="d1", by="Wren"),
    )
    assert (target.mass_kg, target.first_pour_at, target.last_pour_at) == (12, at(3), at(3))
    # More than there is leaves nothing, and no mass below it.
    rest = after(*entries, replace(half, at=at(4), volume_l=99.0, waste_kg=99.0))
    assert (rest.volume_l, rest.mass_kg) == (0, 0)
    heavy = after(*entries, replace(half, at=at(4), volume_l=5.0, waste_kg=99.0))
    assert (heavy.volume_l, heavy.mass_kg) == (20, 0)
    # The central day of a drum that was emptied begins anew with its next drop.
    central = [drum(area="central"), pour(1, 40.0), replace(half, volume_l=40.0)]
    assert after(*central).central_at is None
    assert after(*central, pour(5, 2.0)).central_at == at(5)
    # 0.1 + 0.2 is more than 0.3 in floating point, and the drum is empty all the same.
    drops = [drum(), pour(1, 0.1), pour(2, 0.2), replace(half, volume_l=0.3)]
    assert (after(*drops).is_empty, after(*drops).first_pour_at) == (True, None)
    assert after(*drops).mass_kg == 0
    shut = DrumClosed(at=at(2), drum="d2")
    assert after(*entries[:3], shut, half, key="d2").flags == ("poured_while_closed",)


def test_flags_come_at_more_than_the_limit_and_once() -> None:
    assert after(drum(capacity_l=100.0), pour(1, 90.0)).flags == ()
    assert after(drum(capacity_l=100.0), pour(1, 90.1)).flags == ("over_fill_limit",)
    assert after(drum(capacity_l=100.0), pour(1, 100.0)).flags == ("over_fill_limit",)
    assert after(drum(capacity_l=100.0), pour(1, 100.1)).flags == ("over_capacity",)
    twice = after(drum(capacity_l=100.0), pour(1, 90.1), pour(2, 0.1), pour(3, 20.0))
    assert twice.flags == ("over_fill_limit", "over_capacity")
    assert after(drum(), pour(1, stream="isopropanol_resin")).flags == ()
    # Shipped means closed: said once, as shipped.
    assert after(drum(), shipped(2), pour(3)).flags == ("poured_after_shipping",)


def test_closing_and_quarantine_are_taken_back_whole() -> None:
    closed = [drum(), DrumClosed(at=at(2), drum="d1")]
    assert (after(*closed).is_closed, after(*closed).closed_at) == (True, at(2))
    opened = after(*closed, DrumOpened(at=at(3), drum="d1"))
    assert (opened.is_closed, opened.closed_at, opened.takes_waste) == (False, None, True)
    held = [drum(), DrumQuarantined(at=at(2), drum="d1", reason="Hot")]
    assert not after(*held).takes_waste
    free = after(*held, DrumReleased(at=at(3), drum="d1", lead="Wren", reason="Cold"))
    assert (free.is_quarantined, free.quarantine_reason, free.takes_waste) == (False, "", True)
    assert not after(drum(stream="unknown")).takes_waste
    assert not after(*closed).takes_waste
    assert not replace(after(drum()), is_shipped=True).takes_waste


def test_shipping_closes_the_drum_and_leaves_the_site() -> None:
    gone = after(drum(), pour(1, 10.0), shipped(6))
    assert (gone.is_shipped, gone.is_closed, gone.shipped_at) == (True, True, at(6))
    assert gone.levels[-1] == Level(at(6), "gone", 10.0, gone.mass_kg)
    assert gone.flags == ()


def test_a_change_leaves_what_it_does_not_name() -> None:
    change = DrumChanged(
        at=at(2), drum="d1", name="Left drum", stream="acetone_resin", tare_kg=8.0,
        inner_height_cm=60.0,
    )  # fmt: skip
    state = after(drum(capacity_l=100.0), change)
    assert (state.name, state.stream, state.tare_kg) == ("Left drum", "acetone_resin", 8)
    assert (state.inner_height_cm, state.capacity_l, state.fill_limit_percent) == (60, 100, 90)


def test_a_pickup_of_a_drum_that_left_is_not_cancelled() -> None:
    booked = PickupBooked(
        at=at(1), pickup="p1", drums=["d1"], pickup_on=at(9).date(), hauler="Contractor"
    )
    off = PickupCancelled(at=at(8), pickup="p1", drums=["d1"], reason="Late")
    assert after(drum(), booked, shipped(6), off).pickup == "p1"


def test_a_look_at_a_drum_names_its_faults() -> None:
    state = after(drum(), DrumChecked(at=at(3), drum="d1", no_leak=True, aisle_free=True))
    assert state.faults == (
        "Lid and bungs closed", "Label complete and legible", "Date visible",
    )  # fmt: skip


def test_a_drum_found_warm_is_in_quarantine_until_a_lead_releases_it() -> None:
    sound = DrumChecked(
        at=at(3), drum="d1", lid_closed=True, label_complete=True, date_visible=True, no_leak=True,
        aisle_free=True,
    )  # fmt: skip
    fine = after(drum(), sound)
    assert (fine.faults, fine.is_unsound, fine.is_warm, fine.takes_waste) == (
        (),
        False,
        False,
        True,
    )
    warm = after(drum(), replace(sound, is_warm=True))
    assert (warm.is_warm, warm.is_quarantined, warm.takes_waste) == (True, True, False)
    assert warm.quarantine_reason == "Warm, hissing or bulging at its check: keep away"
    held = DrumQuarantined(at=at(1), drum="d1", reason="Hot")
    both = after(drum(), held, replace(sound, is_warm=True)).quarantine_reason
    assert both == "Hot; Warm, hissing or bulging at its check: keep away"
    free = after(
        drum(), replace(sound, is_warm=True),
        DrumReleased(at=at(4), drum="d1", lead="Wren", reason="Cold"),
    )  # fmt: skip
    assert (free.is_warm, free.is_quarantined, free.quarantine_reason) == (False, False, "")
    leaking = after(drum(), replace(sound, no_leak=None))
    assert (leaking.is_unsound, leaking.takes_waste, leaking.is_quarantined) == (True, False, False)
    assert not after(drum(), replace(sound, lid_closed=None)).is_unsound


def test_the_smaller_of_two_fill_limits_binds() -> None:
    """49 CFR 173.24a(d): not liquid-full at 55 C; the densities are held against another library
    in test_measures. Cut to a tenth, never rounded up."""
    limited = after(drum(capacity_l=100.0, fill_limit_percent=98.0))
    percent = computed_percent(limited, SQG, 15.0)
    most = highest_fill_percent("isopropanol_resin", 15.0, 55.0)
    assert percent is not None
    assert most is not None
    assert most - 0.1 < percent <= most
    assert round(percent * 10) == pytest.approx(percent * 10)
    assert bound(limited, SQG, 15.0).fill_limit_percent == percent
    own = after(drum(capacity_l=100.0))
    assert bound(own, SQG, 15.0) is own
    same = replace(own, fill_limit_percent=percent)
    assert bound(same, SQG, 15.0) is same
    assert computed_percent(limited, SQG, 55.0) == 100
    solids = replace(limited, stream="wipes")
    assert computed_percent(solids, SQG, 15.0) is None
    assert bound(solids, SQG, 15.0) is solids
    fuller = replace(SQG, edits={"full_percent": Edit(50, "site", date(2026, 3, 2))})
    assert computed_percent(limited, fuller, 55.0) == 50
    for key in ("full_at_c", "full_percent"):
        unset = replace(SQG, edits={key: Edit(None, "site", date(2026, 3, 2))})
        assert computed_percent(limited, unset, 15.0) is None


def test_a_months_waste_is_split_by_stream() -> None:
    entries = [
        drum(), drum(key="d2", stream="water_wash"),
        pour(1, 20.0), pour(2, 10.0, mass_before_kg=1.0, mass_after_kg=9.0),
        pour(3, 5.0, "d2", mass_before_kg=1.0, mass_after_kg=6.0), pour(35, 2.0),
    ]  # fmt: skip
    drums = [after(*entries), after(*entries, key="d2")]
    book = replace(SQG, uncounted=("water_wash",))
    asked = []

    def rules_of(month: counters.Month) -> RuleBook:
        asked.append(month)
        return book

    totals = counters.month_totals(drums, rules_of, DUBLIN)
    # 2 March 2026 and 35 days are 6 April.
    assert list(totals) == asked == [(2026, 4), (2026, 3)]
    march = totals[2026, 3]
    alcohol_kg = mass_kg(20.0, "isopropanol_resin") + 8
    assert march.by_stream == (("isopropanol_resin", alcohol_kg), ("water_wash", 5.0))
    assert (march.counted_kg, march.total_kg) == (alcohol_kg, alcohol_kg + 5)
    assert (march.total_l, march.weighed_kg, march.pours) == (35, 13, 3)
    assert march.month == (2026, 3)
    assert counters.on_site_kg(drums, book) == drums[0].mass_kg


@pytest.mark.parametrize(
    "month, end",
    [
        ((2026, 1), datetime(2026, 2, 1, tzinfo=DUBLIN)),
        ((2026, 11), datetime(2026, 12, 1, tzinfo=DUBLIN)),
        ((2026, 12), datetime(2027, 1, 1, tzinfo=DUBLIN)),
    ],
)
def test_a_month_ends_with_the_first_of_the_next(month: counters.Month, end: datetime) -> None:
    assert counters.month_end(month, DUBLIN) == end
    assert counters.month_of(end, DUBLIN) == (end.year, end.month)
    assert counters.month_of(end - timedelta(seconds=1), DUBLIN) == month


def test_a_category_without_a_value_is_none() -> None:
    """40 CFR 260.10 for the others: from 1000 kg on a generator is large."""
    unset = replace(SQG, edits={"vsqg_month_kg": Edit(None, "site", date(2026, 3, 2))})
    assert counters.category_of(10, unset) is None
    europe = RuleBook("europe", "producer", {"month_kg": Edit(50, "permit", date(2026, 3, 2))})
    within, above = counters.category_of(50, europe), counters.category_of(50.1, europe)
    assert within is not None
    assert within.key == "producer"
    assert above is None


def test_the_clock_that_ends_first_counts() -> None:
    """40 CFR 262.15(a)(6), 262.16(b): 3 days for the excess, 180 in the central area."""
    one = after(drum(), pour(1, 150.0))
    two = after(drum(key="d2"), pour(1, 10.0, "d2"), pour(4, 80.0, "d2"), key="d2")
    both = replace(two, central_at=at(2))
    site = counters.site_of([one, two], SQG)
    assert site == counters.Site(at(4), None)
    found = counters.clock_of(both, site, SQG, DUBLIN, at(5))
    assert found == counters.Clock(
        "excess", date(2026, 3, 6), date(2026, 3, 9), 2, "satellite_days"
    )
    central = counters.clock_of(replace(both, area="central"), site, SQG, DUBLIN, at(5))
    assert central is not None
    assert (central.cause, central.rule) == ("central", "sqg_days")
    assert central.started_on == date(2026, 3, 4)


def test_only_a_drum_poured_into_since_the_excess_has_its_clock() -> None:
    site = counters.Site(at(4), None)
    here = after(drum(), pour(4, 20.0))
    assert counters.clock_of(here, site, SQG, DUBLIN, at(5)) is not None
    for other in (
        replace(here, last_pour_at=at(3.99)), replace(here, last_pour_at=None),
        replace(here, is_shipped=True), replace(here, volume_l=0.0),
    ):  # fmt: skip
        assert counters.clock_of(other, site, SQG, DUBLIN, at(5)) is None
    wash = replace(here, stream="water_wash")
    free = replace(SQG, uncounted=("water_wash",))
    assert counters.clock_of(wash, site, free, DUBLIN, at(5)) is None


def test_the_days_of_a_clock_are_those_of_the_room() -> None:
    """Irish summer time: 23:30 UTC on 31 March is 1 April in Dublin."""
    late = datetime(2026, 3, 31, 23, 30, tzinfo=UTC)
    state = replace(after(drum(area="central"), pour(1, 20.0)), central_at=late)
    site = counters.Site(None, None)
    found = counters.clock_of(state, site, SQG, DUBLIN, late)
    assert found is not None
    # 180 days after 1 April 2026 are 28 September.
    assert (found.started_on, found.last_on) == (date(2026, 4, 1), date(2026, 9, 28))
    assert found.days_left == 180
    checked = replace(state, checked_at=late)
    assert counters.check_due_on(checked, SQG, DUBLIN) == date(2026, 4, 8)
    assert counters.check_due_on(DrumState("d1"), SQG, DUBLIN) is None
    unwatched = replace(SQG, edits={"check_days": Edit(None, "site", date(2026, 3, 2))})
    assert counters.check_due_on(state, unwatched, DUBLIN) is None


def test_the_wash_stations_count_what_stands_there() -> None:
    there = after(drum(), pour(1, 150.0))
    away = after(drum(key="d2"), pour(1, 40.0, "d2"), moved(2, key="d2"), key="d2")
    gone = after(drum(key="d3"), pour(1, 30.0, "d3"), shipped(3, "d3"), key="d3")
    free = after(drum(key="d4", stream="water_wash"), pour(1, 99.0, "d4"), key="d4")
    book = replace(SQG, uncounted=("water_wash",))
    found = counters.satellite([there, away, gone, free], book)
    # Passed on the first day with 150, 40 and 30 L of 208.2; over when the second was moved.
    assert (found.volume_l, found.excess_at) == (150, None)
    fresh = after(drum(key="d5"), pour(5, 60.0, "d5"), key="d5")
    assert counters.satellite([there, away, gone, free, fresh], book) == counters.Satellite(
        210.0, 55 * 3.785411784, at(5)
    )
    unset = replace(book, edits={"satellite_volume": Edit(None, "site", date(2026, 3, 2))})
    assert counters.satellite([there], unset) == counters.Satellite(150.0, None, None)


def test_more_on_site_than_a_category_holds_counts_from_its_day() -> None:
    limits = {"sqg_on_site_kg": Edit(100, "site", date(2026, 3, 2))}
    book = replace(SQG, edits=limits)
    full = after(drum(volume_l=99.0, waste_kg=99.0))
    exactly = after(drum(key="d2", volume_l=1.0, waste_kg=1.0), key="d2")
    more = after(
        drum(key="d3"), pour(2, 1.0, "d3", mass_before_kg=1.0, mass_after_kg=1.1), key="d3"
    )
    assert counters.over_on_site_since([full, exactly], book) is None
    assert counters.over_on_site_since([full, exactly, more], book) == at(2)
    left = after(drum(volume_l=99.0, waste_kg=99.0), shipped(1))
    assert counters.over_on_site_since([left, exactly, more], book) is None
    wash = replace(more, stream="water_wash")
    assert counters.over_on_site_since(
        [full, exactly, wash], replace(book, uncounted=("water_wash",))
    ) is None  # fmt: skip
    assert counters.over_on_site_since([full], RuleBook("us_federal", "lqg")) is None


def test_the_scale_needs_both_figures() -> None:
    assert weighed_kg(pour(0)) is None
    assert weighed_kg(replace(pour(0), mass_before_kg=1.0)) is None
    assert weighed_kg(replace(pour(0), mass_after_kg=9.0)) is None
    assert weighed_kg(pour(0, mass_before_kg=1.0, mass_after_kg=9.5)) == 8.5
    other = pour(0, 20.0, stream="uncured_resin")
    assert poured_kg(other, "isopropanol_resin") == 22
    pure = pour(0, 20.0, resin_percent=100.0)
    assert poured_kg(pure, "isopropanol_resin") == pytest.approx(22)
    assert volume_by_mass_l(11.0, "isopropanol_resin", 100.0) == pytest.approx(10)
    assert volume_by_mass_l(0.8196518, "isopropanol_resin") == pytest.approx(1, rel=1e-6)


@pytest.mark.parametrize(
    "kg, stream, is_odd",
    [
        # Of 10 L. A liquid has 0.6 to 1.7 kg/L; common practice, no source.
        (6.0, "isopropanol_resin", False), (5.9, "isopropanol_resin", True),
        (17.0, "isopropanol_resin", False), (17.1, "isopropanol_resin", True),
        (0.2, "wipes", False), (0.19, "wipes", True),
        (7.0, "wipes", False), (7.1, "wipes", True),
        (9.0, "still_bottoms", False), (8.9, "still_bottoms", True),
        (15.0, "still_bottoms", False), (15.1, "still_bottoms", True),
        (25.0, "solids_and_sludge", False), (25.1, "solids_and_sludge", True),
    ],
)  # fmt: skip
def test_a_density_is_odd_outside_of_its_range(kg: float, stream: str, is_odd: bool) -> None:
    assert density_is_odd(10.0, kg, stream) is is_odd


def test_a_drum_filled_warm_may_be_full_and_never_more() -> None:
    assert highest_fill_percent("isopropanol_resin", 55.0, 20.0) == 100
    assert highest_fill_percent("isopropanol_resin", 20.0, 20.0) == 100
    assert highest_fill_percent("isopropanol_resin", 55.0, 20.0, 98.0) == 98


def test_rules_of_volume_are_in_litres() -> None:
    assert SQG.litres("satellite_volume") == pytest.approx(208.19764812, abs=1e-8)
    assert SQG.litres("nonsense") is None
    assert SQG.litres("container_volume") == pytest.approx(119 * 3.785411784)
    own = RuleBook("own", "own", {"satellite_volume": Edit(40, "permit", date(2026, 3, 2))})
    assert own.litres("satellite_volume") == 40
    assert RuleBook("own", "own").litres("satellite_volume") is None


def test_a_value_of_the_sites_own_says_so() -> None:
    edit = Edit(21, "Site procedure 4", date(2026, 3, 2))
    rule = replace(SQG, edits={"warn_days": edit}).rules["warn_days"]
    assert (rule.value, rule.source, rule.as_of) == (21, "Site procedure 4", date(2026, 3, 2))
    assert (rule.confidence, rule.unit) == ("the site's own", "day")
    assert SQG.rules["warn_days"] in RULE_SETS["us_federal"].rules


def test_a_stream_counts_unless_the_site_may_and_does_say_otherwise() -> None:
    book = replace(SQG, uncounted=("water_wash", "isopropanol_resin"))
    assert [book.counts(one) for one in ("water_wash", "isopropanol_resin", "wipes")] == [
        False, True, True,
    ]  # fmt: skip


def rules(**more: object) -> WasteRules:
    return WasteRules(at=at(0), waste_rules="waste_rules", **more)  # type: ignore[arg-type]


def said(entry: WasteRules, before: RuleBook = SQG) -> list[tuple[str, str]]:
    return [(one.field, one.message) for one in rule_problems(entry, before)]


def test_a_change_of_rules_fits_its_set() -> None:
    value = {"value": 1, "source": "x", "as_of": "2026-03-02"}
    federal = "“United States, federal (40 CFR 262)”"
    assert said(rules()) == []
    assert said(rules(category="lqg", edits={"warn_days": value})) == []
    assert said(rules(rule_set="europe", category="producer")) == []
    assert said(rules(rule_set="moon", category="crater")) == [
        ("rule_set", "There is no set “moon”: us_federal, california, europe, england, own.")
    ]
    assert said(rules(category="crater")) == [("category", f"{federal} has no such category.")]
    assert said(rules(category="lqg", edits={"b": value, "a": value, "warn_days": value})) == [
        ("edits", f"{federal} has no rule “a”.")
    ]
    assert said(rules(category="sqg"), RuleBook("own", "own")) == [
        ("category", "“The site's own rules” has no such category.")
    ]


def test_rules_fold_field_by_field() -> None:
    value = {"value": 21, "source": "Site procedure 4", "as_of": "2026-03-02"}
    first = rules(rule_set="own", category="own", edits={"warn_days": value}, uncounted=["wipes"])
    book = fold(RULES_BOOK, "waste_rules", [first])
    assert book == RuleBook(
        "own", "own", {"warn_days": Edit(21, "Site procedure 4", date(2026, 3, 2))}, ("wipes",),
        is_chosen=True,
    )  # fmt: skip
    assert RULES_BOOK.apply(book, rules()) == book
    assert RULES_BOOK.apply(book, rules(uncounted=[])) == replace(book, uncounted=())
    assert RULES_BOOK.apply(book, pour(1)) is book
    assert fold(RULES_BOOK, "waste_rules", []) == RuleBook()


def test_densities_of_streams_follow_their_resin() -> None:
    # Ideal mixing by hand: 1 / (0.135 / 1.10 + 0.865 / 0.78830) = 0.8197; a half 0.9184.
    alcohol = STREAMS["isopropanol_resin"]
    assert alcohol.density_g_ml(0.0) == pytest.approx(0.7883, abs=1e-4)
    assert alcohol.density_g_ml(None) == pytest.approx(0.8197, abs=1e-4)
    assert alcohol.density_g_ml(50.0) == pytest.approx(0.9184, abs=1e-4)
    assert STREAMS["wipes"].density_g_ml(50.0) == 0.3
    assert STREAMS["solids_and_sludge"].density_g_ml(None) == 1.1
    assert replace(alcohol, solvents=(), own_g_ml=None).density_g_ml(50.0) == 1


def test_streams_know_their_baths() -> None:
    assert STREAMS["glycol_ether_with_alcohol"].solvents == (
        "tripropylene_glycol_methyl_ether", "dipropylene_glycol_methyl_ether", "isopropanol",
        "ethanol",
    )  # fmt: skip
    assert stream_of_bath("acetone") == "acetone_resin"
    assert stream_of_bath("brine") == "unknown"
    assert not any(fits_bath(one, "acetone") for one in ("solids_and_sludge", "wipes", "unknown"))
    assert not fits_bath("isopropanol_resin", "acetone")
    assert why_apart("wipes", "uncured_resin") == (
        "This drum holds “Uncured resin”, but this pour is “Solvent-contaminated wipes”. One "
        "stream per drum, because wipes are only excluded from the rules if they hold no free "
        "liquid."
    )


def test_customs_that_every_set_holds_are_named_as_such() -> None:
    practice = ("common practice, no published source", "common practice", AS_OF)
    assert customs() == (
        Rule(
            "headspace_percent", "Space left in a new drum", 10.0, "%", *practice,
            "For expansion. The rules ask for less; see the temperature below.",
        ),
        Rule("warn_days", "Warn before a date that counts", 14.0, "day", *practice),
        Rule("warn_percent", "Warn at this share of a limit", 80.0, "%", *practice),
    )  # fmt: skip
    assert customs(5.0)[0].value == 5
    for rule_set in RULE_SETS.values():
        assert rule_set.rules[-3:] == customs()


def test_streams_are_those_of_the_baths_and_of_all_else_in_the_order_of_forms() -> None:
    found = _all()
    assert [(one.place, one.key) for one in found] == [
        (10, "isopropanol_resin"), (20, "ethanol_resin"), (30, "acetone_resin"),
        (40, "glycol_ether_resin"), (50, "glycol_ether_with_alcohol"),
        (60, "propylene_carbonate_resin"), (65, "carbonate_with_alcohol"), (70, "water_wash"),
        (76, "own_with_alcohol"), (80, "water_with_alcohol"),
        (100, "solids_and_sludge"), (110, "still_bottoms"), (120, "wipes"),
        (130, "uncured_resin"), (140, "unknown"),
    ]  # fmt: skip
    assert {type(one) for one in found} == {Stream}
    assert found[0].solvents == ("isopropanol",)
    assert found[10].solvents == ()
    # What hardly burns is the bulk of a mixed drum, and gives its density.
    assert _solvents_of("glycol_ether_with_alcohol")[-2:] == ("isopropanol", "ethanol")
    assert _solvents_of("nothing") == ()


def test_moving_waste_from_drum_to_drum_starts_no_clock_anew() -> None:
    """40 CFR 262.15(a)(6): the days run from the day on which the area passed its volume."""
    entries = [
        drum(), drum(key="d2"), pour(1, 150.0), pour(4, 80.0, "d2"),
        DrumTransfer(at=at(6), drum="d2", from_drum="d1", volume_l=40.0, waste_kg=33.0),
    ]  # fmt: skip
    one, two = after(*entries), after(*entries, key="d2")
    for order in ([one, two], [two, one]):
        assert counters.satellite(order, SQG).excess_at == at(4)


def test_what_stands_elsewhere_adds_nothing_to_a_limit_just_reached() -> None:
    limit_l = 55 * 3.785411784
    here = after(drum(capacity_l=300.0), pour(1, limit_l))
    away = after(drum(key="d2", area="central"), pour(1, 50.0, "d2"), key="d2")
    assert counters.satellite([here, away], SQG).excess_at is None
    book = replace(SQG, edits={"sqg_on_site_kg": Edit(100, "site", date(2026, 3, 2))})
    full = after(drum(volume_l=99.0, waste_kg=100.0))
    gone = after(drum(key="d2", volume_l=10.0, waste_kg=8.0), shipped(1, "d2"), key="d2")
    assert counters.over_on_site_since([full, gone], book) is None


def test_a_drum_emptied_by_volume_holds_no_mass() -> None:
    all_of_it = DrumTransfer(at=at(3), drum="d2", from_drum="d1", volume_l=40.0, waste_kg=10.0)
    source = after(drum(), pour(1, 40.0), all_of_it)
    assert (source.volume_l, source.mass_kg) == (0, 0)


@pytest.mark.parametrize("keeps_drum", [None, True])
def test_a_drum_reported_warm_is_in_quarantine_whatever_else_was_said(
    keeps_drum: bool | None,
) -> None:
    report = Incident(
        at=at(1), incident="i1", problem="drum_warm", drum="d1", by="Wren", keeps_drum=keeps_drum
    )
    state = after(drum(), report)
    assert (state.is_warm, state.is_quarantined, state.takes_waste) == (True, True, False)
    assert state.quarantine_reason
    other = after(drum(), replace(report, problem="spill"))
    assert (other.is_warm, other.is_quarantined, other.takes_waste) == (False, False, True)


def test_a_mixed_drum_is_known_again_by_a_test_in_quarantine_and_not_by_a_word() -> None:
    mixed = (drum(), pour(1, 5.0, stream="ethanol_resin"))
    said = DrumChanged(at=at(3), drum="d1", stream="isopropanol_resin", by="Ada")
    assert after(*mixed).is_mixed
    by_word = after(*mixed, said)
    assert (by_word.is_mixed, by_word.takes_waste, by_word.tested_at) == (True, False, None)
    apart = DrumQuarantined(at=at(2), drum="d1", reason="Two streams", by="Ada")
    tested = after(*mixed, apart, said)
    assert (tested.is_mixed, tested.tested_at) == (False, at(3))
