"""Roll-ups of costs: they follow the log, correct themselves, and add up in every view."""

import io
import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry, Swap, SwapAbandoned, TopUp
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockScrapped, StockUsed
from app.domain.roomlog.kinds.waste import Drum, PickupShipped, Pour
from app.domain.spend.weeks import IsoWeek
from app.services.acts.rates import record_rates
from app.services.door import bring_in as record
from app.services.exporting import log_lines
from app.services.rooms import find_room
from app.services.spend.weekly_costs import chosen_lines, read_week, spend_of
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash, withdraw
from tests.furnished import new_store
from tests.oracles import Ask, costs_of

AT = NOW - timedelta(days=13)
WEEK = IsoWeek(2026, 9)


def day(days: float) -> datetime:
    return NOW - timedelta(days=days)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """Two tanks, a shelf, a drum and rates."""
    store = new_store(tmp_path)
    furnish(store, tanks=2, time_zone="Europe/Dublin")
    record(store, ROOM, stocked(), NOW)
    yield store
    store.close()


def stocked() -> list[Entry]:
    return [
        PriceList(at=AT, id="rates", prices="prices", currency="EUR", labour_cents_per_hour=3000,
                  weekly_budget_cents=20_000, disposal_cents_per_drum=9_000),
        Item(at=AT, id="i1", item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol"),
        Item(at=AT, id="i2", item="gloves", name="Gloves", category="protection", unit="pair"),
        StockReceived(at=AT, id="in1", item="ipa", quantity=60, lot="A", price_cents=24_001),
        StockReceived(at=day(9), id="in2", item="ipa", quantity=40, lot="B", price_cents=20_000),
        StockReceived(at=AT, id="in3", item="gloves", quantity=100, lot="G", price_cents=2_000),
        Drum(at=AT, id="d", drum="d1", name="Drum 1", capacity_l=200, stream="isopropanol_resin",
             area="central"),
    ]  # fmt: skip


def told() -> list[Entry]:
    """What a day, a week or a year to come stands on: washes on five days, and a reading."""
    light = [wash(13 - i, id=f"told{i}", area_cm2=50.0) for i in range(5)]
    return [*light, sensor_reading(7.5, 0.1, id="told")]


def costly() -> list[Entry]:
    """A week of everything that costs."""
    return [
        *(wash(6 - i / 2, id=f"w{i}") for i in range(6)),
        *(wash(5.2 - i, tank="t2", resin="kiln", id=f"k{i}") for i in range(3)),
        StockUsed(at=day(5), id="u1", item="ipa", quantity=40, lot="A", tank="t1", purpose="swap"),
        Swap(at=day(5), id="s1", tank="t1", drained_l=39, filled_l=40),
        Pour(at=day(5), id="p1", drum="d1", volume_l=39, tank="t1", resin_percent=5),
        Pour(at=day(4.9), id="p2", drum="d1", volume_l=10, tank="t2", resin_percent=2),
        StockUsed(at=day(4), id="u2", item="ipa", quantity=1.5, lot="B", tank="t2",
                  purpose="top_up"),
        TopUp(at=day(4), id="t2up", tank="t2", volume_l=1.5),
        StockUsed(at=day(4), id="u3", item="gloves", quantity=7),
        StockScrapped(at=day(3), id="x", item="ipa", quantity=2, lot="B", reason="contaminated"),
        PickupShipped(at=day(3), id="ship", pickup="pk", drums=["d1"], document="N1",
                      cost_cents=10_001),
        OtherCost(at=day(2.5), id="o", prices="prices", cost_cents=1_250, purpose="other",
                  what="=HYPERLINK(\"http://x\")"),
    ]  # fmt: skip


def test_a_week_costs_what_the_hand_worked_sheet_says(store: Store) -> None:
    record(store, ROOM, costly(), NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), WEEK, NOW)
    # Worked by hand: 40 L of lot A at 240.01/60 and 1.5 L of lot B at 200.00/40; 2 L of B scrapped;
    # 7 of 100 pairs at 20.00; one swap of 90 min at 30.00 an hour; the pickup's invoice; other.
    assert week.by_category == {
        "solvent": 16_001 + 750, "disposal": 10_001, "consumables": 140, "labour": 4_500,
        "spoiled": 1_000, "other": 1_250,
    }  # fmt: skip
    assert week.cents == 33_642
    assert (week.budget_cents, week.bought_cents) == (20_000, 0)


def test_a_swap_given_up_is_charged_anew_by_the_entry_that_gives_it_up(store: Store) -> None:
    # 90 minutes at 30.00 an hour while nothing tells more; 4 minutes once it was given up.
    def labour() -> int:
        with Session(store.reader) as session:
            week = read_week(session, find_room(session, ROOM), WEEK, NOW)
        return week.by_category["labour"]

    opened = SwapOpened(at=day(3), id="open", swap="sw", tank="t2", checklist="usual", version=0,
                        steps=[], estimated_l=39, capacity_l=40,
                        solvent="isopropanol")  # fmt: skip
    record(store, ROOM, [*costly(), opened], NOW)
    assert labour() == 4_500 + 4_500
    off = SwapAbandoned(at=opened.at + timedelta(minutes=4), id="off", tank="t2", swap="sw")
    record(store, ROOM, [off], NOW)
    assert labour() == 4_500 + 200


