"""What may be said of the shelf's stock, and what the shelf makes of the queue of swaps."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, select

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    OrderCancelled,
    OrderPlaced,
    StockCounted,
    StockEntry,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.services.acts.counting import record_count
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.rooms import find_room
from app.services.supplies.shelf import Shelf, read_shelf
from app.services.supplies.stock import use_problems
from app.store.engine import Store
from app.store.tables import EntryRow
from app.store.things import thing
from tests.factories import NOW, ROOM, furnish, sensor_reading, withdraw
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with two tanks, gloves, solvent of two kinds."""
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    at = NOW - timedelta(days=13)
    record(
        store, ROOM,
        [
            Item(at=at, item="gloves", name="Gloves M", category="protection", unit="pair"),
            Item(at=at, item="ipa", name="Isopropanol 99 %", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.0, supplier="Teal Supply"),
            Item(at=at, item="tpm", name="Glycol ether", category="solvent", unit="L",
                 solvent="tripropylene_glycol_methyl_ether"),
            StockReceived(at=at, item="gloves", quantity=50, lot="G1"),
            StockReceived(at=at, item="tpm", quantity=20),
            StockReceived(at=at, item="ipa", quantity=30, lot="I1", expires_on=date(2026, 2, 25)),
        ],
        NOW,
    )  # fmt: skip
    yield store
    store.close()


def problems(store: Store, entry: StockEntry) -> dict[str, str]:
    try:
        enter(store, ROOM, [entry], NOW)
    except FieldErrors as error:
        return error.by_field()
    return {}


def on_hand(store: Store, item: str) -> float:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        return float(thing(session, room_id, "item", item).on_hand)


def entries(store: Store) -> int:
    with Session(store.reader) as session:
        return len(session.exec(select(EntryRow.id)).all())


def shelf(store: Store) -> Shelf:
    with Session(store.reader) as session:
        return read_shelf(session, find_room(session, ROOM), NOW)


@pytest.mark.parametrize(
    "entry, field, words",
    [
        (StockUsed(at=NOW, item="gloves", quantity=51), "quantity", "50 pairs"),
        (StockUsed(at=NOW, item="gloves", quantity=2.5), "quantity", "whole pairs"),
        (StockUsed(at=NOW, item="gloves", quantity=2, unit="L"), "quantity", "not in L"),
        (StockUsed(at=NOW, item="gloves", quantity=1, lot="G9"), "lot", "no lot “G9”"),
        (StockUsed(at=NOW, item="masks", quantity=1), "item", "no item “masks”"),
        (StockUsed(at=NOW, item="tpm", quantity=5, tank="t1"), "item", "Do not pour"),
        (StockUsed(at=NOW, item="ipa", quantity=5, lot="I1"), "lot", "good until Wed 25 Feb 2026"),
        (StockScrapped(at=NOW, item="gloves", quantity=60, reason="lost"), "quantity", "50"),
        (StockCounted(at=NOW, item="gloves", quantity=3, lot="G9"), "lot", "no lot"),
        (StockOpened(at=NOW, item="gloves", lot="G9"), "lot", "no lot"),
        (StockReceived(at=NOW, item="gloves", quantity=9, order="o9"), "order", "no order “o9”"),
        (OrderCancelled(at=NOW, item="gloves", order="o9"), "order", "left to come"),
        (OrderPlaced(at=NOW, item="gloves", order="o1", quantity=9, unit="kg"), "quantity", "kg"),
    ],
)
def test_what_does_not_fit_the_shelf_is_refused(
    store: Store, entry: StockEntry, field: str, words: str
) -> None:
    before = entries(store)
    assert words in problems(store, entry)[field]
    assert entries(store) == before


def test_an_expired_lot_is_used_only_with_a_reason(store: Store) -> None:
    assert not problems(store, StockUsed(at=NOW, item="ipa", quantity=5, lot="I1", note="Rinsing"))


def test_what_fits_is_stored_and_the_checks_of_a_use_are_open_to_others(store: Store) -> None:
    use = StockUsed(at=NOW, item="gloves", quantity=6, purpose="hand_out")
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        assert use_problems(session, room_id, use, NOW) == []
    assert not problems(store, use)
    assert on_hand(store, "gloves") == 44


def test_an_order_is_received_once(store: Store) -> None:
    at = NOW - timedelta(days=6)
    order = OrderPlaced(at=at, item="gloves", order="o1", quantity=100)
    assert not problems(store, order)
    assert "already" in problems(store, order)["order"]
    part = StockReceived(at=NOW, item="gloves", quantity=60, order="o1")
    assert not problems(store, part)
    assert "40 pairs are still to come" in problems(store, part)["quantity"]
    early = StockReceived(at=at - timedelta(days=1), item="gloves", quantity=1, order="o1")
    assert "placed later" in problems(store, early)["at"]
    rest = StockReceived(at=NOW, item="gloves", quantity=40, order="o1")
    assert not problems(store, rest)
    assert "received in full" in problems(store, rest)["order"]
    assert on_hand(store, "gloves") == 150


def test_a_cancelled_order_is_not_received(store: Store) -> None:
    enter(store, ROOM, [OrderPlaced(at=NOW, item="gloves", order="o2", quantity=9)], NOW)
    assert not problems(store, OrderCancelled(at=NOW, item="gloves", order="o2"))
    late = StockReceived(at=NOW, item="gloves", quantity=9, order="o2")
    assert "cancelled" in problems(store, late)["order"]


