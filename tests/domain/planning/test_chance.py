"""The chance that a bath is past its limit on a day to come."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.chance import Chances, chances, cost_of_days
from app.domain.planning.days import starts_at

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")


def after(days: float) -> datetime:
    return NOW + timedelta(days=days)


def test_the_chance_passes_through_the_quantiles_of_the_forecast() -> None:
    course = chances(NOW, ((after(4), 0.1), (after(8), 0.5), (after(14), 0.9)))
    assert course.at(NOW) == 0
    assert course.at(after(4)) == pytest.approx(0.1)
    assert course.at(after(6)) == pytest.approx(0.3)  # half way between, worked by hand
    assert course.at(after(14)) == pytest.approx(0.9)
    assert course.at(after(99)) == pytest.approx(0.9)


def test_a_bath_past_its_limit_is_so_on_every_day() -> None:
    course = chances(NOW, ((NOW, 0.1), (NOW, 0.5), (NOW, 0.9)), horizon=(after(365), 1.0))
    assert course.at(NOW) == pytest.approx(0.9)
    assert course.at(after(365)) == 1


def test_where_the_outer_lines_of_the_fan_meet_the_limit_the_chance_is_5_and_95_percent() -> None:
    fan = [(after(0), 4, 6), (after(10), 6, 11), (after(20), 11, 16)]
    course = chances(NOW, ((after(14), 0.5),), fan, limit_percent=10)
    assert course.at(after(8)) == pytest.approx(0.05)  # 6 + 5 * 8/10 = 10, worked by hand
    assert course.at(after(18)) == pytest.approx(0.95)  # 6 + 5 * 8/10 = 10


QUANTILE = st.one_of(st.none(), st.floats(-3, 300).map(after))


@given(
    quantiles=st.tuples(QUANTILE, QUANTILE, QUANTILE),
    fan=st.lists(st.tuples(st.floats(0, 90).map(after), st.floats(0, 30), st.floats(0, 30))),
    days=st.lists(st.floats(0, 400), min_size=2),
)
def test_the_chance_never_falls(
    quantiles: tuple[datetime | None, ...],
    fan: list[tuple[datetime, float, float]],
    days: list[float],
) -> None:
    course = chances(
        NOW, zip(quantiles, (0.1, 0.5, 0.9), strict=True), sorted(fan), 10, (after(365), 0.97)
    )
    found = [course.at(after(day)) for day in sorted(days)]
    assert found == sorted(found)
    assert 0 <= found[0] <= found[-1] <= 1


def test_a_later_day_costs_the_days_worked_past_the_limit() -> None:
    # The chance is 0 at the start of the first day, 0.1 at its end, 0.2 a day later, and so on.
    first = date(2026, 3, 3)
    days = [first + timedelta(days=n) for n in range(5)]
    start = starts_at(first, BERLIN)
    course = Chances(((start, 0.0), (start + timedelta(days=10), 1.0)))
    costs = cost_of_days(course, days, BERLIN)
    assert [one.chance for one in costs] == pytest.approx([0, 0.1, 0.2, 0.3, 0.4])
    assert [one.days_past for one in costs] == pytest.approx([0, 0.1, 0.3, 0.6, 1.0])
    assert cost_of_days(course, [], BERLIN) == []


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25), date(2028, 2, 29)])
def test_a_day_counts_from_midnight_in_the_room_whatever_its_length(day: date) -> None:
    course = Chances(((starts_at(day, BERLIN), 0.0), (starts_at(day, BERLIN), 0.5)))
    assert course.by_day([day - timedelta(days=1), day + timedelta(days=1)], BERLIN) == [0, 0.5]
