"""What leaves the shelf costs what its own lot cost, and every cent is somewhere."""

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    OrderPlaced,
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.spend.cost_lines import CONSUMABLES, SOLVENT, SPOILED
from app.domain.spend.costs import ShelfLines, shelf_lines
from app.domain.spend.price_book import PRICES_BOOK, PricesState
from app.domain.things import fold

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
NONE = PricesState()


def at(day: float) -> datetime:
    return START + timedelta(days=day)


def solvent(**more: Any) -> Item:
    return Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                solvent="isopropanol", **more)  # fmt: skip


def got(day: float, quantity: float, lot: str, cents: int | None, **more: Any) -> StockReceived:
    return StockReceived(
        at=at(day), id=f"got-{day}", item="ipa", quantity=quantity, lot=lot, price_cents=cents,
        **more,
    )  # fmt: skip


def used(day: float, quantity: float, lot: str | None = None, **more: Any) -> StockUsed:
    return StockUsed(at=at(day), id=f"use-{day}", item="ipa", quantity=quantity, lot=lot, **more)


def lines(*entries: Entry, prices: PricesState = NONE) -> ShelfLines:
    return shelf_lines("ipa", entries, prices)


def test_specific_identification_takes_the_cost_of_the_lot_named() -> None:
    # IAS 2 paragraph 23: costs of items that are not interchangeable are assigned by specific
    # identification. Worked by hand, in the form of the textbook exercise with purchases of
    # 100 at 10.00 and 150 at 12.00 and a sale of 80 from the second and 20 from the first.
    found = lines(
        solvent(), got(1, 100, "A", 100_000), got(2, 150, "B", 180_000),
        used(3, 80, "B"), used(4, 20, "A"),
    )  # fmt: skip
    assert [line.cents for line in found.used] == [96_000, 20_000]
    assert found.on_hand_cents == 280_000 - 116_000
    assert {line.category for line in found.used} == {SOLVENT}


def test_a_price_that_changes_in_mid_month_is_no_average() -> None:
    found = lines(
        solvent(), got(1, 10, "A", 4_000), got(15, 10, "B", 6_000), used(16, 10, "A"),
        used(17, 5, "B"),
    )  # fmt: skip
    assert [line.cents for line in found.used] == [4_000, 3_000]


def test_all_uses_of_a_lot_together_cost_what_was_paid_for_it() -> None:
    found = lines(solvent(), got(1, 3, "A", 100), used(2, 1), used(3, 1), used(4, 1))
    assert [line.cents for line in found.used] == [33, 34, 33]
    assert found.on_hand_cents == 0


def test_an_order_gives_its_price_to_deliveries_that_name_none() -> None:
    order = OrderPlaced(at=at(0), item="ipa", order="o1", quantity=30, price_cents=1_000)
    found = lines(
        solvent(), order, got(1, 10, "A", None, order="o1"), got(2, 20, "B", None, order="o1")
    )
    assert [(line.cents, line.basis) for line in found.bought] == [(333, "order"), (667, "order")]


def test_without_a_price_the_list_price_then_the_rooms_rate_then_nothing() -> None:
    rate = fold(PRICES_BOOK, "prices",
                [PriceList(at=at(0), prices="prices", solvent_cents_per_l=410)])  # fmt: skip
    [listed] = lines(solvent(list_price_cents=380), got(1, 2, "A", None), prices=rate).bought
    [rated] = lines(solvent(), got(1, 2, "A", None), prices=rate).bought
    [unknown] = lines(solvent(), got(1, 2, "A", None)).bought
    assert [(x.cents, x.basis) for x in (listed, rated, unknown)] == [
        (760, "list price"), (820, "the room's rate"), (0, "no price known"),
    ]  # fmt: skip


def test_what_was_used_before_it_came_is_charged_when_it_comes() -> None:
    found = lines(solvent(), used(1, 4), got(2, 10, "A", 5_000), used(3, 6))
    assert [(line.entry, line.cents) for line in found.used] == [("got-2", 2_000), ("use-3", 3_000)]
    assert found.used[0].what.endswith("used before it was received")


def test_scrapped_stock_is_spoiled_and_a_shortage_at_the_count_is_used() -> None:
    scrap = StockScrapped(at=at(2), id="s", item="ipa", quantity=2, reason="expired")
    count = StockCounted(at=at(3), id="c", item="ipa", quantity=5)
    found = lines(solvent(), got(1, 10, "A", 1_000), scrap, count)
    assert [(x.category, x.cents) for x in found.used] == [(SPOILED, 200), (SOLVENT, 300)]


def test_what_a_count_finds_was_not_paid_for() -> None:
    count = StockCounted(at=at(2), id="c", item="ipa", quantity=20)
    found = lines(solvent(), got(1, 10, "A", 1_000), count, used(3, 20))
    assert sum(line.cents for line in found.used) == 1_000


def test_other_items_are_consumables() -> None:
    gloves = Item(at=START, item="ipa", name="Gloves", category="protection", unit="pair")
    changed = ItemChanged(at=at(0.5), item="ipa", name="Gloves M")
    [line] = lines(gloves, changed, got(1, 100, "G", 2_000), used(2, 3, tank="t1")).used
    assert (line.category, line.cents, line.tank, line.what) == (CONSUMABLES, 60, "t1", "Gloves M")


MOVES = st.lists(
    st.tuples(
        st.sampled_from(["got", "use", "scrap", "count"]), st.floats(0.01, 50),
        st.sampled_from(["A", "B", "C"]), st.integers(0, 100_000),
    ),
    max_size=40,
)  # fmt: skip


@settings(max_examples=200)
@given(MOVES)
def test_what_was_bought_is_used_or_on_hand_to_the_cent(moves: list[Any]) -> None:
    entries: list[Entry] = [solvent()]
    for day, (move, quantity, lot, cents) in enumerate(moves, 1):
        amount = round(quantity, 3)
        if move == "got":
            entries.append(got(day, amount, lot, cents))
        elif move == "use":
            entries.append(used(day, amount, lot if cents % 2 else None))
        elif move == "scrap":
            entries.append(StockScrapped(at=at(day), item="ipa", quantity=amount, reason="lost"))
        else:
            entries.append(StockCounted(at=at(day), item="ipa", quantity=amount))
    found = lines(*entries)
    paid = sum(line.cents for line in found.bought)
    assert sum(line.cents for line in found.used) + found.on_hand_cents == paid
    assert all(line.cents >= 0 for line in found.used)
