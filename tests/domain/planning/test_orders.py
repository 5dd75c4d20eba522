"""Solvent to order: what is ordered together, what is left over, and what the fire area takes."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from app.domain.planning.lines import Line
from app.domain.planning.needs import SwapNeed
from app.domain.planning.orders import OrderToPlace, orders_to_place, within_the_fire_limit
from app.domain.planning.readiness import Readiness
from app.domain.planning.stock import Fire, Solvent, SwapAhead
from app.domain.workdays import WorkCalendar

MON = date(2026, 3, 2)
WEEK = WorkCalendar()
NEED = SwapNeed(37, 3, 1, 40, 35)
CANS = {"isopropanol": Solvent(sizes_l=(18.9, 3.8)), "ethanol": Solvent(sizes_l=(5.0,))}


def on(days: int) -> date:
    return MON + timedelta(days=days)


def lacking(
    tank: str, missing_l: float, act_by: int, by: int, key: str = "isopropanol", **more: Any
) -> Readiness:
    """A swap that lacks solvent: the days by which to order it and to have it."""
    swap = SwapAhead(tank, NEED, key, "s", True, round=more.pop("round", 0))
    values: dict[str, Any] = {
        "missing": missing_l, "act_by_on": on(act_by), "earliest_on": on(7),
    }  # fmt: skip
    line = Line("solvent", "short", key, **(values | more))
    return Readiness(swap, on(by), (line,))


def test_what_has_to_be_ordered_within_five_working_days_is_ordered_at_once() -> None:
    # Five working days after Thursday 5 March are Thursday the 12th. 20 and 15 L come in two of
    # 18.9 L: 37.8 L, less over than 37.9 or 38.
    found = orders_to_place([lacking("a", 20, 3, 10), lacking("b", 15, 10, 17)], CANS, WEEK)
    assert found == [
        OrderToPlace(
            "isopropanol", 35, ((18.9, 2),), 37.8, on(3), on(7), on(10), ("a", "b"), False, None
        )
    ]
    assert not found[0].is_late


def test_what_one_order_leaves_over_counts_for_the_next() -> None:
    # 20 L come in 22.7 L. Of the next 15 L 12.3 are bought, in four of 3.8 L; 2.9 L are left over,
    # so that 2 L more take no order.
    swaps = [lacking("a", 20, 3, 10), lacking("b", 15, 11, 18), lacking("c", 2, 30, 37)]
    found = orders_to_place(swaps, CANS, WEEK)
    assert [(one.missing_l, one.buy, one.tanks) for one in found] == [
        (20, ((18.9, 1), (3.8, 1)), ("a",)), (15, ((3.8, 4),), ("b",)),
    ]  # fmt: skip
    assert [(one.by_on, one.needed_on) for one in found] == [(on(3), on(10)), (on(11), on(18))]
    more = orders_to_place([*swaps, lacking("d", 1.0, 40, 47)], CANS, WEEK)
    assert [one.tanks for one in more] == [("a",), ("b",), ("d",)]
    assert more[2].buy == ((3.8, 1),)


def test_the_smallest_bottle_is_an_order_too() -> None:
    bottle = {"isopropanol": Solvent(sizes_l=(0.5,))}
    (found,) = orders_to_place([lacking("a", 0.4, 3, 10)], bottle, WEEK)
    assert (found.missing_l, found.buy, found.total_l) == (0.4, ((0.5, 1),), 0.5)


def test_the_first_to_be_ordered_comes_first_whatever_its_place_in_the_queue() -> None:
    swaps = [
        lacking("a", 20, 30, 37), lacking("b", 15, 3, 10, "ethanol"), lacking("c", 5, 3, 10),
    ]  # fmt: skip
    found = orders_to_place(swaps, CANS, WEEK)
    assert [(one.solvent, one.by_on) for one in found] == [
        ("ethanol", on(3)), ("isopropanol", on(3)), ("isopropanol", on(30)),
    ]  # fmt: skip
    assert found[0].buy == ((5.0, 3),)


def test_later_rounds_are_ordered_last_and_apart() -> None:
    swaps = [
        lacking("a", 20, 3, 10), lacking("b", 20, 3, 10, round=1), lacking("b", 9, 3, 12, round=2),
    ]  # fmt: skip
    found = orders_to_place(swaps, {}, WEEK)
    assert [(one.missing_l, one.total_l, one.tanks, one.is_for_later) for one in found] == [
        (20, 20, ("a",), False), (29, 29, ("b",), True),
    ]  # fmt: skip
    early = orders_to_place([lacking("b", 9, 0, 2, round=1), lacking("a", 20, 3, 10)], {}, WEEK)
    assert [one.tanks for one in early] == [("a",), ("b",)]


def test_what_is_not_short_or_has_no_day_is_not_ordered() -> None:
    one = lacking("a", 20, 3, 10)
    line = one.lines[0]
    others = [
        replace(one, lines=()),
        replace(one, by_on=None),
        replace(one, lines=(replace(line, state="late"),)),
        replace(one, lines=(replace(line, act_by_on=None),)),
        replace(one, lines=(replace(line, subject="drum"),)),
        replace(one, lines=(replace(line, earliest_on=None),)),
    ]
    for other in others:
        assert orders_to_place([other], CANS, WEEK) == []


def order(total_l: float, needed: int = 10, earliest: int = 7, **more: Any) -> OrderToPlace:
    values: dict[str, Any] = {"solvent": "isopropanol", "tanks": ("a",)}
    return OrderToPlace(
        missing_l=total_l, buy=(), total_l=total_l, by_on=on(3), earliest_on=on(earliest),
        needed_on=on(needed), **(values | more),
    )  # fmt: skip


def test_an_order_is_late_where_it_comes_after_its_day() -> None:
    assert not order(20, needed=7, earliest=7).is_late
    assert order(20, needed=6, earliest=7).is_late


def test_an_order_fits_into_what_is_left_of_the_fire_area() -> None:
    # 120 L in tanks, 60 fresh, 20 of waste: 100 L of 300 are left.
    fire = Fire(tanks_l=120, fresh_l=60, waste_l=20)
    burning = {"isopropanol"}
    assert within_the_fire_limit([order(100)], fire, 300, burning) == [order(100)]
    (tight,) = within_the_fire_limit([order(100.1)], fire, 300, burning)
    assert tight == order(100.1, fits_l=100)
    (full,) = within_the_fire_limit([order(1)], fire, 150, burning)
    assert full.fits_l == 0
    # The first order stands there when the second comes.
    both = within_the_fire_limit([order(60), order(60), order(60)], fire, 300, burning)
    assert [one.fits_l for one in both] == [None, 40, 0]


def test_solvent_that_does_not_burn_takes_nothing_of_the_fire_area() -> None:
    fire = Fire(tanks_l=120)
    water = order(500, solvent="water_based")
    assert within_the_fire_limit([water, order(30)], fire, 150, {"isopropanol"}) == [
        water, order(30),
    ]  # fmt: skip
    assert within_the_fire_limit([order(500)], fire, None, {"isopropanol"}) == [order(500)]


def test_what_comes_and_goes_before_the_order_counts() -> None:
    def fits(fire: Fire, **more: Any) -> float | None:
        (found,) = within_the_fire_limit([order(500, **more)], fire, 300, {"isopropanol"})
        return found.fits_l

    # A delivery of the day stands there, a pickup of the day has not been.
    assert fits(Fire(deliveries=((on(10), 40.0),))) == 260
    assert fits(Fire(deliveries=((on(11), 40.0),))) == 300
    assert fits(Fire(waste_l=50, pickups=((on(9), 50.0),))) == 300
    assert fits(Fire(waste_l=50, pickups=((on(10), 50.0),))) == 250
    # It is looked at on the day it comes, where that is after the day of need.
    assert fits(Fire(deliveries=((on(12), 40.0),)), needed=10, earliest=12) == 260
