"""Swaps ahead from the books of a room: what is shared out, which days, what is decided."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event
from sqlmodel import Session

from app.domain.roomlog.kinds import Entry, SwapStarted
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.inspections import Component, InspectionAnswered
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import Item, OrderPlaced, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import PickupBooked, Pour, WasteRules
from app.services.door import bring_in as record
from app.services.planning.proposal import ahead, cost_of_postponing, next_swaps
from app.services.rooms import find_room
from app.store import queries
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, tank, wash
from tests.furnished import new_store
from tests.services.planning.rooms import (
    MON,
    WEEK_AGO,
    copied,
    drum,
    line,
    make,
    opened_swap,
    seen,
    shelf,
)


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("furnished")
    make(folder)
    return folder


@pytest.fixture
def store(tmp_path: Path, furnished: Path) -> Iterator[Store]:
    with copied(furnished, tmp_path) as store:
        yield store


def test_a_room_without_books_says_what_is_missing_and_what_is_not_known(store: Store) -> None:
    swap = seen(store).swap("t1")
    assert swap is not None
    states = {one.subject: one.state for one in swap.lines}
    assert states["solvent"] == states["drum"] == "short"
    assert states["fire"] == states["people"] == states["parts"] == states["month"] == "unknown"


def test_the_category_that_was_chosen_limits_the_month(store: Store) -> None:
    chosen = WasteRules(at=NOW, waste_rules="waste_rules", rule_set="us_federal", category="vsqg")
    record(store, ROOM, [chosen], NOW)
    # 40 CFR 260.10: a very small quantity generator makes no more than 100 kg in a month.
    assert line(store, "t1", "month").there == 100


def test_a_swap_is_proposed_before_its_early_day(store: Store) -> None:
    found = seen(store)
    for key in ("t1", "t2"):
        proposal = found.proposal(key)
        assert proposal is not None
        assert proposal.early_on is not None
        assert proposal.day is not None
        assert MON <= proposal.day < proposal.early_on
        assert proposal.day.isoweekday() <= 5


def test_the_shelf_goes_to_the_first_of_the_queue(store: Store) -> None:
    record(store, ROOM, [*shelf(60.0), drum()], NOW)
    first, second = line(store, "t1", "solvent"), line(store, "t2", "solvent")
    # (40 + 30) / 2 less a heel of 0.8, 2.8 to rinse and 1 for the bottle: 38 L each of 60 L.
    assert (first.there, first.missing) == (pytest.approx(38), 0)
    assert (second.there, second.missing) == (pytest.approx(22), pytest.approx(16))
    assert second.buy == ((18.9, 1),)
    orders = seen(store).orders
    assert [order.tanks for order in orders] == [("t2",)]


def test_what_is_used_is_not_shared_out_and_what_is_on_order_comes_on_its_day(
    store: Store,
) -> None:
    comes_on = MON + timedelta(days=3)
    more: list[Entry] = [
        StockUsed(at=NOW, item="ipa", quantity=30.0),
        OrderPlaced(at=NOW, item="ipa", order="o1", quantity=100.0, expected_on=comes_on),
    ]
    record(store, ROOM, [*shelf(60.0), drum(), *more], NOW)
    found = line(store, "t2", "solvent")
    assert found.there == pytest.approx(38)
    assert found.ready_on == comes_on


def test_an_overdue_order_is_not_counted_as_there(store: Store) -> None:
    order = OrderPlaced(
        at=WEEK_AGO, item="ipa", order="o1", quantity=100.0, expected_on=MON - timedelta(days=2)
    )
    record(store, ROOM, [*shelf(0.0), drum(), order], NOW)
    assert line(store, "t1", "solvent").ready_on == MON + timedelta(days=1)


def test_solvent_of_another_purity_is_another_solvent(store: Store) -> None:
    record(store, ROOM, [*shelf(200.0, purity_percent=70.0), drum()], NOW)
    assert line(store, "t1", "solvent").missing == pytest.approx(38)


def test_room_in_drums_counts_under_the_fill_limit_and_by_stream(store: Store) -> None:
    drums = [drum("d1", 150.0), drum("d2", stream="water_wash")]
    record(store, ROOM, [*shelf(200.0), *drums], NOW)
    first = line(store, "t1", "drum")
    assert first.there == pytest.approx(205 * 0.9 - 150)  # 34.5 L
    assert first.state == "short"
    assert line(store, "t2", "drum").there == 0


def test_a_drum_that_is_fetched_before_the_day_gives_the_room_of_the_one_in_its_place(
    store: Store,
) -> None:
    """As pickups are counted everywhere: each leaves empty drums in the place of the full ones."""
    pickup = PickupBooked(
        at=NOW, pickup="p1", pickup_on=MON + timedelta(days=1), hauler="", drums=["d1"]
    )
    by_on = seen(store).swap("t2")
    assert by_on is not None
    assert by_on.by_on is not None
    assert by_on.by_on > MON + timedelta(days=1)
    record(store, ROOM, [*shelf(200.0), drum(held_l=180.0), pickup], NOW)
    found = line(store, "t2", "drum")
    assert (found.state, found.ready_on) == ("coming", MON + timedelta(days=1))
    assert [parcel.name for parcel in found.parcels] == ["an empty drum in place of D1"]
    assert all(pickup.day > by_on.by_on for pickup in seen(store).pickups)


def test_a_pickup_whose_day_has_passed_has_taken_nothing(store: Store) -> None:
    """The contractor did not come: the drums stand here, full, and their clock runs."""
    site = SiteRules(at=WEEK_AGO, site="site", flammable_limit_l=150.0)
    drums = [drum(held_l=120.0), drum("d2", held_l=60.0)]
    record(store, ROOM, [site, *shelf(200.0), *drums], NOW)
    pickups, fire = seen(store).pickups, line(store, "t1", "fire").needed
    assert pickups
    missed = PickupBooked(
        at=WEEK_AGO, pickup="p1", pickup_on=MON - timedelta(days=3), hauler="", drums=["d1", "d2"]
    )
    record(store, ROOM, [missed], NOW)
    found = seen(store).pickups
    assert found
    assert found[0].day <= pickups[0].day
    assert line(store, "t1", "fire").needed == pytest.approx(fire)


def test_the_month_counts_what_was_poured_in_the_room_s_own_month(store: Store) -> None:
    # 23:30 UTC on 28 February is 1 March in Berlin.
    at = datetime.fromisoformat("2026-02-28T23:30:00+00:00")
    pours: list[Entry] = [
        Pour(at=at - timedelta(hours=2), drum="d1", volume_l=10.0, mass_before_kg=10,
             mass_after_kg=20),
        Pour(at=at, drum="d1", volume_l=30.0, mass_before_kg=20, mass_after_kg=50),
        SiteRules(at=WEEK_AGO, site="site", waste_month_limit_kg=60.0),
    ]  # fmt: skip
    record(store, ROOM, [*shelf(200.0), drum(), *pours], NOW)
    assert line(store, "t1", "month").there == pytest.approx(60 - 30)


def test_flammable_litres_add_baths_shelf_and_drums(store: Store) -> None:
    site = SiteRules(at=WEEK_AGO, site="site", flammable_limit_l=500.0)
    record(store, ROOM, [*shelf(100.0), drum("d1", 50.0), site], NOW)
    with Session(store.reader) as session:
        board = queries.board(session, find_room(session, ROOM).id or 0, NOW)
    baths_l = sum(one.volume_l for one in board.tanks)
    found = line(store, "t1", "fire")
    assert found.needed == pytest.approx(baths_l + 100 + 50)
    assert found.state == "ready"


def test_parts_that_a_swap_takes_are_counted(store: Store) -> None:
    seal = Item(
        at=WEEK_AGO, item="seal", name="Lid seal", category="part", unit="piece", used_per_swap=1
    )
    record(store, ROOM, [seal, StockReceived(at=WEEK_AGO, item="seal", quantity=1)], NOW)
    assert line(store, "t1", "parts").state == "ready"
    assert line(store, "t2", "parts").text == "Lid seal"


def test_parts_that_the_last_look_condemned_are_needed_at_the_next_swap(store: Store) -> None:
    parts: list[Entry] = [
        Component(at=WEEK_AGO, component=key, part="o_ring", name=name, tank="t1", item=item,
                  mate=mate)
        for key, name, item, mate in (
            ("c1", "O-ring 1", "ring", "c2"), ("c2", "O-ring 2", "ring", None),
            ("c3", "O-ring 3", None, None), ("c4", "O-ring 4", "ring", None),
        )
    ]  # fmt: skip
    looks = [
        InspectionAnswered(
            at=NOW, inspection="i1", component=key, answers={"q": "yes"}, verdict=verdict
        )
        for key, verdict in (("c1", "replace_with_mate"), ("c3", "replace"), ("c4", "watch"))
    ]
    ring = Item(at=WEEK_AGO, item="ring", name="O-ring", category="part", unit="piece")
    bought = StockReceived(at=WEEK_AGO, item="ring", quantity=2)
    record(store, ROOM, [ring, bought, *parts, *looks], NOW)
    swap = seen(store).swap("t1")
    assert swap is not None
    lines = [one for one in swap.lines if one.subject == "parts"]
    assert [(one.text, one.missing) for one in lines] == [
        ("O-ring 3 (not an item on the shelf)", 1)
    ]
    record(store, ROOM, [StockUsed(at=NOW, item="ring", quantity=1)], NOW)
    lines = [one for one in seen(store).swaps[0].lines if one.subject == "parts"]
    assert {one.text: one.missing for one in lines} == {
        "O-ring": 1, "O-ring 3 (not an item on the shelf)": 1,
    }  # fmt: skip
    assert line(store, "t2", "parts").state == "ready"


def test_parts_that_wait_for_a_look_are_said_and_those_not_seen_are_not_known(
    store: Store,
) -> None:
    record(store, ROOM, [
        Component(at=WEEK_AGO, component="c1", part="o_ring", name="O-ring 1", tank="t1"),
        Component(at=WEEK_AGO, component="c2", part="washer", name="Washer 1", tank="t1"),
        InspectionAnswered(at=NOW, inspection="i1", component="c1", answers={"o_ring_flat": "yes"}),
        InspectionAnswered(at=NOW, inspection="i1", component="c2",
                           answers={"washer_worn": "unseen"}),
    ], NOW)  # fmt: skip
    swap = seen(store).swap("t1")
    assert swap is not None
    looks = [(one.state, one.text) for one in swap.lines if one.subject == "look"]
    assert looks == [("unknown", "Washer 1"), ("ready", "O-ring 1")]
    other = seen(store).swap("t2")
    assert other is not None
    assert "look" not in {one.subject for one in other.lines}


def test_a_held_tank_is_not_ready(store: Store) -> None:
    record(store, ROOM, [TankHeld(at=NOW, tank="t1", reason="Seal leaks", cause="lead")], NOW)
    assert line(store, "t1", "hold").text == "Seal leaks"


def test_two_tanks_of_a_pair_are_swapped_on_different_days(store: Store) -> None:
    pair = [tank("t8", pair="t9"), tank("t9")]
    entries = [wash(n + 0.5, "t8", area_cm2=9000.0) for n in range(13)]
    # Hours apart from those of the first: what is washed here comes wet with resin.
    entries += [wash(n / 2 + 0.8, "t9", area_cm2=9000.0) for n in range(26)]
    record(store, ROOM, [*pair, *entries], NOW)
    found = seen(store)
    assert found.candidates["t8"].pair == "t9"
    assert found.candidates["t9"].pair == "t8"
    one, other = found.proposal("t8"), found.proposal("t9")
    assert one is not None
    assert other is not None
    assert one.day != other.day


def test_the_cost_of_postponing_never_falls(store: Store) -> None:
    found = seen(store)
    costs = cost_of_postponing(found, "t1", ZoneInfo("Europe/Berlin"))
    assert [one.chance for one in costs] == sorted(one.chance for one in costs)
    assert [one.days_past for one in costs] == sorted(one.days_past for one in costs)
    assert costs[0].chance <= 0.05
    assert costs[-1].chance > 0.9


def test_every_page_takes_days_and_lines_of_the_next_swaps_from_one_place(store: Store) -> None:
    record(store, ROOM, [*shelf(60.0), drum()], NOW)
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        board = queries.board(session, room.id or 0, NOW)
        for_room_page = next_swaps(session, room, board, NOW)
        for_plan = ahead(session, room, NOW)
    assert for_room_page.first_short is not None
    assert for_room_page.first_short == for_plan.first_short
    assert for_room_page.swaps == for_plan.swaps
    assert for_room_page.swap("none") is None
    for key in ("t1", "t2"):
        assert for_room_page.days.of(key) == for_plan.proposal(key)


def test_no_day_is_proposed_before_the_solvent_is_there_and_no_page_says_all_is_well(
    store: Store,
) -> None:
    day = seen(store).proposal("t1")
    assert day is not None
    assert day.day is not None
    assert day.early_on is not None
    # All that is missing comes on the early day itself: behind the day that was proposed.
    order = OrderPlaced(
        at=WEEK_AGO, item="ipa", order="o-1", quantity=200.0, expected_on=day.early_on
    )
    record(store, ROOM, [*shelf(0.0), order, drum()], NOW)
    short, _ = short_on_the_room_page(store)
    assert (short[0].swap.tank, short[1].subject, short[1].state) == ("t1", "solvent", "late")
    assert seen(store).first_short == short
    moved = seen(store).proposal("t1")
    assert moved is not None
    assert (moved.day, moved.waits_for, moved.waits_until) == (
        day.early_on, "solvent", day.early_on,
    )  # fmt: skip


def short_on_the_room_page(store: Store) -> tuple[Any, int]:
    """The first shortfall, and how many statements it took besides the board."""
    counted: list[str] = []
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        board = queries.board(session, room.id or 0, NOW)

        def count(*given: Any) -> None:
            counted.append(given[2])

        event.listen(store.reader, "before_cursor_execute", count)
        found = next_swaps(session, room, board, NOW).first_short
        event.remove(store.reader, "before_cursor_execute", count)
    return found, len(counted)


def test_the_room_page_pays_one_statement_and_none_while_nothing_changes(store: Store) -> None:
    record(store, ROOM, [*shelf(60.0), drum()], NOW)
    short, statements = short_on_the_room_page(store)
    assert (short[0].swap.tank, short[1].subject) == ("t2", "solvent")
    assert statements == 1
    assert short_on_the_room_page(store) == (short, 0)
    record(store, ROOM, [StockReceived(at=NOW, item="ipa", quantity=40.0)], NOW)
    assert short_on_the_room_page(store) == (None, 1)


def test_a_room_without_tanks_has_nothing_ahead(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    furnish(store, tanks=0)
    found = seen(store)
    assert (found.swaps, found.orders, found.pickups) == ((), (), ())
    assert short_on_the_room_page(store)[0] is None
    store.close()


def test_a_swap_under_way_asks_for_no_room_and_no_solvent_that_it_has_taken(store: Store) -> None:
    record(store, ROOM, [*shelf(60.0), drum()], NOW)
    before = line(store, "t1", "drum")
    assert before.needed > 30
    record(store, ROOM, opened_swap(), NOW)
    assert line(store, "t1", "drum").needed == pytest.approx(before.needed)
    drained = StepDone(at=NOW, swap="s1", step="drain", answers={"drained_l": 38.0})
    record(store, ROOM, [drained], NOW)
    assert line(store, "t1", "drum").needed == pytest.approx(2.8)  # the rinse, 7 % of 40 L
    steps = [StepDone(at=NOW, swap="s1", step=key) for key in ("rinse", "fill")]
    record(store, ROOM, list(steps), NOW)
    assert line(store, "t1", "drum").needed == 0
    assert line(store, "t1", "solvent").needed == 0
    assert line(store, "t2", "solvent").there == pytest.approx(38)


def test_swaps_under_way_on_one_day_are_not_too_many(store: Store) -> None:
    rules = SiteRules(at=NOW, site="site", swaps_per_day=1)
    started = [SwapStarted(at=NOW, tank=key) for key in ("t1", "t2")]
    record(store, ROOM, [rules, *started], NOW)
    assert line(store, "t1", "day").state == line(store, "t2", "day").state == "ready"
