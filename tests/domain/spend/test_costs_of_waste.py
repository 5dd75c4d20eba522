"""Disposal is charged when poured and set right when shipped, worked by hand."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.kinds.waste import Drum, DrumChanged, DrumTransfer, PickupShipped, Pour
from app.domain.spend.cost_lines import CostLine, total
from app.domain.spend.costs import Drums, disposal_lines
from app.domain.spend.price_book import PRICES_BOOK, PricesState
from app.domain.things import fold
from app.domain.waste.drums import DRUM_BOOK
from app.domain.waste.measures import poured_kg

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
STREAM = "isopropanol_resin"


def at(day: float) -> datetime:
    return START + timedelta(days=day)


def rates(**cents: int) -> PricesState:
    return fold(PRICES_BOOK, "prices", [PriceList(at=START, prices="prices", **cents)])


def drum(key: str = "d1", **more: Any) -> Drum:
    return Drum(at=START, drum=key, name=key, capacity_l=200, stream=STREAM, area="central",
                **more)  # fmt: skip


def pour(day: float, litres: float, tank: str | None = "t1", key: str = "d1") -> Pour:
    return Pour(at=at(day), id=f"pour-{day}", drum=key, volume_l=litres, tank=tank)


def weighed(day: float, kg: float, tank: str = "t1") -> Pour:
    return Pour(at=at(day), id=f"pour-{day}", drum="d1", volume_l=kg / 0.8, tank=tank,
                mass_before_kg=10, mass_after_kg=10 + kg)  # fmt: skip


def shipped(day: float, cents: int | None, *drums: str, **more: Any) -> PickupShipped:
    return PickupShipped(at=at(day), id=f"ship-{day}", pickup="pk", drums=list(drums or ["d1"]),
                         document="N", cost_cents=cents, **more)  # fmt: skip


def lines(*entries: Entry, prices: PricesState = PricesState()) -> list[CostLine]:  # noqa: B008
    return disposal_lines(entries, prices, {"t1": "isopropanol"})


def test_a_pour_costs_its_kilograms_in_its_own_week_and_the_invoice_the_rest() -> None:
    # 30 kg and 10 kg at 2.90: 87.00 and 29.00. The invoice of 130.00 falls to the tanks by mass,
    # 97.50 and 32.50: 10.50 and 3.50 are left for the week of the pickup.
    found = lines(drum(), weighed(1, 30), weighed(2, 10, "t2"), shipped(20, 13_000),
                  prices=rates(disposal_cents_per_kg=290))  # fmt: skip
    assert [(x.entry, x.tank, x.cents) for x in found] == [
        ("pour-1", "t1", 8_700), ("pour-2", "t2", 2_900), ("ship-20", "t1", 1_050),
        ("ship-20", "t2", 350),
    ]  # fmt: skip
    assert (found[0].quantity, found[0].unit, found[2].quantity) == (30, "kg", 0)
    assert "130.00: 116.00 was charged when poured" in found[2].what


def test_an_invoice_below_the_rate_gives_the_difference_back() -> None:
    found = lines(
        drum(), weighed(1, 30), shipped(9, 6_001), prices=rates(disposal_cents_per_kg=290)
    )
    assert [x.cents for x in found] == [8_700, -2_699]
    assert total(found) == 6_001


def test_a_drum_that_was_set_right_is_charged_as_its_page_has_it() -> None:
    # Half of a drum of 100 L at 90.00 is 45.00, not a quarter as of the 200 L it was set up with.
    smaller = DrumChanged(at=at(0.5), drum="d1", capacity_l=100)
    found = lines(drum(), smaller, pour(1, 50), prices=rates(disposal_cents_per_drum=9_000))
    assert [x.cents for x in found] == [4_500]
    tested = DrumChanged(at=at(0.5), drum="d1", stream="propylene_carbonate_resin")
    entries = [drum(), tested, pour(1, 10)]
    found = lines(*entries, prices=rates(disposal_cents_per_kg=290))
    mass_kg = fold(DRUM_BOOK, "d1", entries).mass_kg
    assert mass_kg > 11  # propylene carbonate: 1.2 kg/L, 2-propanol 0.79
    assert [(x.quantity, x.cents) for x in found] == [(round(mass_kg, 3), round(290 * mass_kg))]


def test_a_price_per_drum_is_charged_by_the_share_of_the_drum_that_was_filled() -> None:
    found = lines(
        drum(), pour(1, 50), shipped(9, None), prices=rates(disposal_cents_per_drum=9_000)
    )
    assert [x.cents for x in found] == [2_250, 6_750]


def test_a_price_per_kg_goes_before_one_per_drum_and_zero_is_no_price() -> None:
    both = rates(disposal_cents_per_kg=290, disposal_cents_per_drum=9_000)
    assert [x.cents for x in lines(drum(), weighed(1, 10), shipped(9, None), prices=both)] == [
        2_900
    ]
    none = rates(disposal_cents_per_kg=0, disposal_cents_per_drum=9_000)
    assert total(lines(drum(), weighed(1, 10), shipped(9, None), prices=none)) == 9_000


def test_without_rates_a_pour_costs_what_a_kilogram_of_the_last_pickup_did() -> None:
    first = [drum(), weighed(1, 20), shipped(9, 8_000)]
    found = lines(*first, drum(), weighed(10, 10))
    assert [(x.entry, x.cents) for x in found] == [("ship-9", 8_000), ("pour-10", 4_000)]
    assert found[0].quantity == 20  # nothing was known when it was poured: all is charged here
    assert found[1].basis.startswith("as the last pickup")


def test_a_price_that_changes_between_pour_and_pickup_is_set_right() -> None:
    prices = fold(PRICES_BOOK, "prices", [
        PriceList(at=START, prices="prices", disposal_cents_per_kg=200),
        PriceList(at=at(5), prices="prices", disposal_cents_per_kg=300),
    ])  # fmt: skip
    found = lines(drum(), weighed(1, 10), weighed(6, 10), shipped(9, None), prices=prices)
    assert [x.cents for x in found] == [2_000, 3_000, 1_000]


def test_what_was_in_a_drum_before_its_log_is_charged_to_the_room_when_it_leaves() -> None:
    found = lines(drum(volume_l=20, waste_kg=10.0), weighed(1, 10), shipped(9, 6_000),
                  prices=rates(disposal_cents_per_kg=290))  # fmt: skip
    assert [(x.tank, x.cents) for x in found] == [("t1", 2_900), ("", 3_000), ("t1", 100)]


def test_what_is_poured_before_its_drum_is_set_up_is_part_of_what_the_pickup_bills() -> None:
    # 10 kg before the set-up and 30 kg after it, at 2.90: 29.00 and 87.00. The invoice of 130.00
    # is 14.00 more, which falls to the tanks by mass: 32.50 - 29.00 and 97.50 - 87.00.
    found = lines(weighed(1, 10, "t2"), drum(), weighed(2, 30), shipped(20, 13_000),
                  prices=rates(disposal_cents_per_kg=290))  # fmt: skip
    assert [(x.tank, x.cents) for x in found] == [
        ("t2", 2_900), ("t1", 8_700), ("t1", 1_050), ("t2", 350),
    ]  # fmt: skip
    assert "130.00: 116.00 was charged when poured" in found[2].what


def test_what_a_drum_held_at_its_set_up_is_weighed_by_its_volume_where_no_mass_is_given() -> None:
    held = drum(volume_l=20)
    own_kg = fold(DRUM_BOOK, "d1", [held]).mass_kg
    found = lines(held, weighed(1, 10), shipped(9, 6_000), prices=rates(disposal_cents_per_kg=290))
    room = round(6_000 * own_kg / (own_kg + 10))
    assert [(x.tank, x.cents) for x in found] == [
        ("t1", 2_900), ("", room), ("t1", 3_100 - room),
    ]  # fmt: skip


@settings(max_examples=150)
@given(
    st.permutations(["setup", "pour", "pour", "pour"]),
    st.lists(st.integers(1, 60), min_size=4, max_size=4),
    st.integers(0, 50_000),
)
def test_wherever_its_set_up_stands_a_drum_costs_its_invoice_and_holds_what_its_book_says(
    order: list[str], litres: list[int], cents: int
) -> None:
    entries: list[Entry] = [
        drum() if what == "setup" else Pour(
            at=at(day), id=f"pour-{day}", drum="d1", volume_l=size, tank="t1", stream=STREAM
        )
        for day, (what, size) in enumerate(zip(order, litres, strict=True), 1)
    ]  # fmt: skip
    drums = Drums(rates(disposal_cents_per_kg=291))
    found = [line for entry in entries for line in drums.take(entry)]
    held_kg = sum(part.kg for part in drums.parts["d1"].values())
    assert held_kg == pytest.approx(fold(DRUM_BOOK, "d1", entries).mass_kg)
    assert total([*found, *drums.take(shipped(20, cents))]) == cents


def test_what_is_moved_from_a_leaking_drum_takes_what_was_charged_for_it_along() -> None:
    moved = DrumTransfer(at=at(2), drum="d2", from_drum="d1", volume_l=10, waste_kg=10)
    found = lines(drum(), drum("d2"), weighed(1, 10), moved, shipped(9, 2_950, "d2"),
                  prices=rates(disposal_cents_per_kg=290))  # fmt: skip
    assert [x.cents for x in found] == [2_900, 50]


MOVES = st.lists(
    st.tuples(
        st.sampled_from(["pour", "ship", "move", "setup"]), st.sampled_from(["d1", "d2"]),
        st.sampled_from(["t1", "t2", None]), st.integers(1, 60), st.integers(0, 50_000),
    ),
    max_size=25,
)  # fmt: skip


@settings(max_examples=150)
@given(
    MOVES, st.sampled_from([{}, {"disposal_cents_per_kg": 291}, {"disposal_cents_per_drum": 7_777}])
)
def test_all_lines_of_what_was_shipped_are_what_was_paid_for_it_to_the_cent(
    moves: list[Any], known: dict[str, int]
) -> None:
    prices, paid = rates(**known) if known else PricesState(), 0
    entries: list[Entry] = []
    for day, (move, key, tank, litres, cents) in enumerate(moves, 1):
        if move == "pour":
            entries.append(pour(day, litres, tank, key))
        elif move == "setup":
            entries.append(drum(key))
        elif move == "move":
            other = "d2" if key == "d1" else "d1"
            entries.append(DrumTransfer(at=at(day), drum=key, from_drum=other, volume_l=litres,
                                        waste_kg=litres))  # fmt: skip
        else:
            entries.append(shipped(day, cents, key))
            paid += cents
    paid += 1_234
    entries.append(shipped(100, 1_234, "d1", "d2"))
    assert total(disposal_lines(entries, prices, {})) == paid


def test_the_mass_of_a_pour_is_its_weight_where_it_was_weighed() -> None:
    assert poured_kg(weighed(1, 12), STREAM) == pytest.approx(12)
