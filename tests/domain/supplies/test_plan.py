"""What the shelf says of an item: demand, run-out day, threatened swaps, what to order."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.supplies.demand import WEEKS_LOOKED_AT, learn
from app.domain.supplies.ordering import Space
from app.domain.supplies.outlook import ComingUse
from app.domain.supplies.plan import ItemPlan, plan_item
from app.domain.supplies.reorder import Containers, Lead
from app.domain.supplies.state import ItemState, KeepingRules, Lot, Order, Week, week_of
from app.domain.supplies.valuation import Valuation, receive
from app.domain.workdays import WorkCalendar
from tests.oracles import Ask

TODAY = date(2026, 3, 2)  # a Monday
THIS_WEEK = week_of(TODAY)
LEAD = Lead(7, 0, "item")
EVERY_DAY = WorkCalendar(frozenset(range(1, 8)))


def item(on_hand: float = 60.0, weekly: float = 14.0, **more: Any) -> ItemState:
    """Litres of solvent, used steadily for a year unless weeks are given."""
    weeks = tuple(Week(THIS_WEEK - n, 0.0, weekly) for n in range(52, 0, -1))
    values: dict[str, Any] = {
        "name": "Isopropanol", "category": "solvent", "unit": "L", "solvent": "isopropanol",
        "lots": (Lot("A", on_hand, TODAY - timedelta(days=9)),) if on_hand else (),
        "worth": receive(Valuation(), on_hand, 0), "weeks": weeks, "first_week": THIS_WEEK - 52,
    }  # fmt: skip
    return ItemState("ipa", **(values | more))


def swap(tank: str, days: int, litres: float, spread: int = 0) -> ComingUse:
    due = TODAY + timedelta(days=days)
    reach = timedelta(days=spread)
    return ComingUse(tank, tank.title(), litres, due, due - reach, due + reach)


def plan(state: ItemState, *coming: ComingUse, lead: Lead = LEAD) -> ItemPlan:
    return plan_item(state, lead, coming, TODAY, EVERY_DAY)


def in_days(day: date | None) -> int | None:
    return None if day is None else (day - TODAY).days


def test_demand_is_the_mean_and_spread_of_the_last_complete_weeks() -> None:
    used = [5.0, 0.0, 3.0, 8.0, 1.0, 0.0]
    weeks = tuple(Week(THIS_WEEK - 6 + n, 0, one) for n, one in enumerate(used) if one)
    state = item(weeks=(*weeks, Week(THIS_WEEK, 0, 99.0)), first_week=THIS_WEEK - 6)
    demand = learn(state, TODAY)
    assert demand.weeks == 6
    assert demand.per_week == pytest.approx(np.mean(used))
    assert demand.sd_per_week == pytest.approx(np.std(used, ddof=1))
    assert learn(item(), TODAY).weeks == WEEKS_LOOKED_AT


def test_an_item_that_was_never_used_has_no_demand() -> None:
    found = plan(item(weeks=(), first_week=None))
    assert (found.demand.weeks, found.reorder_point, found.run_out.expected_on) == (0, 0, None)
    assert found.standing == "ok"


def test_steady_use_runs_out_when_the_stock_divided_by_the_pace_says() -> None:
    assert in_days(plan(item(60, 14)).run_out.expected_on) == 30
    steady = plan(item(60, 14)).run_out
    assert steady.early_on == steady.expected_on == steady.late_on


def test_varying_use_has_an_early_and_a_late_day(ask: Ask) -> None:
    weeks = tuple(Week(THIS_WEEK - n, 0, 4.0 + 20 * (n % 2)) for n in range(52, 0, -1))
    out = plan(item(60, weeks=weeks)).run_out
    assert in_days(out.expected_on) == 30
    for day, z in ((out.early_on, 1.2816), (out.late_on, -1.2816)):  # solved with scipy
        sd = np.std([4.0, 24.0] * 13, ddof=1)
        exact = ask("steady_use_days", z, round(float(sd), 9), unit="d")
        assert in_days(day) == int(np.ceil(exact))


def test_the_run_out_day_agrees_with_simulated_courses() -> None:
    rng = np.random.default_rng(7)
    weeks = tuple(
        Week(THIS_WEEK - n, 0, max(0.0, one)) for n, one in enumerate(rng.normal(14, 5, 26), 1)
    )[::-1]
    state = item(120, weeks=weeks, first_week=THIS_WEEK - 26)
    demand = learn(state, TODAY)
    days = rng.normal(demand.per_week / 7, demand.sd_per_week / np.sqrt(7), (4000, 200)).cumsum(1)
    out_on = (days >= 120).argmax(axis=1) + 1
    out = plan(state).run_out
    assert in_days(out.expected_on) == pytest.approx(np.median(out_on), abs=1)
    # The first passage comes a little before the level at that day does: two days at most here.
    assert in_days(out.early_on) == pytest.approx(np.quantile(out_on, 0.1), abs=2)
    assert in_days(out.late_on) == pytest.approx(np.quantile(out_on, 0.9), abs=2)


def test_known_swaps_are_taken_on_their_days() -> None:
    state = item(60, 0.0)
    out = plan(state, swap("birch", 4, 46, 2), swap("alder", 11, 46, 3)).run_out
    assert [in_days(day) for day in (out.early_on, out.expected_on, out.late_on)] == [8, 11, 14]


def test_the_first_swap_that_lacks_solvent_is_named() -> None:
    found = plan(item(60, 0.0), swap("alder", 9, 46), swap("birch", 4, 46))
    assert found.threat is not None
    assert (found.threat.name, found.threat.needed, found.threat.short) == ("Alder", 46, 32)
    assert (found.standing, found.needs_order) == ("short", True)
    assert found.buy.quantity >= 32


def test_a_swap_that_an_ordinary_order_serves_is_no_threat() -> None:
    found = plan(item(60, 0.0), swap("birch", 4, 46), swap("elder", 40, 46))
    assert (found.threat, found.needs_order) == (None, False)
    assert in_days(found.order_by) == 40 - 7


def test_a_delivery_in_time_saves_the_swap() -> None:
    order = Order("o1", 50, TODAY, expected_on=TODAY + timedelta(days=8))
    state = item(60, 0.0, on_order=(order,))
    assert plan(state, swap("birch", 4, 46), swap("alder", 9, 46)).threat is None
    late = replace(order, expected_on=TODAY - timedelta(days=1))
    found = plan(replace(state, on_order=(late,)), swap("birch", 4, 46), swap("alder", 9, 46))
    assert found.threat is not None
    assert found.overdue == (late,)


def test_an_order_is_due_when_the_position_reaches_the_reorder_point() -> None:
    assert plan(item(15, 14)).reorder_point == pytest.approx(14)
    assert not plan(item(15, 14)).needs_order
    low = plan(item(14, 14))
    assert (low.needs_order, low.standing) == (True, "low")
    on_its_way = Order("o1", 20, TODAY, expected_on=TODAY + timedelta(days=3))
    assert not plan(item(14, 14, on_order=(on_its_way,))).needs_order


def test_the_latest_day_to_order_is_the_first_day_that_lacks_some_less_the_lead_time() -> None:
    # Sixty litres last thirty days: on the thirty-first some is missing.
    assert in_days(plan(item(60, 14)).order_by) == 31 - 7
    slow = plan(item(60, 14), lead=Lead(7, 3, "learned", 5))
    assert in_days(slow.order_by) == 31 - 12  # 7 + 1.645 * 3 = 11.9
    assert in_days(plan(item(3, 14)).order_by) == 0


def test_orders_come_in_containers_and_within_the_shelf() -> None:
    rules = KeepingRules(
        container_sizes=(18.9, 3.8), order_cost_cents=4000, list_price_cents=350,
        holding_percent=25,
    )  # fmt: skip
    free = plan(item(10, 12, rules=rules)).buy
    assert (free.basis, free.limit) == ("economic", "")
    assert free.wanted == pytest.approx(238.9, abs=0.05)
    assert free.quantity >= free.wanted
    assert free.cost_cents == round(350 * free.quantity)
    held = plan(item(10, 12, rules=replace(rules, max_on_shelf=60.0))).buy
    assert held.containers == (Containers(18.9, 2), Containers(3.8, 3))
    assert (held.limit, held.quantity) == ("shelf", pytest.approx(49.2))
    old = plan(item(10, 12, rules=replace(rules, shelf_life_days=35.0))).buy
    assert (old.limit, old.quantity) == ("spoils", pytest.approx(49.2))


def test_gloves_are_ordered_in_whole_pairs() -> None:
    weeks = tuple(Week(THIS_WEEK - n, 0, 2.3) for n in range(20, 0, -1))
    gloves = ItemState("g", "Gloves", "protection", "pair", weeks=weeks, first_week=THIS_WEEK - 20)
    found = plan(gloves)
    assert (found.buy.quantity, found.standing) == (10, "none")


def test_what_spoils_is_not_counted_on() -> None:
    ends = TODAY + timedelta(days=10)
    lots = (Lot("old", 40, TODAY, expires_on=ends), Lot("new", 40, TODAY))
    found = plan(item(80, 14, lots=lots))
    assert [(lot.lot, lot.spoils) for lot in found.lots] == [("old", 20)]
    assert in_days(found.run_out.expected_on) == 30
    assert found.standing == "expiring"
    gone = (Lot("old", 40, TODAY, expires_on=TODAY - timedelta(days=1)), Lot("new", 40, TODAY))
    expired = plan(item(80, 14, lots=gone))
    assert (expired.lots[0].is_expired, expired.position) == (True, 40)
    assert expired.standing == "expired"


def test_books_below_zero_ask_for_a_count() -> None:
    assert plan(item(0, 14, owed=3.0)).standing == "recount"


def seldom(on_hand: float, reorder_at: float | None = None, **more: Any) -> ItemState:
    """A spill kit: counted in pieces, no use in its past."""
    values: dict[str, Any] = {
        "category": "protection", "unit": "piece", "solvent": None, "weeks": (),
        "first_week": THIS_WEEK if on_hand else None, "rules": KeepingRules(reorder_at=reorder_at),
    }  # fmt: skip
    return item(on_hand, **(values | more))


def test_of_an_item_without_use_no_day_is_named_and_nothing_is_ordered() -> None:
    for state, standing in ((seldom(0), "new"), (seldom(5), "ok")):
        found = plan(state)
        assert (found.is_used, found.needs_order, found.standing) == (False, False, standing)
        assert (found.order_by, found.buy.quantity) == (None, 0)
        assert found.run_out.early_on is None
    ends = (Lot("old", 5, TODAY, expires_on=TODAY + timedelta(days=4)),)
    spoiling = plan(seldom(5, lots=ends))
    assert (spoiling.needs_order, spoiling.order_by, spoiling.standing) == (False, None, "expiring")


def test_what_must_be_there_is_ordered_at_the_point_that_was_entered() -> None:
    assert not plan(seldom(3, 2)).needs_order
    at_it = plan(seldom(2, 2))
    assert (at_it.needs_order, at_it.standing, at_it.buy.quantity) == (True, "low", 2)
    none = plan(seldom(0, 2))
    assert (none.standing, none.buy.quantity, none.buy.basis) == ("none", 4, "refill")
    on_its_way = Order("o1", 4, TODAY, expected_on=TODAY + timedelta(days=3))
    assert not plan(seldom(0, 2, on_order=(on_its_way,))).needs_order


def test_the_higher_of_the_computed_and_the_entered_reorder_point_counts() -> None:
    low, high = (plan(item(60, 14, rules=KeepingRules(reorder_at=one))) for one in (5.0, 40.0))
    assert (low.reorder_point, low.computed_point) == (pytest.approx(14), pytest.approx(14))
    assert (high.reorder_point, high.computed_point) == (40, pytest.approx(14))


def test_a_swap_of_an_item_without_a_past_is_ordered_for() -> None:
    found = plan(item(10, 0.0, weeks=(), first_week=None), swap("alder", 11, 46, spread=4))
    assert (found.needs_order, found.threat) == (True, None)  # early on day 7, delivery takes 7
    assert (found.buy.quantity, found.buy.basis) == (36, "swaps")


def test_a_full_shelf_below_its_reorder_point_is_no_order_of_nothing() -> None:
    rules = KeepingRules(max_on_shelf=10.0)
    found = plan(item(10, 14, rules=rules))
    assert (found.needs_order, found.buy.quantity, found.buy.limit) == (True, 0, "shelf")
    assert found.standing == "full"
    small = plan(item(8, 14, rules=replace(rules, container_sizes=(18.9,))))
    assert (small.buy.quantity, small.buy.limit, small.standing) == (0, "shelf", "full")


def test_orders_are_counted_on_until_they_are_late() -> None:
    orders = tuple(
        Order(f"o{n}", quantity, TODAY, expected_on=day)
        for n, (quantity, day) in enumerate(
            [(7, TODAY + timedelta(days=2)), (5, TODAY - timedelta(days=2)), (3, None)]
        )
    )
    found = plan(item(20, 14, on_order=orders))
    assert found.counted == 7 + 3  # one without a day comes when orders usually do
    assert [order.order for order in found.overdue] == ["o1"]
    long_ago = Order("o3", 4, TODAY - timedelta(days=8))
    assert plan(item(20, 14, on_order=(long_ago,))).overdue == (long_ago,)


lots_of_stock = st.lists(
    st.tuples(st.integers(1, 60), st.none() | st.integers(-5, 90)), max_size=3
).map(
    lambda lots: tuple(
        Lot(f"L{n}", float(q), TODAY, None if d is None else TODAY + timedelta(days=d))
        for n, (q, d) in enumerate(lots)
    )
)
some_rules = st.builds(
    KeepingRules,
    container_sizes=st.sampled_from([(), (18.9, 3.8), (50.0,)]),
    max_on_shelf=st.none() | st.integers(0, 80),
    order_minimum=st.none() | st.integers(0, 60),
    shelf_life_days=st.none() | st.integers(1, 60),
    reorder_at=st.none() | st.integers(0, 30),
)
some_swaps = st.lists(
    st.builds(swap, st.just("alder"), st.integers(0, 90), st.integers(1, 60), st.integers(0, 9)),
    max_size=4,
)


@given(lots_of_stock, some_rules, some_swaps, st.sampled_from([0.0, 0.3, 14.0]), st.integers(0, 70))
def test_an_order_that_is_due_is_never_one_of_nothing(
    lots: tuple[Lot, ...], rules: KeepingRules, swaps: list[ComingUse], weekly: float, days: int
) -> None:
    weeks = {} if weekly else {"weeks": (), "first_week": None}
    state = item(0, weekly, lots=lots, rules=rules, **weeks)
    found = plan(state, *swaps, lead=Lead(days, days / 4, "item"))
    if found.needs_order:
        assert found.buy.quantity > 0 or found.buy.limit
        assert (found.standing == "full") <= (found.buy.quantity == 0)
    if found.standing == "low":
        assert found.buy.quantity > 0
    if not found.is_used:
        assert (found.needs_order, found.order_by, found.threat) == (False, None, None)


some_orders = st.lists(
    st.tuples(st.integers(1, 60), st.integers(0, 20), st.none() | st.integers(-6, 50)), max_size=3
).map(
    lambda orders: tuple(
        Order(f"o{n}", float(quantity), TODAY - timedelta(days=placed),
              expected_on=None if due is None else TODAY + timedelta(days=due))
        for n, (quantity, placed, due) in enumerate(orders)
    )
)  # fmt: skip
some_leads = st.builds(
    Lead, st.integers(0, 70), st.sampled_from([0.0, 2.5]), st.just("item"), st.just(0),
    st.none() | st.integers(0, 40),
)  # fmt: skip
some_use = st.lists(st.floats(0, 40), max_size=30).map(
    lambda used: tuple(Week(THIS_WEEK - n, 0.0, one) for n, one in enumerate(used, 1))[::-1]
)
some_weekdays = st.frozensets(st.integers(1, 7), min_size=1)
some_closed = st.sets(st.integers(0, 60), max_size=12)
some_space = st.builds(Space, st.none() | st.integers(0, 90), st.none() | st.integers(0, 90))


@settings(max_examples=400)
@given(
    lots_of_stock, some_rules, some_swaps, some_use, some_orders, some_leads, some_weekdays,
    some_closed, some_space, st.sampled_from(["L", "piece"]), st.booleans(), st.integers(0, 6),
)  # fmt: skip
def test_after_a_suggestion_is_entered_the_suggestion_is_empty(
    lots: tuple[Lot, ...], rules: KeepingRules, swaps: list[ComingUse], weeks: tuple[Week, ...],
    orders: tuple[Order, ...], lead: Lead, weekdays: frozenset[int], closed: set[int],
    space: Space, unit: str, is_dated: bool, day: int,
) -> None:  # fmt: skip
    """Whatever is there, on its way and asked for: nothing is asked for a second time."""
    today = TODAY + timedelta(days=day)
    workdays = WorkCalendar(weekdays, {TODAY + timedelta(days=n): "Closed" for n in closed})
    first = THIS_WEEK - len(weeks) if weeks else None
    state = item(
        0, lots=lots, rules=rules, weeks=weeks, first_week=first, on_order=orders, unit=unit
    )
    found = plan_item(state, lead, swaps, today, workdays, space)
    quantity = found.buy.quantity
    if not found.is_listed(today):
        return
    assert workdays.is_working(found.comes_on)
    most = [one for one in (space.fire, space.cabinet, rules.max_on_shelf) if one is not None]
    assert quantity <= min(most, default=1e9) + 1e-6
    assert quantity >= (rules.order_minimum or 0) - 1e-6
    entered = Order("new", quantity, today, expected_on=found.comes_on if is_dated else None)
    left = Space(*(None if one is None else one - quantity for one in (space.fire, space.cabinet)))
    with_it = replace(state, on_order=(*orders, entered))
    again = plan_item(with_it, lead, swaps, today, workdays, left)
    assert not again.is_listed(today)


def test_what_comes_too_late_is_no_order_and_says_when_it_is_there() -> None:
    """A swap in four days, a delivery of seven: no order cures it, and one entered is not asked
    for again; the swap is there to be put off until the order comes."""
    state = item(10, 0.0, weeks=(), first_week=None)
    found = plan(state, swap("birch", 4, 46))
    assert found.threat is not None
    assert (found.threat.short, found.is_too_late, found.threat.cured_on) == (36, True, None)
    assert (found.needs_order, found.buy.quantity) == (True, 36)
    order = Order("o1", 36, TODAY, expected_on=found.comes_on)
    entered = plan(replace(state, on_order=(order,)), swap("birch", 4, 46))
    assert (entered.needs_order, entered.buy.quantity, entered.standing) == (False, 0, "short")
    assert entered.threat is not None
    assert in_days(entered.threat.cured_on) == 7


def test_a_trace_of_use_below_a_reorder_point_is_ordered_up_to_it() -> None:
    """Less a week than any form shows, as a count may leave it, and a point that was entered."""
    weeks = tuple(Week(THIS_WEEK - n, 0.0, 1e-300) for n in range(4, 0, -1))
    found = plan(item(1, weeks=weeks, first_week=THIS_WEEK - 4, rules=KeepingRules(reorder_at=30)))
    assert found.buy.quantity == pytest.approx(29, abs=0.03)


def test_sixty_litres_lost_are_ordered_once() -> None:
    """As in a room whose container leaked: eight orders were asked for, one after another."""
    state = item(5, 14, rules=KeepingRules(container_sizes=(18.9,), order_minimum=37.8))
    for turn in range(8):
        found = plan(state, swap("birch", 3, 38), swap("alder", 9, 38))
        assert found.is_listed(TODAY) == (turn == 0)
        order = Order(f"o{turn}", found.buy.quantity, TODAY, expected_on=found.comes_on)
        state = replace(state, on_order=(*state.on_order, order))


def test_fire_area_and_cabinet_bind_what_is_ordered() -> None:
    rules = KeepingRules(container_sizes=(18.9, 3.8))
    for space, limit in ((Space(fire=25.0), "fire"), (Space(cabinet=25.0), "cabinet")):
        found = plan_item(item(5, 14, rules=rules), LEAD, (), TODAY, EVERY_DAY, space)
        assert (found.buy.quantity, found.buy.limit) == (pytest.approx(22.7), limit)
    none = plan_item(item(5, 14, rules=rules), LEAD, (), TODAY, EVERY_DAY, Space(fire=-30.0))
    assert (none.buy.quantity, none.buy.limit, none.standing) == (0, "fire", "full")


def test_no_less_is_ordered_than_the_supplier_takes_an_order_for() -> None:
    rules = KeepingRules(container_sizes=(3.8,), order_minimum=100.0)
    assert plan(item(5, 14, rules=rules)).buy.quantity == pytest.approx(102.6)
    tight = plan(item(5, 14, rules=replace(rules, max_on_shelf=60.0)))
    assert (tight.buy.quantity, tight.buy.limit, tight.standing) == (0, "minimum", "full")


def test_an_order_is_placed_and_comes_on_working_days() -> None:
    """From Thursday 24 December five working days, with the 25th and New Year's Day closed."""
    closed = {date(2026, 12, 25): "Christmas Day", date(2027, 1, 1): "New Year's Day"}
    week = WorkCalendar(closed=closed)
    lead = Lead(7, 0, "site", working_days=5)
    assert lead.comes_on(date(2026, 12, 24), week) == date(2027, 1, 4)
    assert lead.place_by(date(2027, 1, 3), week) == date(2026, 12, 23)
    calendar_days = Lead(7, 0, "item")
    assert calendar_days.comes_on(date(2026, 12, 25), week) == date(2027, 1, 4)


def test_a_first_week_tells_no_pace() -> None:
    """Five litres taken on the first day are no thirty-five a week: nothing is named or ordered."""
    first = item(15, weeks=(Week(THIS_WEEK, 0.0, 5.0),), first_week=THIS_WEEK)
    found = plan(first)
    assert (found.demand.per_week, found.needs_order, found.order_by) == (0, False, None)
