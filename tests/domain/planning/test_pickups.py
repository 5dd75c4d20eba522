"""Pickups to book: when drums run full, and as few as will do."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.pickups import Pouring, Space, Window, fewest_pickups, windows
from app.domain.site import SiteState

MON = date(2026, 3, 2)
SITE = SiteState(pickup_lead_days=5)
EVERY_DAY = replace(SITE, working_days="1,2,3,4,5,6,7", pickup_lead_days=0)


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
    assert windows(pours, {"s": Space(90, 180, (on(10),))}, MON) == []
    assert len(windows(pours, {"s": Space(90, 180, (on(15),))}, MON)) == 1


def test_a_stream_without_a_drum_needs_one_for_its_first_pour() -> None:
    found = windows([pouring(3, 40)], {}, MON)
    assert [(w.first, w.last, w.missing_l) for w in found] == [(MON, on(3), 40)]


def test_streams_share_a_pickup_and_it_is_booked_in_time() -> None:
    wanted = [Window("a", on(2), on(10), ("x",), 30), Window("b", on(7), on(20), ("y",), 10)]
    found = fewest_pickups(wanted, SITE, MON)
    assert [p.day for p in found] == [on(10)]
    assert found[0].windows == tuple(wanted)
    assert found[0].book_by_on == date(2026, 3, 5)  # Thursday 12 March less five working days
    assert not found[0].is_late


def test_pickups_that_cannot_come_in_time_are_one_that_comes_as_soon_as_it_can() -> None:
    wanted = [
        Window("a", MON, on(2), ("x",), 30),
        Window("a", on(2), on(4), ("y",), 30),
        Window("b", MON, on(11), ("z",), 10),
    ]
    found = fewest_pickups(wanted, SITE, MON)
    assert [(p.day, p.needed_on, p.is_late) for p in found] == [(on(7), on(2), True)]
    assert found[0].book_by_on < MON
    assert found[0].tanks == ("x", "y", "z")


def test_a_pickup_comes_on_a_working_day() -> None:
    found = fewest_pickups([Window("a", on(8), on(13), ("x",), 30)], SITE, MON)
    assert [p.day for p in found] == [on(11)]


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 8)), max_size=6))
def test_no_fewer_pickups_fall_into_every_window(spans: list[tuple[int, int]]) -> None:
    wanted = [
        Window(f"s{n}", on(first), on(first + length), (), 1.0)
        for n, (first, length) in enumerate(spans)
    ]
    found = fewest_pickups(wanted, EVERY_DAY, MON)
    assert all(any(w.first <= p.day <= w.last for p in found) for w in wanted)
    assert sum(len(p.windows) for p in found) == len(wanted)
    days = [on(n) for n in range(21)]
    for fewer in range(len(found)):
        for chosen in combinations(days, fewer):
            assert any(not any(w.first <= day <= w.last for day in chosen) for w in wanted)
