"""Lots, deliveries and orders of an item, field by field, worked by hand."""

from datetime import date, timedelta
from typing import Any

import pytest

from app.domain.money import times
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    LotHeld,
    LotReleased,
    OrderCancelled,
    OrderPlaced,
    StockReceived,
)
from app.domain.solvents import SOLVENTS
from app.domain.solvents.purity import mass_percent
from app.domain.supplies.ledger import ITEM_BOOK, LOTS_KEPT
from app.domain.supplies.state import HeldLot, ItemState, KeepingRules, Lot, Movement, Order
from app.domain.things import fold
from tests.domain.supplies.test_ledger import MONDAY, counted, got, on, shelf, used

DAY = MONDAY.date()
IPA = Item(
    at=MONDAY, item="ipa", name="Isopropanol", category="solvent", unit="L", solvent="isopropanol",
    purity_volume_percent=91.0, container_sizes=[18.9, 3.8], list_price_cents=350, supplier="Marl",
)  # fmt: skip


def of_ipa(*entries: Entry) -> ItemState:
    state = fold(ITEM_BOOK, "ipa", [IPA, *entries])
    assert isinstance(state, ItemState)
    return state


def by_mass(volume_percent: float) -> float:
    return round(mass_percent(SOLVENTS["isopropanol"], volume_percent), 2)


# What it is.


def test_an_item_keeps_what_was_said_of_it_and_its_purity_by_mass() -> None:
    state = of_ipa()
    assert (state.name, state.category, state.unit, state.solvent) == (
        "Isopropanol", "solvent", "L", "isopropanol",
    )  # fmt: skip
    assert (state.purity_percent, state.purity_volume_percent) == (by_mass(91.0), 91.0)
    assert state.rules == KeepingRules((18.9, 3.8), supplier="Marl", list_price_cents=350)
    mass = fold(ITEM_BOOK, "x", [Item(at=MONDAY, item="x", name="X", category="solvent", unit="L",
                                      solvent="isopropanol", purity_percent=99.0)])  # fmt: skip
    assert (mass.purity_percent, mass.purity_volume_percent) == (99.0, None)


def test_a_change_of_the_purity_takes_the_place_of_both_figures() -> None:
    volume = ItemChanged(at=on(1), item="ipa", purity_volume_percent=70.0, name="Isopropanol 70")
    state = of_ipa(volume)
    assert (state.purity_percent, state.purity_volume_percent) == (by_mass(70.0), 70.0)
    assert (state.name, state.rules.supplier) == ("Isopropanol 70", "Marl")
    mass = ItemChanged(at=on(2), item="ipa", purity_percent=99.0)
    assert of_ipa(volume, mass).purity_volume_percent is None
    assert of_ipa(volume, mass).purity_percent == 99.0
    other = ItemChanged(at=on(2), item="ipa", location="Yard")
    assert of_ipa(volume, other).purity_volume_percent == 70.0


def test_an_item_set_up_again_is_in_use_again() -> None:
    gone = ItemChanged(at=on(1), item="ipa", is_retired=True)
    assert of_ipa(gone).is_retired
    assert not ITEM_BOOK.is_open(of_ipa(gone))
    assert not of_ipa(gone, IPA).is_retired


def test_an_entry_of_another_book_changes_nothing() -> None:
    assert of_ipa(TankHeld(at=on(1), tank="t1", reason="Leak", cause="lead")) == of_ipa()


# Deliveries.


def test_a_delivery_keeps_its_lot_its_price_and_its_containers() -> None:
    came = StockReceived(
        at=on(1), item="ipa", quantity=37.8, lot="A7", expires_on=date(2027, 1, 1), containers=2,
        price_cents=12_000, supplier="Heron", by="Wren", id="r1",
    )  # fmt: skip
    state = of_ipa(came)
    assert state.lots == (
        Lot("A7", 37.8, on(1).date(), date(2027, 1, 1), None, "Heron", 37.8, 12_000, 2),
    )
    assert state.worth.fifo_cents == state.worth.average_cents == 12_000
    assert state.recent == (Movement(on(1), "stock_received", 37.8, 37.8, "A7", "Wren", "r1"),)
    unnamed = of_ipa(StockReceived(at=on(1), item="ipa", quantity=10.0))
    assert unnamed.lots[0].lot == on(1).date().isoformat()
    assert (unnamed.lots[0].supplier, unnamed.lots[0].price_cents) == ("", None)
    assert unnamed.worth.fifo_cents == times(350, 10.0)


