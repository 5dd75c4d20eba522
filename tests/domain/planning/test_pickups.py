"""Pickups to book: when drums run full, and as few as will do."""

from datetime import date, timedelta
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.pickups import (
    Booked,
    Bounds,
    Pouring,
    Space,
    Window,
    booking_doubts,
    fewest_pickups,
    windows,
)
from app.domain.workdays import WorkCalendar

MON = date(2026, 3, 2)
WEEK = WorkCalendar()
EVERY_DAY = WorkCalendar(frozenset(range(1, 8)))


def on(days: int) -> date:
    return MON + timedelta(days=days)


def pouring(days: int, waste_l: float, stream: str = "s") -> Pouring:
    return Pouring(on(days), f"tank{days}", stream, waste_l)


def test_drums_with_room_for_all_need_no_pickup() -> None:
    assert windows([pouring(3, 40), pouring(9, 40)], {"s": Space(90, 180)}, MON) == []


def test_a_pickup_is_needed_after_the_drum_is_full_and_before_the_next_pour() -> None:
    pours = [pouring(3, 40), pouring(9, 40), pouring(14, 40)]
    found = windows(pours, {"s": Space(90, 180)}, MON)
    # 90 - 40 - 40 = 10 L are left for the third: 30 L are missing.
    assert found == [Window("s", on(9), on(14), ("tank14",), 30)]


def test_a_booked_pickup_leaves_empty_drums() -> None:
    pours = [pouring(3, 40), pouring(9, 40), pouring(14, 40)]
    assert windows(pours, {"s": Space(90, 180, (Booked(on(10), 180, 90),))}, MON) == []
    assert len(windows(pours, {"s": Space(90, 180, (Booked(on(15), 180, 90),))}, MON)) == 1


def test_a_stream_without_a_drum_needs_one_for_its_first_pour() -> None:
    found = windows([pouring(3, 40)], {}, MON)
    assert [(w.first, w.last, w.missing_l) for w in found] == [(MON, on(3), 40)]


def test_streams_share_a_pickup_and_it_is_booked_in_time() -> None:
    wanted = [Window("a", on(2), on(10), ("x",), 30), Window("b", on(7), on(20), ("y",), 10)]
    found = fewest_pickups(wanted, 5, WEEK, MON)
    assert [p.day for p in found] == [on(10)]
    assert [w.tanks for w in found[0].windows] == [("x",), ("y",)]
    assert found[0].book_by_on == date(2026, 3, 5)  # Thursday 12 March less five working days
    assert not found[0].is_late


def test_pickups_that_cannot_come_in_time_are_one_that_comes_as_soon_as_it_can() -> None:
    wanted = [
        Window("a", MON, on(2), ("x",), 30),
        Window("a", on(2), on(4), ("y",), 30),
        Window("b", MON, on(11), ("z",), 10),
    ]
    found = fewest_pickups(wanted, 5, WEEK, MON)
    assert [(p.day, p.needed_on, p.is_late) for p in found] == [(on(7), on(2), True)]
    assert found[0].book_by_on < MON
    assert found[0].tanks == ("x", "y", "z")


def test_a_pickup_comes_on_a_working_day() -> None:
    found = fewest_pickups([Window("a", on(8), on(13), ("x",), 30)], 5, WEEK, MON)
    assert [p.day for p in found] == [on(11)]


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 8)), max_size=6))
def test_no_fewer_pickups_fall_into_every_window(spans: list[tuple[int, int]]) -> None:
    wanted = [
        Window(f"s{n}", on(first), on(first + length), (), 1.0)
        for n, (first, length) in enumerate(spans)
    ]
    found = fewest_pickups(wanted, 0, EVERY_DAY, MON)
    assert all(any(w.first <= p.day <= w.last for p in found) for w in wanted)
    assert sum(len(p.windows) for p in found) == len(wanted)
    days = [on(n) for n in range(21)]
    for fewer in range(len(found)):
        for chosen in combinations(days, fewer):
            assert any(not any(w.first <= day <= w.last for day in chosen) for w in wanted)