def test_every_view_adds_up_to_the_cent(store: Store) -> None:
    record(store, ROOM, costly(), NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), WEEK, NOW)
    for view in (week.by_tank, week.by_solvent, week.by_resin):
        assert sum(group.cents for group in view) == week.cents
        for kind, groups in (("tank", week.by_tank), ("solvent", week.by_solvent),
                             ("resin", week.by_resin)):  # fmt: skip
            for group in groups:
                lines = chosen_lines(week, {kind: group.key or "none"})
                assert sum(line.cents for line in lines) == group.cents
    assert {group.key for group in week.by_resin} == {"slate", "kiln", ""}
    assert week.trend[-1].cents == week.cents


def test_disposal_goes_to_the_tanks_that_filled_the_drum(store: Store) -> None:
    record(store, ROOM, costly(), NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), WEEK, NOW)
    parts = {group.key: group.by_category.get("disposal", 0) for group in week.by_tank}
    assert sum(parts.values()) == 10_001
    assert parts["t1"] > 3 * parts["t2"] > 0


def test_a_fill_without_anything_from_the_shelf_is_named_and_costs_nothing(store: Store) -> None:
    record(store, ROOM, [TopUp(at=day(4), id="bare", tank="t1", volume_l=3)], NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), WEEK, NOW)
    assert [fill.entry for fill in week.uncovered] == ["bare"]
    assert week.cents == 0


def test_late_washes_and_rejects_stand_beside_the_cost(store: Store) -> None:
    heavy = [wash(5 - i / 10, id=f"h{i}", area_cm2=60_000) for i in range(12)]
    record(store, ROOM, [sensor_reading(6, 9.9), *heavy], NOW)
    with Session(store.reader) as session:
        week = read_week(session, find_room(session, ROOM), WEEK, NOW)
    assert 0 < week.quality.late <= week.quality.washes == 12


def test_parts_that_were_weighed_give_a_cost_per_kilogram(store: Store) -> None:
    record(store, ROOM, [*costly(), wash(4.5, id="g", mass_g=500.0)], NOW)
    with Session(store.reader) as session:
        pace = read_week(session, find_room(session, ROOM), WEEK, NOW).pace
    assert (pace.washes, pace.weighed_washes) == (10, 1)
    assert pace.per_kg_cents == pytest.approx(33_642 * (1 / 10) / 0.5)


def test_another_currency_is_refused_and_nothing_stored(store: Store) -> None:
    entry = PriceList(at=NOW, prices="prices", currency="USD", labour_cents_per_hour=1)
    with pytest.raises(FieldErrors, match="This room uses EUR"):
        record_rates(store, ROOM, entry, NOW, None)
    with Session(store.reader) as session:
        prices = spend_of(session, find_room(session, ROOM)).prices
    assert prices.latest is not None
    assert prices.latest.labour_cents_per_hour == 3000


def test_a_currency_change_that_was_imported_mixes_no_amounts(store: Store) -> None:
    other = PriceList(at=NOW, prices="prices", currency="USD", labour_cents_per_hour=9_999)
    record(store, ROOM, [other], NOW)
    with Session(store.reader) as session:
        prices = spend_of(session, find_room(session, ROOM)).prices
    assert (prices.currency, prices.refused) == ("EUR", "USD")
    assert prices.at(NOW).labour_cents_per_hour == 3000


def test_a_withdrawn_lot_takes_its_cost_away_and_gives_it_back(store: Store) -> None:
    record(store, ROOM, costly(), NOW)
    withdraw(store, ROOM, "in1", "Wren", "not ours", NOW, None)
    with Session(store.reader) as session:
        found = spend_of(session, find_room(session, ROOM))
        lines = [line for week in found.lines.values() for line in week if line.item == "ipa"]
        on_hand_cents = found.shelf["ipa"].on_hand_cents
    assert sum(line.cents for line in lines) + on_hand_cents == 20_000


# Independently, from the exported log, with a data-frame library ----------------------------------


def test_a_data_frame_library_finds_the_same_from_the_exported_log(store: Store, ask: Ask) -> None:
    record(store, ROOM, costly(), NOW)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        text = "".join(log_lines(store, room.id or 0))
        found = spend_of(session, room)
    lines = [json.loads(line) for line in io.StringIO(text) if line.strip()]
    weekly = dict(ask("weekly_cents", costs_of(lines), "Europe/Dublin", unit="week, cents"))
    ours = {str(week): sum(line.cents for line in lines) for week, lines in found.lines.items()}
    assert set(ours) == set(weekly)
    for week, cents in ours.items():
        assert cents == pytest.approx(weekly[week], abs=len(lines))  # it knows no whole cents
