"""Counters, clocks and days against the numbers of the regulation (40 CFR 260 to 262)."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.domain.roomlog.kinds.waste import DrumMoved, Pour
from app.domain.waste import counters
from app.domain.waste.drums import DrumState
from app.domain.waste.rulebook import Edit, RuleBook
from tests.domain.waste.book import after, at, drum, moved, pour, shipped

DUBLIN, DENVER = ZoneInfo("Europe/Dublin"), ZoneInfo("America/Denver")
GALLONS_55 = 208.198  # 55 x 3.785411784 L


def rules(category: str = "sqg", **edits: float | None) -> RuleBook:
    """US federal rules of a category, with values of the site's own."""
    own = {key: Edit(value, "site", date(2026, 3, 2)) for key, value in edits.items()}
    return RuleBook("us_federal", category, own, is_chosen=True)


def clock(
    state: DrumState, book: RuleBook, now: datetime, others: tuple[DrumState, ...] = ()
) -> Any:
    """The clock of a drum among others, in Dublin."""
    site = counters.site_of([state, *others], book)
    return counters.clock_of(state, site, book, DUBLIN, now)


@pytest.mark.parametrize(
    "kg, category",
    [
        (0, "vsqg"), (100, "vsqg"), (100.01, "sqg"), (999.99, "sqg"), (1000, "lqg"), (5000, "lqg"),
    ],
)  # fmt: skip
def test_the_month_decides_the_category(kg: float, category: str) -> None:
    """40 CFR 260.10: at most 100 kg; more than 100 and less than 1000 kg; 1000 kg and more."""
    found = counters.category_of(kg, rules())
    assert found is not None
    assert found.key == category


def test_what_a_category_allows_is_what_the_regulation_says() -> None:
    """40 CFR 262.14(a), 262.16(b)(1): 1000 and 6000 kg on site; none for a large generator."""
    allowed = {key: counters.on_site_limit_kg(rules(key)) for key in ("vsqg", "sqg", "lqg")}
    assert allowed == {"vsqg": 1000, "sqg": 6000, "lqg": None}
    months = {key: counters.month_limit_kg(rules(key)) for key in ("vsqg", "sqg", "lqg")}
    assert months == {"vsqg": 100, "sqg": 1000, "lqg": None}


@pytest.mark.parametrize("category, days", [("sqg", 180), ("sqg_far", 270), ("lqg", 90)])
def test_the_clock_of_the_central_area(category: str, days: int) -> None:
    """40 CFR 262.16(b): 180 days, 262.16(c): 270 for more than 200 miles; 262.17(a): 90."""
    state = after(drum(), pour(1), moved(10))
    found = clock(state, rules(category), at(10))
    assert (found.cause, found.days_left) == ("central", days)
    assert found.last_on == at(10).date() + timedelta(days=days)
    assert clock(state, rules(category), at(10 + days)).days_left == 0
    assert clock(state, rules(category), at(11 + days)).days_left == -1


def test_a_drum_at_the_wash_station_has_no_clock_while_its_area_is_under_the_volume() -> None:
    """40 CFR 262.15(a): up to 55 US gal without the clock of the central area."""
    state = after(drum(), pour(1, 180.0))
    assert clock(state, rules(), at(400)) is None


def test_a_very_small_generator_has_no_clock_until_it_passes_its_mass_on_site() -> None:
    """40 CFR 262.14(a)(3)-(4): above 1000 kg the rules of a small generator bind, 180 days."""
    state = after(drum(area="central"), pour(1, 180.0))
    assert clock(state, rules("vsqg"), at(900)) is None
    others = tuple(
        after(drum(key=f"d{i}", area="central"), pour(i, 185.0, f"d{i}"), key=f"d{i}")
        for i in range(2, 9)
    )
    kg = counters.on_site_kg([state, *others], rules("vsqg"))
    assert kg > 1000
    found = clock(state, rules("vsqg"), at(20), others)
    assert (found.cause, found.last_on) == ("on_site", at(7).date() + timedelta(days=180))


def test_a_leap_year_has_a_day_more() -> None:
    """180 days from 3 September 2027 end on 1 March 2028: February has 29 days."""
    start = datetime(2027, 9, 3, 9, tzinfo=UTC)
    days = (start - at(0)) / timedelta(days=1)
    state = after(drum(days, area="central"), pour(days))
    assert clock(state, rules(), start).last_on == date(2028, 3, 1)
    year_before = datetime(2026, 9, 3, 9, tzinfo=UTC)
    days = (year_before - at(0)) / timedelta(days=1)
    state = after(drum(days, area="central"), pour(days))
    assert clock(state, rules(), year_before).last_on == date(2027, 3, 2)


def test_the_volume_at_the_wash_stations_is_that_of_all_drums_together() -> None:
    """40 CFR 262.15(a): 55 US gal for the area, not for each drum."""
    one = after(drum(), pour(1, 150.0))
    two = after(drum(key="d2"), pour(2, 50.0, "d2"), pour(5, 20.0, "d2"), key="d2")
    found = counters.satellite([one, two], rules())
    assert found.limit_l == pytest.approx(GALLONS_55, abs=0.001)
    assert found.volume_l == pytest.approx(220.0)
    assert found.excess_at == at(5)


def test_exactly_the_volume_is_no_excess() -> None:
    limit_l = 55 * 3.785411784
    state = after(drum(fill_limit_percent=98, capacity_l=300), pour(1, limit_l))
    assert counters.satellite([state], rules()).excess_at is None