def test_without_any_price_it_is_worth_nothing() -> None:
    assert shelf(got(1, 10)).worth.fifo_cents == 0


def test_more_of_a_lot_joins_it_with_the_earlier_day_and_the_sum_of_the_prices() -> None:
    first = got(0, 10, lot="A", expires_on=date(2026, 9, 1), price_cents=1_000, containers=1)
    more = got(1, 4, lot="A", expires_on=date(2026, 6, 1), price_cents=500, containers=2)
    other = got(0.5, 3, lot="B")
    state = shelf(first, other, more)
    assert [lot.lot for lot in state.lots] == ["A", "B"]
    joined = state.lots[0]
    assert (joined.quantity, joined.received_quantity) == (14, 14)
    assert (joined.expires_on, joined.received_on) == (date(2026, 6, 1), DAY)
    assert (joined.price_cents, joined.containers) == (1_500, 3)
    assert joined.price_cents_per_unit == pytest.approx(1_500 / 14)
    unpriced = shelf(first, got(1, 4, lot="A")).lots[0]
    assert (unpriced.price_cents, unpriced.price_cents_per_unit) == (None, None)
    assert (unpriced.expires_on, unpriced.containers) == (date(2026, 9, 1), 1)
    assert shelf(got(0, 1, lot="A"), got(1, 1, lot="A")).lots[0].containers is None


def test_the_oldest_lots_of_very_many_become_one() -> None:
    lots = [got(number / 100, 1, lot=f"L{number}") for number in range(LOTS_KEPT + 2)]
    state = shelf(*lots)
    assert len(state.lots) == LOTS_KEPT
    assert [(lot.lot, lot.quantity) for lot in state.lots[:2]] == [("L0", 3), ("L3", 1)]
    assert state.lots[-1].lot == f"L{LOTS_KEPT + 1}"
    assert state.on_hand == LOTS_KEPT + 2


def held(days: float, lot: str, standing: str = "quarantined", reason: str = "Wet label") -> Entry:
    return LotHeld(at=on(days), item="gloves", lot=lot, standing=standing, reason=reason)


def test_what_joins_a_held_lot_is_held_and_what_was_withdrawn_stays_so() -> None:
    state = shelf(got(0, 5, lot="A"), held(1, "A"), got(2, 5, lot="A"))
    assert [(one.quantity, one.held, one.held_reason) for one in state.lots] == [
        (10, "quarantined", "Wet label")
    ]
    gone = shelf(got(0, 5, lot="A"), held(1, "A", "withdrawn", "Recall"), held(2, "A"))
    assert gone.lots[0].held == "withdrawn"
    assert gone.held_lots == (HeldLot("A", "withdrawn", gone.lots[0].held_reason),)
    assert "Recall" in gone.lots[0].held_reason
    free = LotReleased(at=on(3), item="gloves", lot="A", lead="Plover", reason="Tested")
    released = shelf(got(0, 5, lot="A"), got(0, 2, lot="B"), held(1, "A"), held(1, "B"), free)
    assert [(one.lot, one.held, one.held_reason) for one in released.lots] == [
        ("A", "", ""), ("B", "quarantined", "Wet label"),
    ]  # fmt: skip
    assert [one.lot for one in released.held_lots] == ["B"]


# Whether a lot is good.


@pytest.mark.parametrize(
    "lot, rules, days, standing, last",
    [
        ({}, {}, 9_999, "good", None),
        ({"expires_on": DAY + timedelta(days=5)}, {}, 5, "good", 5),
        ({"expires_on": DAY + timedelta(days=5)}, {}, 6, "expired", 5),
        ({"expires_on": DAY + timedelta(days=5)}, {"shelf_life_days": 2}, 5, "good", 5),
        ({}, {"shelf_life_days": 7}, 7, "good", 7),
        ({}, {"shelf_life_days": 7}, 8, "expired", 7),
        ({"opened_on": DAY + timedelta(days=1)}, {"opened_life_days": 3}, 4, "good", 4),
        ({"opened_on": DAY + timedelta(days=1)}, {"opened_life_days": 3}, 5, "expired", 4),
        ({}, {"opened_life_days": 3}, 99, "good", None),
        ({"opened_on": DAY + timedelta(days=1)}, {}, 99, "good", None),
        ({"held": "quarantined"}, {}, 0, "quarantined", -1),
        ({"held": "withdrawn"}, {"shelf_life_days": 7}, 0, "withdrawn", -1),
    ],
)  # fmt: skip
def test_a_lot_is_good_to_its_last_day(
    lot: dict[str, Any], rules: dict[str, Any], days: int, standing: str, last: int | None
) -> None:
    known, keeping = Lot("A", 1.0, DAY, **lot), KeepingRules(**rules)
    assert known.standing(keeping, DAY + timedelta(days=days)) == standing
    until = known.usable_until(keeping)
    assert until == (None if last is None else DAY + timedelta(days=last))