def test_nothing_comes_of_an_item_that_is_no_longer_kept(store: Store) -> None:
    record(store, ROOM, [ItemChanged(at=NOW, item="gloves", is_retired=True)], NOW)
    more = StockReceived(at=NOW, item="gloves", quantity=9)
    assert "no longer kept" in problems(store, more)["item"]


def test_one_wrong_line_stores_nothing_of_the_others(store: Store) -> None:
    good = StockReceived(at=NOW, item="gloves", quantity=5)
    bad = StockReceived(at=NOW, item="ipa", quantity=5, order="none")
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, [good, bad], NOW)
    assert caught.value.place == 1
    assert on_hand(store, "gloves") == 50


def test_a_double_tap_uses_once(store: Store) -> None:
    use = StockUsed(at=NOW, item="gloves", quantity=6)
    first = enter(store, ROOM, [use], NOW, "tap")
    again = enter(store, ROOM, [use], NOW, "tap")
    assert again.ids == first.ids
    assert on_hand(store, "gloves") == 44


def test_a_use_that_is_taken_back_is_on_the_shelf_again(store: Store) -> None:
    done = enter(store, ROOM, [StockUsed(at=NOW, item="gloves", quantity=6)], NOW)
    withdraw(store, ROOM, done.ids[0], "Wren", "", NOW, None)
    assert on_hand(store, "gloves") == 50


def test_a_late_entry_gives_the_ledger_of_the_right_order(store: Store) -> None:
    enter(store, ROOM, [StockCounted(at=NOW, item="gloves", quantity=40)], NOW)
    late = StockUsed(at=NOW - timedelta(days=2), item="gloves", quantity=7)
    enter(store, ROOM, [late], NOW)
    assert on_hand(store, "gloves") == 40


def test_a_count_is_refused_where_the_books_changed_meanwhile(store: Store) -> None:
    count = [
        StockCounted(at=NOW, item="tpm", quantity=20, expected=20),
        StockCounted(at=NOW, item="gloves", quantity=48, expected=50),
    ]
    enter(store, ROOM, [StockUsed(at=NOW, item="gloves", quantity=2)], NOW)
    with pytest.raises(FieldErrors, match="changed since"):
        record_count(store, ROOM, count, NOW)
    assert on_hand(store, "gloves") == 48
    fresh = [count[0], StockCounted(at=NOW, item="gloves", quantity=47, expected=48)]
    assert len(record_count(store, ROOM, fresh, NOW).ids) == 2


def washes(tank: str, count: int) -> list[Wash]:
    return [
        Wash(at=NOW - timedelta(days=12 - 12 * i / count), tank=tank, resin="slate", area_cm2=9000)
        for i in range(count)
    ]


def test_a_queued_swap_that_lacks_solvent_is_named_on_the_shelf(store: Store) -> None:
    record(store, ROOM, [*washes("t1", 12), sensor_reading(11.9, 0.5), *washes("t2", 16)], NOW)
    plan = shelf(store).plan("ipa")
    assert plan is not None
    assert plan.threat is not None
    assert plan.threat.tank in ("t1", "t2")
    assert plan.threat.needed == pytest.approx(38, abs=4)  # between the marks of 30 and 40 L
    assert plan.standing == "short"
    other = shelf(store).plan("tpm")
    assert other is not None
    assert other.threat is None
    assert shelf(store).threats == [plan]


def test_a_part_that_every_swap_takes_is_counted_for_each(store: Store) -> None:
    record(
        store, ROOM,
        [
            *washes("t1", 12), sensor_reading(11.9, 0.5),
            ItemChanged(at=NOW, item="gloves", used_per_swap=60.0),
        ],
        NOW,
    )  # fmt: skip
    plan = shelf(store).plan("gloves")
    assert plan is not None
    assert plan.threat is not None
    assert (plan.threat.needed, plan.threat.short) == (60, 10)


def test_lead_times_are_those_of_the_supplier_whatever_the_item(store: Store) -> None:
    def order(key: str, item: str, days: int, took: int) -> list[Any]:
        at = NOW - timedelta(days=days)
        came = at + timedelta(days=took)
        return [
            OrderPlaced(at=at, item=item, order=key, quantity=5, supplier="Teal Supply"),
            StockReceived(at=came, item=item, quantity=5, order=key),
        ]

    site = shelf(store).plan("ipa")
    assert site is not None
    assert (site.lead.source, site.lead.days) == ("site", 7)  # five working days
    placed = [*order("a", "ipa", 12, 4), *order("b", "gloves", 11, 6), *order("c", "ipa", 10, 8)]
    record(store, ROOM, placed, NOW)
    learned = shelf(store).plan("ipa")
    assert learned is not None
    assert (learned.lead.source, learned.lead.days, learned.lead.deliveries) == ("learned", 6, 3)
    assert learned.lead.sd_days == pytest.approx(2)


def test_the_day_is_that_of_the_room(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    furnish(store, time_zone="Pacific/Auckland")
    with Session(store.reader) as session:
        late = datetime(2026, 3, 2, 22, 0, tzinfo=UTC)
        assert read_shelf(session, find_room(session, ROOM), late).today == date(2026, 3, 3)
    store.close()


def test_an_item_keeps_its_unit(store: Store) -> None:
    again = Item(at=NOW, item="gloves", name="Gloves", category="protection", unit="box")
    with pytest.raises(FieldErrors, match="counted in pairs"):
        enter(store, ROOM, [again], NOW)
    with pytest.raises(FieldErrors, match="not in L"):
        enter(store, ROOM, [StockUsed(at=NOW, item="gloves", quantity=1, unit="L")], NOW)
