"""Days of pickups at their boundaries, and what is asked about them."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from app.domain.planning.pickups import (
    Booked,
    Bounds,
    Pouring,
    ProposedPickup,
    Space,
    Window,
    booking_doubts,
    earliest_pickup,
    fewest_pickups,
    windows,
)
from app.domain.workdays import WorkCalendar

MON = date(2026, 3, 2)
WEEK = WorkCalendar()


def on(days: int) -> date:
    return MON + timedelta(days=days)


def pouring(days: int, waste_l: float = 40.0, tank: str = "t", **more: Any) -> Pouring:
    return Pouring(on(days), tank, more.pop("stream", "s"), waste_l, **more)


def all_of(days: int) -> Booked:
    """A pickup of all drums, which hold 180 L empty and have room for 90."""
    return Booked(on(days), 180, 90)


def test_a_day_within_the_notice_is_asked_about() -> None:
    early = (
        "The contractor usually needs 5 working days, so Mon 9 Mar at the earliest. Did they agree "
        "to come on Fri 6 Mar?"
    )
    assert earliest_pickup(MON, 5, WEEK) == on(7)
    assert booking_doubts(on(4), MON, 5, WEEK) == (early,)
    assert booking_doubts(on(7), MON, 5, WEEK) == ()
    (single,) = booking_doubts(MON, MON, 1, WEEK)
    assert single == (
        "The contractor usually needs 1 working day, so Tue 3 Mar at the earliest. Did they agree "
        "to come on Mon 2 Mar?"
    )
    assert booking_doubts(MON, MON, 0, WEEK) == ()
    # Without a notice of the site's, Sunday is odd for being a Sunday only.
    assert booking_doubts(on(-1), MON, 0, WEEK) == (
        "Sun 1 Mar is not a working day here (Sundays are not working days). Is it right?",
    )


def test_a_day_after_the_last_lawful_one_is_asked_about() -> None:
    lawful = {"Drum 1": on(8), "Drum 2": on(9), "Drum 3": date(2027, 1, 4)}
    assert booking_doubts(on(9), MON, 5, WEEK, lawful) == (
        "Drum 1 may stay until Tue 10 Mar. This day is later. Book an earlier one, or agree with "
        "your contractor and authority what applies.",
    )
    far = booking_doubts(date(2027, 1, 5), MON, 5, WEEK, {"Drum 3": date(2027, 1, 4)})
    assert far[0].startswith("Drum 3 may stay until Mon 4 Jan 2027. This day is later.")


def test_a_pour_that_just_fits_needs_no_pickup() -> None:
    assert windows([pouring(3, 90)], {"s": Space(90, 180)}, MON) == []
    (found,) = windows([pouring(3, 90.5)], {"s": Space(90, 180)}, MON)
    assert found == Window("s", MON, on(3), ("t",), 0.5, "space", "")
    # After the pickup the empty drums take 180 L, of which 90.5 are poured.
    more = [pouring(3, 90.5), pouring(4, 89.5), pouring(5, 0.5, "u")]
    assert windows(more, {"s": Space(90, 180)}, MON)[1:] == [Window("s", on(4), on(5), ("u",), 0.5)]


def test_a_pour_larger_than_the_drums_is_counted_as_if_they_had_grown() -> None:
    found = windows([pouring(3, 200), pouring(5, 1)], {"s": Space(90, 180)}, MON)
    assert [(one.last, one.missing_l) for one in found] == [(on(3), 110), (on(5), 1)]


def test_pours_are_taken_by_their_days_whatever_their_order() -> None:
    found = windows([pouring(9, 60, "b"), pouring(3, 60, "a")], {"s": Space(90, 180)}, MON)
    assert found == [Window("s", on(3), on(9), ("b",), 30)]


def test_a_pour_of_nobody_waits_for_nothing() -> None:
    assert windows([pouring(3, 91, "")], {"s": Space(90, 180)}, MON)[0].tanks == ()


def test_a_booked_pickup_comes_on_the_morning_of_its_day_and_leaves_no_less_room() -> None:
    full = [pouring(3, 90), pouring(9, 90)]
    assert windows(full, {"s": Space(90, 180, (all_of(9),))}, MON) == []
    assert len(windows(full, {"s": Space(90, 180, (all_of(10),))}, MON)) == 1
    # 200 L free are not made less by empty drums of 180 L.
    assert windows([pouring(9, 200)], {"s": Space(200, 180, (all_of(5),))}, MON) == []
    # Each comes once.
    thrice = [*full, pouring(12, 180)]
    (late,) = windows(thrice, {"s": Space(90, 180, (all_of(9),))}, MON)
    assert (late.last, late.missing_l) == (on(12), 90)


def test_a_booked_pickup_empties_no_drum_but_its_own() -> None:
    # Of two drums of 180 L a full one is fetched on day 5; the other has 30 L of room.
    two = Space(30, 360, (Booked(on(5), 180, 0.0),))
    assert windows([pouring(9, 210)], {"s": two}, MON) == []
    (found,) = windows([pouring(9, 210.5)], {"s": two}, MON)
    assert (found.last, found.missing_l) == (on(9), 0.5)
    # What was poured before it came went into the drum that it takes, as far as that had room.
    half = Space(120, 360, (Booked(on(5), 180, 90.0),))
    assert windows([pouring(3, 90), pouring(9, 210)], {"s": half}, MON) == []
    assert windows([pouring(3, 100), pouring(9, 200)], {"s": half}, MON) == []
    assert len(windows([pouring(3, 100), pouring(9, 200.5)], {"s": half}, MON)) == 1
    # Two pickups, a drum each: what the first took is not poured into the second's drum again.
    each = Space(180, 360, (Booked(on(5), 180, 90.0), Booked(on(7), 180, 90.0)))
    assert windows([pouring(3, 100), pouring(9, 360)], {"s": each}, MON) == []


def test_a_pickup_that_comes_after_all_were_fetched_finds_little() -> None:
    # The pour of day 3 has no room: all drums leave. The one of day 5 then takes what came since.
    space = Space(10, 360, (Booked(on(5), 180, 10.0, kg=80.0),), held_kg=200.0)
    pours = [pouring(3, 200, waste_kg=90), pouring(9, 340, waste_kg=20)]
    found = windows(pours, {"s": space}, MON, Bounds(WEEK, 3, 100, None))
    assert [(one.cause, one.last) for one in found] == [
        ("on_site", on(3)), ("on_site", on(9)),
    ]  # fmt: skip
    (full,) = windows(pours[:1], {"s": space}, MON)
    assert full.cause == "space"
    assert len(windows([*pours[:1], pouring(9, 340.5)], {"s": space}, MON)) == 2


def test_a_clock_of_what_a_booked_pickup_leaves_runs_on() -> None:
    space = Space(360, 360, (Booked(on(40), 180, 180),), clock_days=90)
    bounds = Bounds(WEEK, 3, None, on(200))
    assert windows([pouring(3, 180)], {"s": space}, MON, bounds) == []
    (found,) = windows([pouring(3, 181)], {"s": space}, MON, bounds)
    assert (found.cause, found.last) == ("clock", date(2026, 5, 29))


def test_a_booked_pickup_takes_its_mass_from_the_site() -> None:
    limit = Bounds(WEEK, 3, 100, None)

    def found(booked_kg: float = 0.0, kg: float = 60) -> list[Window]:
        space = Space(900, 900, (Booked(on(5), 900, 900, booked_kg),), held_kg=80)
        return windows([pouring(9, waste_kg=kg)], {"s": space}, MON, limit)

    assert found(40.0) == []  # 80 - 40 + 60 = 100 kg, what it may hold
    assert [one.cause for one in found(40.0, kg=60.1)] == ["on_site"]
    assert [one.cause for one in found(39.0)] == ["on_site"]
    assert [one.cause for one in found()] == ["on_site"]  # nobody said what it takes
    assert [one.cause for one in found(kg=20.5)] == ["on_site"]
    assert found(999.0, kg=100) == []  # no less than nothing


def test_the_heaviest_streams_leave_until_the_site_holds_what_it_may() -> None:
    spaces = {
        key: Space(900, 900, held_kg=kg) for key, kg in (("a", 40.0), ("b", 50.0), ("c", 5.0))
    }
    found = windows([pouring(9, stream="c", waste_kg=60)], spaces, MON, Bounds(WEEK, 3, 70))
    assert [(one.stream, one.first, one.last, one.tanks) for one in found] == [
        ("a", MON, on(9), ("t",)), ("b", MON, on(9), ("t",)),
    ]  # fmt: skip
    # Even more than all: what is left is what is poured, and no pickup helps that.
    more = windows([pouring(9, stream="c", waste_kg=700)], spaces, MON, Bounds(WEEK, 3, 70))
    assert [one.stream for one in more] == ["a", "b", "c"]
    assert windows([pouring(9, stream="c", waste_kg=60)], spaces, MON, Bounds(WEEK, 3)) == []


def test_a_site_that_holds_too_much_now_has_a_pickup_of_nobodys() -> None:
    held = {"a": Space(900, 900, held_kg=100.0), "b": Space(900, 900, held_kg=5.0)}
    assert windows([], held, MON, Bounds(WEEK, 3, 104.5, on(30))) == [
        Window("a", MON, MON, (), 0.0, "on_site")
    ]
    assert windows([], held, MON, Bounds(WEEK, 3, 105, on(30))) == []
    assert windows([], {}, MON, Bounds(WEEK, 3, 105, on(30))) == []


def test_a_drum_leaves_before_the_pour_of_the_day_after_its_last() -> None:
    def found(day: int, last: date | None = None) -> list[Window]:
        space = Space(900, 900, leave_by=(("Drum 1", on(9)), ("Drum 0", on(20))))
        return windows([pouring(day)], {"s": space}, MON, Bounds(WEEK, 3, None, last))

    assert found(9) == []
    assert found(10) == [Window("s", MON, on(9), (), 0.0, "clock", "Drum 1")]
    assert found(3, on(8)) == []
    assert found(3, on(9)) == [Window("s", on(3), on(9), (), 0.0, "clock", "Drum 1")]


def test_a_last_day_that_has_passed_is_a_window_that_began_with_it() -> None:
    space = Space(900, 900, leave_by=(("Drum 1", on(-5)),))
    assert windows([], {"s": space}, MON, Bounds(WEEK, 3, None, on(30))) == [
        Window("s", on(-5), on(-5), (), 0.0, "clock", "Drum 1")
    ]


def test_a_full_drum_takes_the_one_whose_clock_runs_along() -> None:
    space = Space(30, 180, leave_by=(("Drum 1", on(20)),))
    found = windows([pouring(9)], {"s": space}, MON, Bounds(WEEK, 3, None, on(40)))
    assert found == [
        Window("s", MON, on(20), (), 0.0, "clock", "Drum 1"),
        Window("s", MON, on(9), ("t",), 10.0),
    ]


def test_a_pour_starts_a_clock_once_and_its_pickup_ends_it() -> None:
    """Ninety days from the first drop (40 CFR 262.17(a)), less three working days."""
    space = Space(900, 900, clock_days=90)
    bounds = Bounds(WEEK, 3, None, on(200))
    # Thursday 5 March and 90 days are Wednesday 3 June; three working days before is the 29 May.
    found = windows([pouring(3), pouring(30)], {"s": space}, MON, bounds)
    assert found == [Window("s", on(30), date(2026, 5, 29), (), 0.0, "clock", "")]
    booked = replace(space, booked=(Booked(on(40), 900, 900),))
    assert windows([pouring(3)], {"s": booked}, MON, bounds) == []
    # A drum with a day of its own is one that no pickup is booked for in time.
    for booked_on in (on(15), on(40)):
        named = replace(
            space, leave_by=(("Drum 1", on(20)),), booked=(Booked(booked_on, 900, 900),)
        )
        (found_,) = windows([], {"s": named}, MON, bounds)
        assert (found_.drum, found_.last) == ("Drum 1", on(20))


def test_a_drum_that_leaves_full_needs_no_pickup_for_its_clock() -> None:
    space = Space(90, 180, clock_days=90)
    assert windows([pouring(3, 90), pouring(9, 90)], {"s": space}, MON) == [
        Window("s", on(3), on(9), ("t",), 90)
    ]


def test_pickups_are_booked_with_their_notice() -> None:
    wanted = [Window("a", on(2), on(10), ("x", "y"), 30), Window("b", on(7), on(20), ("y", "z"), 1)]
    (found,) = fewest_pickups(wanted, 5, WEEK, MON)
    assert found == ProposedPickup(
        on(10), on(10), on(3),
        (replace(wanted[0]), replace(wanted[1], first=on(7), last=on(18))),
    )  # fmt: skip
    assert found.tanks == ("x", "y", "z")
    assert not found.is_late


def test_a_window_that_begins_after_the_pickup_has_one_of_its_own() -> None:
    wanted = [Window("a", on(2), on(10), ("x",), 30), Window("b", on(11), on(17), ("y",), 1)]
    assert [one.day for one in fewest_pickups(wanted, 5, WEEK, MON)] == [on(10), on(17)]
    touching = [wanted[0], replace(wanted[1], first=on(10))]
    assert [one.day for one in fewest_pickups(touching, 5, WEEK, MON)] == [on(10)]


def test_what_should_have_come_before_today_is_asked_for_from_today_on() -> None:
    (found,) = fewest_pickups([Window("a", on(-20), on(-5), ("x",), 30)], 5, WEEK, MON)
    # Friday 20 February was the last working day before it ended on the 25th's Wednesday.
    assert (found.day, found.needed_on, found.is_late) == (on(7), on(-5), True)
    # Today less five working days is Monday 23 February.
    assert found.book_by_on == on(-7)


@pytest.mark.parametrize("day, is_late", [(on(9), False), (on(10), True)])
def test_a_pickup_is_late_after_the_day_of_need(day: date, is_late: bool) -> None:
    assert ProposedPickup(day, on(9), MON, ()).is_late is is_late