def test_excess_is_moved_within_three_consecutive_calendar_days() -> None:
    """40 CFR 262.15(a)(6): three consecutive calendar days, a weekend included.

    Passed on Friday 6 March 2026: last day Monday 9 March.
    """
    one = after(drum(), pour(1, 150.0))
    two = after(drum(key="d2"), pour(4, 80.0, "d2"), key="d2")
    found = clock(two, rules(), at(5), (one,))
    assert at(4).date() == date(2026, 3, 6)
    assert (found.cause, found.started_on) == ("excess", date(2026, 3, 6))
    assert (found.last_on, found.days_left) == (date(2026, 3, 9), 2)
    assert clock(one, rules(), at(5), (two,)) is None  # its contents were there before


def test_moving_the_full_drum_ends_the_excess() -> None:
    one = after(drum(), pour(1, 150.0), moved(6))
    two = after(drum(key="d2"), pour(4, 80.0, "d2"), key="d2")
    assert counters.satellite([one, two], rules()).excess_at is None
    assert clock(two, rules(), at(7), (one,)) is None
    assert clock(one, rules(), at(7), (two,)).started_on == at(6).date()


def test_a_very_small_generator_has_no_limit_at_the_wash_station() -> None:
    state = after(drum(capacity_l=400), pour(1, 300.0))
    found = counters.satellite([state], rules("vsqg"))
    assert (found.limit_l, found.excess_at) == (None, None)


def test_a_month_ends_at_midnight_of_the_room() -> None:
    """31 March 2026 23:30 in Denver is 1 April in Dublin and in UTC."""
    late = Pour(at=datetime(2026, 4, 1, 5, 30, tzinfo=UTC), drum="d1", volume_l=10.0)
    state = after(drum(), late)
    assert list(counters.month_totals([state], lambda _: rules(), DENVER)) == [(2026, 3)]
    assert list(counters.month_totals([state], lambda _: rules(), DUBLIN)) == [(2026, 4)]


def test_a_month_ends_by_summer_time() -> None:
    """Irish summer time began on 29 March 2026: 23:30 UTC on 31 March is 1 April in Dublin."""
    late = Pour(at=datetime(2026, 3, 31, 23, 30, tzinfo=UTC), drum="d1", volume_l=10.0)
    winter = Pour(at=datetime(2026, 2, 28, 23, 30, tzinfo=UTC), drum="d1", volume_l=10.0)
    months = counters.month_totals([after(drum(-10), winter, late)], lambda _: rules(), DUBLIN)
    assert list(months) == [(2026, 4), (2026, 2)]


def test_waste_counts_when_it_is_generated_not_when_it_is_moved_or_shipped() -> None:
    """40 CFR 262.13: what is generated in a calendar month."""
    state = after(
        drum(), pour(1, 20.0), pour(3, 10.0, mass_before_kg=1.0, mass_after_kg=9.0), moved(40),
        shipped(60),
    )  # fmt: skip
    (total,) = counters.month_totals([state], lambda _: rules(), DUBLIN).values()
    assert total.month == (2026, 3)
    assert total.total_l == pytest.approx(30.0)
    assert total.weighed_kg == pytest.approx(8.0)
    assert total.counted_kg == pytest.approx(total.total_kg)
    assert counters.on_site_kg([state], rules()) == 0.0


def test_contents_from_before_count_on_site_and_in_no_month() -> None:
    state = after(drum(volume_l=100.0, waste_kg=81.0))
    assert counters.month_totals([state], lambda _: rules(), DUBLIN) == {}
    assert counters.on_site_kg([state], rules()) == 81.0


def test_a_stream_that_the_site_found_not_to_count_is_left_out() -> None:
    state = after(drum(stream="water_wash"), pour(1, 50.0))
    free = RuleBook("us_federal", "sqg", uncounted=("water_wash", "isopropanol_resin"))
    (total,) = counters.month_totals([state], lambda _: free, DUBLIN).values()
    assert (total.counted_kg, total.total_kg > 0) == (0.0, True)
    assert counters.on_site_kg([state], free) == 0.0
    flammable = after(drum(), pour(1, 50.0))
    assert counters.on_site_kg([flammable], free) > 0  # of an ignitable stream nobody can say so


def test_a_value_of_the_sites_own_takes_the_place_of_the_sets() -> None:
    state = after(drum(area="central"), pour(0))
    assert clock(state, rules(sqg_days=90), at(0)).days_left == 90
    assert clock(state, rules(sqg_days=None), at(0)) is None


def test_the_weekly_look_is_due_seven_days_after_the_last() -> None:
    """40 CFR 262.16(b)(2)(iv): at least weekly."""
    state = after(drum())
    assert counters.check_due_on(state, rules(), DUBLIN) == at(7).date()
    assert counters.check_due_on(after(drum(), shipped(3)), rules(), DUBLIN) is None


def test_late_entries_move_the_day_of_the_excess() -> None:
    """The day follows from the pours as they stand: a pour forgotten brings it forward."""
    one, two = drum(), drum(key="d2")
    before = [after(one, pour(1, 150.0)), after(two, pour(9, 80.0, "d2"), key="d2")]
    assert counters.satellite(before, rules()).excess_at == at(9)
    late = [after(one, pour(1, 150.0), pour(5, 37.0)),
            after(two, pour(4, 30.0, "d2"), pour(9, 80.0, "d2"), key="d2")]  # fmt: skip
    assert counters.satellite(late, rules()).excess_at == at(5)


def test_a_drum_moved_before_it_was_set_up_does_no_harm() -> None:
    state = after(DrumMoved(at=at(1), drum="d1", area="central"))
    assert counters.clock_of(
        state, counters.site_of([state], rules()), rules(), DUBLIN, at(2)
    ) is None  # fmt: skip