def test_a_drum_s_clock_bounds_its_pickup_less_a_margin() -> None:
    """The last lawful day is Thursday 31 December, the Friday after it a holiday: three working
    days before, Monday 28 December (25 and 26 are holidays of Ireland, 27 is a Sunday)."""
    closed = {date(2026, 12, 25): "Christmas Day", date(2027, 1, 1): "New Year's Day"}
    week = WorkCalendar(closed=closed)
    leave_by = week.earlier(date(2026, 12, 31), 3)
    assert leave_by == date(2026, 12, 28)
    space = Space(90, 180, leave_by=(("Drum 1", leave_by),))
    today = date(2026, 11, 30)
    bounds = Bounds(week, 3, last=date(2027, 1, 24))
    wanted = windows([Pouring(date(2027, 1, 4), "t", "s", 100)], {"s": space}, today, bounds)
    assert [(w.cause, w.last, w.drum) for w in wanted] == [("clock", leave_by, "Drum 1")]
    (pickup,) = fewest_pickups(wanted, 5, week, today)
    assert (pickup.day, pickup.is_late) == (leave_by, False)
    assert pickup.book_by_on == date(2026, 12, 18)  # 21 to 24, and the 18th: the 25th is closed


def test_a_pickup_never_comes_on_a_closed_day_even_where_a_window_begins_on_one() -> None:
    closed = {on(9): "Closed", on(10): "Closed", on(11): "Closed"}
    week = WorkCalendar(closed=closed)
    (pickup,) = fewest_pickups([Window("a", on(10), on(13), ("x",), 30)], 2, week, MON)
    assert pickup.day == on(8)
    (late,) = fewest_pickups([Window("a", on(1), on(2), ("x",), 30)], 7, week, MON)
    assert (late.day, late.is_late) == (on(14), True)


def test_a_clock_that_runs_out_without_any_pour_is_seen_and_a_booking_in_time_is_not_doubled() -> (
    None
):
    bounds = Bounds(WEEK, 3, last=on(55))
    space = Space(90, 180, leave_by=(("Drum 1", on(20)),))
    assert [w.last for w in windows([], {"s": space}, MON, bounds)] == [on(20)]
    assert windows([], {"s": Space(90, 180)}, MON, bounds) == []
    far = Space(90, 180, leave_by=(("Drum 1", on(80)),))
    assert windows([], {"s": far}, MON, bounds) == []


def test_a_drum_that_is_poured_into_has_a_clock_of_its_own() -> None:
    """Ninety days of 40 CFR 262.17(a) from the first drop, less three working days."""
    bounds = Bounds(WEEK, 3, last=on(26 * 7))
    space = Space(900, 900, clock_days=90)
    (window,) = windows([pouring(3, 40)], {"s": space}, MON, bounds)
    assert (window.cause, window.last) == ("clock", WEEK.earlier(on(93), 3))


def test_what_the_site_may_hold_binds_the_pickup_of_the_heaviest_stream() -> None:
    spaces = {"a": Space(900, 900, held_kg=60), "b": Space(900, 900, held_kg=20)}
    pours = [
        Pouring(on(3), "x", "b", 40, waste_kg=15),
        Pouring(on(9), "y", "b", 40, waste_kg=15),
    ]
    found = windows(pours, spaces, MON, Bounds(WEEK, 3, 100, on(55)))
    assert [(w.cause, w.stream, w.last, w.tanks) for w in found] == [
        ("on_site", "a", on(9), ("y",))
    ]
    now = {"a": Space(900, 900, held_kg=160)}
    assert [w.last for w in windows([], now, MON, Bounds(WEEK, 3, 100, on(55)))] == [MON]
    booked = {"a": Space(900, 900, (Booked(on(2), 900, 900, 60),), held_kg=80)}
    pours = [Pouring(on(3), "x", "a", 40, waste_kg=70)]
    assert windows(pours, booked, MON, Bounds(WEEK, 3, 100, on(55))) == []


def test_what_is_odd_about_a_day_is_asked_with_the_reason() -> None:
    week = WorkCalendar(closed={on(25): "Founders' Day"})
    said = booking_doubts(on(25), MON, 5, week, {"Drum 1": on(24)})
    assert "not a working day here (Closed: Founders' Day)" in said[0]
    assert "Drum 1 may stay until Thu 26 Mar" in said[1]
    assert booking_doubts(on(24), MON, 5, week, {"Drum 1": on(24)}) == ()
