"""What a tank's log says about its use."""

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.baths.habits import Habits
from app.domain.roomlog import kinds

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)


def wash(at: datetime, **values: object) -> kinds.Wash:
    return kinds.Wash(at=at, tank="alder", resin="slate", **({"parts": 5} | values))


def plan(at: datetime, key: str, lead_days: float = 3) -> kinds.PlannedWash:
    known_from = at - timedelta(days=lead_days)
    return kinds.PlannedWash(
        at=at, tank="alder", resin="slate", parts=5, plan=key, known_from=known_from
    )


def test_two_washes_a_day_are_two_a_day_however_long_the_log() -> None:
    habits = Habits()
    for day in range(200):
        habits.observe(wash(MONDAY + timedelta(days=day)))
        habits.observe(wash(MONDAY + timedelta(days=day, hours=2)))
    assert habits.washes_per_day(MONDAY + timedelta(days=199, hours=5)) == pytest.approx(2)


def test_a_tank_never_washed_in_has_no_rate() -> None:
    assert Habits().washes_per_day(MONDAY) == 0


def test_the_rate_halves_in_35_days_without_washes_once_the_log_is_long() -> None:
    # Geometric fading, checked against its own definition: half-life of 35 days.
    habits = Habits()
    for day in range(149):
        habits.observe(wash(MONDAY + timedelta(days=day)))
    busy = habits.washes_per_day(MONDAY + timedelta(days=148))
    idle = habits.washes_per_day(MONDAY + timedelta(days=148 + 35))
    assert idle == pytest.approx(busy / 2, rel=0.05)


def test_days_are_the_rooms_own() -> None:
    habits = Habits(ZoneInfo("Pacific/Auckland"))
    habits.observe(wash(datetime(2026, 3, 2, 20, tzinfo=UTC)))  # the 3rd, 9 in the morning there
    assert list(habits.washes_on) == [datetime(2026, 3, 3, tzinfo=UTC).toordinal()]
    assert habits.hours[9] == 1


def test_plans_are_kept_missed_or_open() -> None:
    habits = Habits()
    for i in range(4):
        habits.observe(plan(MONDAY + timedelta(days=i), f"p{i}"))
    habits.observe(wash(MONDAY, plan="p0"))
    habits.observe(wash(MONDAY + timedelta(days=2, hours=3), plan="p2"))
    assert habits.plans_kept == pytest.approx(2, rel=0.1)
    assert habits.plans_missed == pytest.approx(1, rel=0.1)
    assert set(habits.open_plans) == {"p3"}
    assert habits.leads_days == [3, 3]


def test_a_kept_plan_that_was_known_before_the_tank_counts_as_kept() -> None:
    habits = Habits()
    habits.observe(wash(MONDAY, plan="from the start"))
    assert habits.plans_kept == 1
    assert habits.leads_days[0] > 365


def test_habits_come_back_whole_from_json() -> None:
    habits = Habits()
    habits.observe(plan(MONDAY + timedelta(days=5), "later"))
    habits.observe(wash(MONDAY, area_cm2=812.5))
    habits.observe(kinds.TopUp(at=MONDAY, tank="alder", volume_l=1.5, to_mark=True))
    habits.observe(kinds.Removal(at=MONDAY, tank="alder", volume_l=0.2))
    back = Habits.from_json(json.loads(json.dumps(habits.to_json())))
    assert back == habits


def test_a_copy_goes_its_own_way() -> None:
    habits = Habits()
    habits.observe(wash(MONDAY))
    twin = habits.copy()
    twin.observe(wash(MONDAY))
    assert len(habits.loads) == 1
    assert habits.washes_on != twin.washes_on
