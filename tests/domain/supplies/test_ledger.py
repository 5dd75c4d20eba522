"""The ledger of an item, held against counting by hand and a naive recomputation."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    LotHeld,
    LotReleased,
    OrderCancelled,
    OrderPlaced,
    StockCounted,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.lines import parse_entry
from app.domain.supplies.ledger import ITEM_BOOK, LOTS_KEPT, RECENT_KEPT
from app.domain.supplies.state import ItemState, week_of
from app.domain.supplies.usage import WEEKS_KEPT
from app.domain.things import fold
from app.store.things import adapter

MONDAY = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
GLOVES = Item(at=MONDAY, item="gloves", name="Gloves M", category="protection", unit="pair")


def on(days: float) -> datetime:
    return MONDAY + timedelta(days=days)


def got(days: float, quantity: float, **more: Any) -> StockReceived:
    return StockReceived(at=on(days), item="gloves", quantity=quantity, **more)


def used(days: float, quantity: float, **more: Any) -> StockUsed:
    return StockUsed(at=on(days), item="gloves", quantity=quantity, **more)


def counted(days: float, quantity: float, **more: Any) -> StockCounted:
    return StockCounted(at=on(days), item="gloves", quantity=quantity, **more)


def shelf(*entries: Entry) -> ItemState:
    state = fold(ITEM_BOOK, "gloves", [GLOVES, *entries])
    assert isinstance(state, ItemState)
    return state


def test_stock_is_taken_from_the_lot_that_expires_first() -> None:
    state = shelf(
        got(0, 10, lot="A", expires_on=date(2026, 9, 1)),
        got(1, 10, lot="B", expires_on=date(2026, 6, 1)),
        used(2, 4),
    )
    assert {lot.lot: lot.quantity for lot in state.lots} == {"A": 10, "B": 6}
    assert state.on_hand == 16


def test_a_use_without_a_lot_passes_over_what_is_expired_or_held() -> None:
    shelved = [
        got(0, 10, lot="OLD", expires_on=date(2026, 3, 4)),
        got(0, 10, lot="BAD", expires_on=date(2026, 6, 1)),
        got(1, 10, lot="NEW", expires_on=date(2026, 9, 1)),
        StockOpened(at=on(1), item="gloves", lot="OLD"),
        LotHeld(at=on(1), item="gloves", lot="BAD", standing="quarantined", reason="Torn"),
    ]
    state = shelf(*shelved, used(3, 4))
    assert {lot.lot: lot.quantity for lot in state.lots} == {"OLD": 10, "BAD": 10, "NEW": 6}
    assert state.recent[-1].lot == "NEW"
    on_its_last_day = shelf(*shelved, used(2, 4))
    assert on_its_last_day.recent[-1].lot == "OLD"
    told = shelf(*shelved, used(3, 25))  # a log that is brought in tells what was
    assert {lot.lot: lot.quantity for lot in told.lots} == {"BAD": 5}
    assert told.recent[-1].lot == "NEW, OLD, BAD"


def test_a_held_lot_that_was_used_up_comes_in_held() -> None:
    held = [
        got(0, 10, lot="A"),
        LotHeld(at=on(1), item="gloves", lot="A", standing="quarantined", reason="Torn"),
        counted(2, 0, lot="A"),
    ]
    assert shelf(*held).lots == ()
    for again in (got(3, 5, lot="A"), counted(3, 5, lot="A")):
        assert [(lot.held, lot.held_reason) for lot in shelf(*held, again).lots] == [
            ("quarantined", "Torn")
        ]
    word = LotReleased(at=on(2), item="gloves", lot="A", lead="Curlew", reason="Seen")
    assert shelf(*held, word, got(3, 5, lot="A")).lots[0].held == ""


@pytest.mark.parametrize("typed", ["a-7", " A-7", "\uff21-7"])
def test_a_lot_is_the_same_however_its_label_is_typed(typed: str) -> None:
    recall = LotHeld(at=on(1), item="gloves", lot=typed, standing="withdrawn", reason="Recall")
    state = shelf(got(0, 10, lot="A-7"), recall, got(2, 5, lot=typed), used(3, 1, lot=typed))
    assert [(one.lot, one.quantity, one.held) for one in state.lots] == [("A-7", 14, "withdrawn")]
    assert (state.spelled(typed), state.spelled("B-1")) == ("A-7", "B-1")
    gone = shelf(got(0, 10, lot="A-7"), recall, counted(2, 0, lot="A-7"))
    assert (gone.lot(typed), gone.spelled(typed)) == (None, "A-7")
    held = gone.held_lot(typed)
    assert held is not None
    assert (held.lot, held.standing) == ("A-7", "withdrawn")
    assert gone.held_lot("A-8") is None


def test_a_short_reason_is_not_swallowed_by_a_longer_one() -> None:
    said = ("It leaks at the cap", "It leaks", "It leaks.")
    words = [
        LotHeld(at=on(day), item="gloves", lot="A", standing="quarantined", reason=reason)
        for day, reason in enumerate(said, 1)
    ]
    lot = shelf(got(0, 10, lot="A"), *words).lots[0]
    assert lot.held_reason == "It leaks at the cap; It leaks"


def test_a_lot_held_a_second_time_is_held_for_both_reasons() -> None:
    """A release is read against all it lifts; what its maker withdrew is no mere quarantine."""
    recall = LotHeld(at=on(1), item="gloves", lot="A", standing="withdrawn", reason="Recall 7.")
    torn = LotHeld(at=on(2), item="gloves", lot="A", standing="quarantined", reason="Torn")
    for words, told in (((recall, torn), "Recall 7; Torn"), ((torn, recall), "Torn; Recall 7.")):
        lot = shelf(got(0, 10, lot="A"), *words, torn).lots[0]
        assert (lot.held, lot.held_reason) == ("withdrawn", told)


def test_an_opened_lot_is_used_up_before_another_is_opened() -> None:
    state = shelf(
        got(0, 10, lot="A", expires_on=date(2026, 9, 1)),
        got(1, 10, lot="B", expires_on=date(2026, 6, 1)),
        StockOpened(at=on(2), item="gloves", lot="A"),
        used(3, 4),
    )
    assert {lot.lot: lot.quantity for lot in state.lots} == {"A": 6, "B": 10}


def test_an_opened_lot_keeps_only_as_long_as_opened_ones_do() -> None:
    state = shelf(
        ItemChanged(at=on(0), item="gloves", opened_life_days=30.0),
        got(0, 10, lot="A", expires_on=date(2027, 1, 1)),
        StockOpened(at=on(2), item="gloves", lot="A"),
    )
    assert state.lots[0].use_by(state.rules) == date(2026, 4, 3)


def test_more_used_than_came_is_settled_by_the_next_receipt() -> None:
    short = shelf(got(0, 3), used(1, 5))
    assert short.on_hand == -2
    state = shelf(got(0, 3), used(1, 5), got(2, 10))
    assert state.on_hand == 8
    assert [movement.balance for movement in state.recent] == [3, -2, 8]


def test_a_count_sets_what_lies_there_and_keeps_the_difference() -> None:
    state = shelf(got(0, 20), used(1, 5), counted(2, 12))
    assert state.on_hand == 12
    assert (state.recent[-1].change, state.recent[-1].balance) == (-3, 12)
    assert shelf(got(0, 20), used(1, 5), counted(2, 17)).on_hand == 17


def test_a_count_of_one_lot_leaves_the_others() -> None:
    state = shelf(got(0, 20, lot="A"), got(0, 20, lot="B"), counted(2, 12, lot="A"))
    assert {lot.lot: lot.quantity for lot in state.lots} == {"A": 12, "B": 20}


def test_what_a_count_finds_missing_was_used_since_the_last_count() -> None:
    state = shelf(got(0, 40), counted(1, 40), counted(22, 32))
    weeks = {week.week - week_of(MONDAY.date()): week.other for week in state.weeks}
    assert weeks == {0: 2, 1: 2, 2: 2, 3: 2}


def test_use_for_swaps_is_kept_apart() -> None:
    state = shelf(got(0, 40), used(1, 4, swap="s1"), used(1, 2, purpose="swap"), used(2, 3))
    assert [(week.swaps, week.other) for week in state.weeks] == [(6, 3)]


def test_an_order_comes_in_parts() -> None:
    order = OrderPlaced(
        at=on(0), item="gloves", order="o1", quantity=100, price_cents=1001, supplier="Teal Supply"
    )
    part = shelf(order, got(5, 33, order="o1"))
    assert (part.outstanding, part.on_order[0].received, part.past_orders) == (67, 33, ())
    whole = shelf(order, got(5, 33, order="o1"), got(9, 67, order="o1", lot="rest"))
    assert whole.on_order == ()
    assert (whole.past_orders[0].lead_days, whole.past_orders[0].supplier) == (9, "Teal Supply")
    assert whole.worth.fifo_cents == whole.worth.average_cents == 1001
    assert [lot.price_cents for lot in whole.lots] == [330, 671]


def test_a_cancelled_order_teaches_no_lead_time() -> None:
    state = shelf(
        OrderPlaced(at=on(0), item="gloves", order="o1", quantity=100),
        OrderCancelled(at=on(3), item="gloves", order="o1"),
    )
    assert state.on_order == ()
    assert state.past_orders[0].lead_days is None


def test_scrapping_is_no_demand() -> None:
    state = shelf(got(0, 10), StockScrapped(at=on(1), item="gloves", quantity=4, reason="damaged"))
    assert (state.on_hand, state.weeks) == (6, ())


def test_settings_that_are_left_out_stay() -> None:
    state = shelf(
        ItemChanged(at=on(1), item="gloves", location="Cabinet 2", lead_days=9.0),
        ItemChanged(at=on(2), item="gloves", lead_days=4.0, name="Gloves, M"),
    )
    assert (state.rules.location, state.rules.lead_days) == ("Cabinet 2", 4.0)
    assert (state.name, state.unit) == ("Gloves, M", "pair")


@pytest.mark.parametrize(
    "line, field",
    [
        ({"kind": "stock_counted", "quantity": -3}, "quantity"),
        ({"kind": "stock_received", "quantity": 0}, "quantity"),
        ({"kind": "stock_received", "quantity": 1, "price_cents": -1}, "price_cents"),
        ({"kind": "order_placed", "order": "o", "quantity": 1, "expected_on": "2026-02-01"},
         "expected_on"),
        ({"kind": "item", "name": "G", "category": "protection", "unit": "L"}, "unit"),
        ({"kind": "item", "name": "S", "category": "solvent", "unit": "L"}, "solvent"),
        ({"kind": "item", "name": "S", "category": "solvent", "unit": "L", "solvent": "tea"},
         "solvent"),
        ({"kind": "item", "name": "G", "category": "part", "unit": "piece", "solvent": "acetone"},
         "solvent"),
        ({"kind": "item_changed", "container_sizes": [5, 0]}, "container_sizes"),
        ({"kind": "item_changed", "container_sizes": [10**400]}, "container_sizes"),
        ({"kind": "stock_received", "quantity": 1, "price_cents": 10**400}, "price_cents"),
        ({"kind": "stock_received", "quantity": 1, "price_cents": 10**12}, "price_cents"),
        ({"kind": "item_changed", "list_price_cents": -5}, "list_price_cents"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(line: dict[str, Any], field: str) -> None:
    with pytest.raises(FieldErrors) as caught:
        parse_entry({"at": MONDAY.isoformat(), "item": "gloves", **line})
    assert field in caught.value.by_field()


def test_the_state_stays_small_however_long_the_past() -> None:
    entries: list[Entry] = []
    for day in range(3000):
        entries += [got(day, 9, lot=f"L{day}"), used(day + 0.1, 3), used(day + 0.2, 4)]
    state = shelf(*entries)
    assert state.on_hand == 6000
    assert len(state.weeks) <= WEEKS_KEPT
    assert len(state.recent) == RECENT_KEPT
    assert len(state.lots) <= LOTS_KEPT + 1
    assert state.worth.quantity == 6000


def test_the_state_is_the_same_read_back_from_json() -> None:
    state = shelf(
        ItemChanged(at=on(0), item="gloves", container_sizes=[100.0, 50.0]),
        got(0, 10, lot="A", price_cents=900, expires_on=date(2026, 9, 1)),
        OrderPlaced(at=on(0), item="gloves", order="o1", quantity=100),
        used(1, 3, swap="s1"),
        counted(8, 5),
    )
    assert adapter("item").validate_json(adapter("item").dump_json(state)) == state


steps = st.lists(
    st.tuples(
        st.sampled_from(["got", "used", "counted", "scrapped"]),
        st.integers(1, 400),
        st.sampled_from([None, "A", "B"]),
        st.integers(0, 5000),
        st.integers(0, 9),
    ),
    max_size=60,
)


@given(steps)
def test_the_fold_agrees_with_a_naive_recomputation(
    moves: list[tuple[str, int, Any, int, int]],
) -> None:
    """Each balance recounted from the entries alone, with whole hundredths of a unit."""
    balance, day, use_by_week, paid = 0, 0.0, {}, 0
    entries: list[Entry] = []
    for what, hundredths, lot, cents, gap in moves:
        day += gap / 3
        quantity = hundredths / 100
        if what == "got":
            entries.append(got(day, quantity, lot=lot, price_cents=cents))
            balance, paid = balance + hundredths, paid + cents
        elif what == "used":
            entries.append(used(day, quantity, lot=lot, swap="s"))
            balance -= hundredths
            week = week_of(on(day).date())
            use_by_week[week] = use_by_week.get(week, 0) + hundredths
        elif what == "scrapped":
            entries.append(
                StockScrapped(at=on(day), item="gloves", quantity=quantity, lot=lot, reason="lost")
            )
            balance -= hundredths
        else:
            entries.append(counted(day, quantity))
            balance = hundredths
    state = shelf(*entries)
    assert state.on_hand == pytest.approx(balance / 100)
    assert [m.balance for m in state.recent[-1:]] == [pytest.approx(balance / 100)] * bool(entries)
    assert state.worth.quantity == pytest.approx(max(0, balance) / 100)
    assert all(lot.quantity > 0 for lot in state.lots)
    swaps = {week.week: week.swaps for week in state.weeks if week.swaps}
    assert swaps == {week: pytest.approx(total / 100) for week, total in use_by_week.items()}
    if not any(what == "counted" for what, *_ in moves):
        left = {state.worth.fifo_cents + state.worth.used_fifo_cents,
                state.worth.average_cents + state.worth.used_average_cents}  # fmt: skip
        assert left == {paid}
