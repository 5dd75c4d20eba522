"""The order of the swap queue and the reason for each place."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from app.domain.swaps import BathOutlook, place, queue

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)


def in_days(days: float) -> datetime:
    return NOW + timedelta(days=days)


def test_what_comes_first_rules() -> None:
    outlook = BathOutlook(
        "t1", limit_p10_at=in_days(7), limit_p50_at=in_days(9), limit_p90_at=in_days(12),
        life_days_end_at=in_days(8), life_washes_end_at=in_days(30),
    )  # fmt: skip
    swap = place(outlook, NOW)
    assert (swap.ruler, swap.due_at) == ("life_days", in_days(8))
    assert swap.early_at is None


def test_the_forecast_carries_its_range_where_it_rules() -> None:
    outlook = BathOutlook("t1", in_days(7), in_days(9), in_days(12), life_days_end_at=in_days(40))
    swap = place(outlook, NOW)
    assert (swap.ruler, swap.early_at, swap.late_at) == ("limit", in_days(7), in_days(12))


def test_urgency_orders_the_queue() -> None:
    outlooks = [
        BathOutlook("beyond"),
        BathOutlook("in_a_week", limit_p10_at=in_days(5), limit_p50_at=in_days(7)),
        BathOutlook("tomorrow", limit_p10_at=in_days(0.5), limit_p50_at=in_days(1)),
        BathOutlook("past", limit_passed_at=in_days(-3)),
        BathOutlook("stop", limit_passed_at=in_days(-1), stop_is_passed=True),
        BathOutlook("swapping", swap_started_at=in_days(-0.1), limit_passed_at=in_days(-9)),
        BathOutlook("too_old", life_days_end_at=in_days(-5)),
    ]
    places = queue(outlooks, NOW)
    names = [swap.tank for swap in places]
    assert names == ["swapping", "stop", "too_old", "past", "tomorrow", "in_a_week", "beyond"]
    assert [swap.urgency for swap in places] == [
        "swapping", "stop_washing", "swap_now", "swap_now", "soon", "later", "unknown",
    ]  # fmt: skip


def test_a_bath_whose_middle_day_lies_beyond_the_horizon_stands_by_its_early_day() -> None:
    swap = place(BathOutlook("t1", limit_p10_at=in_days(300)), NOW)
    assert (swap.urgency, swap.due_at, swap.ruler) == ("later", None, "none")
    assert (swap.early_at, swap.late_at) == (in_days(300), None)


@given(st.lists(st.floats(-50, 300), min_size=1, max_size=20))
def test_equal_urgency_is_ordered_by_day(days: list[float]) -> None:
    outlooks = [BathOutlook(str(i), limit_p50_at=in_days(d)) for i, d in enumerate(days)]
    due = [swap.due_at for swap in queue(outlooks, NOW)]
    assert due == sorted(due)  # type: ignore[type-var]


def test_where_washing_has_stopped_the_stop_rules_and_keeps_its_day() -> None:
    stopped = place(BathOutlook("t1", limit_passed_at=in_days(-1), stop_is_passed=True), NOW)
    assert (stopped.tank, stopped.ruler, stopped.urgency) == ("t1", "stop", "stop_washing")
    assert stopped.due_at == in_days(-1)


def test_a_day_that_no_forecast_sets_has_no_range() -> None:
    passed = place(
        BathOutlook("t1", in_days(-4), in_days(-3), in_days(-2), limit_passed_at=in_days(-2.5)), NOW
    )
    assert (passed.ruler, passed.due_at) == ("limit", in_days(-2.5))
    assert (passed.early_at, passed.late_at) == (None, None)
    washes = place(
        BathOutlook(
            "t1", in_days(7), in_days(9), in_days(12), life_days_end_at=in_days(9),
            life_washes_end_at=in_days(8),
        ),
        NOW,
    )  # fmt: skip
    assert (washes.ruler, washes.due_at) == ("life_washes", in_days(8))
    assert (washes.early_at, washes.late_at) == (None, None)
    nothing = place(BathOutlook("t1"), NOW)
    assert (nothing.ruler, nothing.due_at, nothing.urgency) == ("none", None, "unknown")
    assert (nothing.early_at, nothing.late_at) == (None, None)


def test_of_two_ends_on_one_day_the_limit_is_named() -> None:
    same = place(BathOutlook("t1", limit_p50_at=in_days(3), life_days_end_at=in_days(3)), NOW)
    assert same.ruler == "limit"
    lives = BathOutlook("t1", life_days_end_at=in_days(3), life_washes_end_at=in_days(3))
    assert place(lives, NOW).ruler == "life_days"


def test_urgency_changes_at_now_and_at_two_days() -> None:
    def urgency(at: datetime) -> str:
        return place(BathOutlook("t1", limit_p50_at=at), NOW).urgency

    second = timedelta(seconds=1)
    assert [urgency(at) for at in (NOW, NOW + second)] == ["swap_now", "soon"]
    assert [urgency(NOW + timedelta(hours=48) + more) for more in (timedelta(0), second)] == [
        "soon", "later",
    ]  # fmt: skip


def test_soon_and_later_stand_in_one_row_and_a_bath_without_a_day_last() -> None:
    outlooks = [
        BathOutlook("unknown"), BathOutlook("early", limit_p10_at=in_days(1.5)),
        BathOutlook("later", limit_p50_at=in_days(3)), BathOutlook("soon", limit_p50_at=in_days(1)),
        BathOutlook("same", limit_p50_at=in_days(1)),
    ]  # fmt: skip
    assert [swap.tank for swap in queue(outlooks, NOW)] == [
        "soon", "same", "early", "later", "unknown",
    ]  # fmt: skip