# Orders.


def ordered(days: float, quantity: float, **more: Any) -> OrderPlaced:
    values = {"item": "gloves", "order": "O1", **more}
    return OrderPlaced(at=on(days), quantity=quantity, **values)


def test_an_order_keeps_what_was_agreed_and_takes_the_usual_supplier() -> None:
    due = on(9).date()
    state = shelf(ordered(0, 20, expected_on=due, supplier="Marl", price_cents=4_000))
    assert state.on_order == (Order("O1", 20, DAY, 0.0, due, "Marl", 4_000),)
    usual = ItemChanged(at=on(0), item="gloves", supplier="Heron")
    assert shelf(usual, ordered(0, 20)).on_order[0].supplier == "Heron"
    again = shelf(ordered(0, 20), ordered(1, 5, order="O2"), ordered(2, 30))
    assert [(one.order, one.quantity) for one in again.on_order] == [("O2", 5), ("O1", 30)]
    assert (again.outstanding, again.order("O3")) == (35, None)
    order = state.on_order[0]
    assert [order.is_overdue(due + timedelta(days=n)) for n in (-1, 0, 1)] == [False, False, True]
    assert not Order("O1", 1, DAY).is_overdue(date.max)


def test_a_delivery_of_an_order_costs_its_share_of_it() -> None:
    """10.00 for 3: 3.33, then 3.34 (6.67 of 10.00 for two), then 3.33; rounded as they add up."""
    order = ordered(0, 3, price_cents=1_000, supplier="Marl")
    parts = [got(day, 1, order="O1", lot=f"L{day}") for day in (1, 2, 3)]
    state = shelf(order, *parts)
    costs = [lot.price_cents for lot in state.lots]
    assert sum(cost or 0 for cost in costs) == 1_000
    assert costs == [333, 334, 333]
    assert {lot.supplier for lot in state.lots} == {"Marl"}
    named = shelf(order, got(1, 1, order="O1", lot="A", supplier="Heron", price_cents=5))
    assert (named.lots[0].supplier, named.lots[0].price_cents) == ("Heron", 5)
    assert named.on_order[0].received == 1


def test_a_complete_order_teaches_its_lead_time_and_a_cancelled_one_none() -> None:
    done = shelf(ordered(0, 3, supplier="Marl"), got(2, 1, order="O1"), got(5, 2, order="O1"))
    assert done.on_order == ()
    (past,) = done.past_orders
    assert (past.order, past.supplier, past.closed_on, past.lead_days) == (
        "O1", "Marl", on(5).date(), 5,
    )  # fmt: skip
    cancelled = OrderCancelled(at=on(4), item="gloves", order="O1")
    (past,) = shelf(ordered(0, 3), cancelled).past_orders
    assert (past.closed_on, past.lead_days) == (on(4).date(), None)
    assert shelf(cancelled).past_orders == ()


# More used than came, and counts.


def test_what_was_used_before_it_came_is_taken_off_the_delivery() -> None:
    state = shelf(used(1, 3), got(2, 10, lot="A", price_cents=1_000))
    assert (state.on_hand, state.owed, state.lots[0].quantity) == (7, 0, 7)
    assert [one.balance for one in state.recent] == [-3, 7]


def test_a_surplus_joins_the_lot_that_came_last_and_costs_nothing_more() -> None:
    state = shelf(got(0, 5, lot="A"), got(1, 5, lot="B", price_cents=500), counted(2, 12))
    assert [(lot.lot, lot.quantity) for lot in state.lots] == [("A", 5), ("B", 7)]
    assert state.lots[1].price_cents == 500
    fresh = shelf(counted(2, 4))
    assert [(lot.lot, lot.quantity) for lot in fresh.lots] == [(on(2).date().isoformat(), 4)]
    named = shelf(got(0, 5, lot="A"), counted(2, 3, lot="C"))
    assert [(lot.lot, lot.quantity) for lot in named.lots] == [("A", 5), ("C", 3)]
