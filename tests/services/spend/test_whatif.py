"""What-if years rest on the room's own record: its pairs, all of its books, its misses."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import Entry, Swap, TankChange
from app.domain.roomlog.kinds.checklists import StepDone, SwapOpened
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.services.demo import ROOM as DEMO
from app.services.door import bring_in as record
from app.services.exporting import log_lines
from app.services.rooms import find_room
from app.services.spend.weekly_costs import spend_of
from app.services.spend.whatif import Prepared, outcomes_of, room_now
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.furnished import fill_with_demo, new_store
from tests.oracles import Ask, costs_of
from tests.services.spend.test_weekly_costs import costly, stocked


def day(days: float) -> datetime:
    return NOW - timedelta(days=days)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    yield store
    store.close()


def prepared(store: Store, room: str = ROOM, now: datetime = NOW) -> Prepared:
    with Session(store.reader) as session:
        return room_now(session, find_room(session, room), now)


def pair(store: Store, *entries: Entry) -> Prepared:
    washes = [wash(13 - i / 4, "dirty", area_cm2=3_000.0) for i in range(50)]
    record(store, ROOM, [tank("clean"), tank("dirty", pair="clean"), *washes, *entries], NOW)
    return prepared(store)


def dirty(found: Prepared) -> object:
    assert found.room is not None
    return next(bath for bath in found.room.baths if bath.tank == "dirty")


def test_a_pair_whose_clean_bath_moved_up_is_swapped_once_and_stays_so(store: Store) -> None:
    found = pair(
        store,
        Swap(at=day(3), id="up", tank="dirty", from_tank="clean", swap="s1"),
        Swap(at=day(3) + timedelta(minutes=5), id="fresh", tank="clean", swap="s1"),
    )
    assert dirty(found).moves_up  # type: ignore[attr-defined]
    swaps = next(one for one in found.repeat if one.name == "swaps")
    assert swaps.whole.booked == 1


def test_a_pair_whose_baths_are_swapped_by_themselves_stays_so(store: Store) -> None:
    found = pair(store, Swap(at=day(5), tank="dirty"), Swap(at=day(3), tank="clean"))
    assert not dirty(found).moves_up  # type: ignore[attr-defined]
    swaps = next(one for one in found.repeat if one.name == "swaps")
    assert swaps.whole.booked == 2


def test_a_pair_without_a_swap_is_taken_to_move_up(store: Store) -> None:
    assert dirty(pair(store)).moves_up  # type: ignore[attr-defined]


def test_another_limit_tells_on_what_leaves_a_pair(store: Store) -> None:
    pair(store)
    cases = {str(limit): {"limit_percent": limit} for limit in (8, 12, 15)}
    with Session(store.reader) as session:
        found = outcomes_of(session, find_room(session, ROOM), NOW, cases)
    left = [found[name].of("residue_g").middle for name in cases]
    assert left[0] < left[1] < left[2]


def test_the_habit_of_swapping_is_told_against_the_limit_that_applied_then(store: Store) -> None:
    # Three swaps at a limit of 10 %, which is 20 % since: the bath goes on being swapped at the
    # same share of its limit, not at half of it.
    loads = [wash(13.9 - i / 12, id=f"w{i}", area_cm2=6_000.0) for i in range(160)]
    swaps = [Swap(at=day(d), id=f"s{d}", tank="t1") for d in (11, 8, 5)]
    record(store, ROOM, [*loads, *swaps], NOW)
    before = prepared(store)
    record(store, ROOM, [TankChange(at=NOW, tank="t1", limit_percent=20.0)], NOW)
    after = prepared(store)
    assert before.room is not None
    assert after.room is not None
    assert after.room.swaps_seen == before.room.swaps_seen == 3
    shares = [room.baths[0].early_share for room in (before.room, after.room)]
    assert shares[1] > 0.75 * shares[0]


def test_a_year_holds_everything_that_the_weeks_pages_hold(store: Store, ask: Ask) -> None:
    record(store, ROOM, [*stocked(), *costly()], NOW)
    found = prepared(store)
    assert found.room is not None
    with Session(store.reader) as session:
        now = outcomes_of(session, find_room(session, ROOM), NOW, {"": {}})[""]
        text = "".join(log_lines(store, find_room(session, ROOM).id or 0))
    rest = ask(
        "rest_cents", costs_of([json.loads(line) for line in text.splitlines()]), unit="cents"
    )
    days = 14  # since the tanks came into use
    assert now.parts["rest"] == pytest.approx(rest * 365 / days, abs=2 * 365 / days)
    assert sum(now.parts.values()) == now.cents
    said = " ".join(now.assumes)
    for word in ("consumables", "spoiled or expired", "disposal outside its rates", "other costs"):
        assert word in said
    whole = next(one.whole for one in found.repeat if one.name == "cents")
    assert whole.booked == 33_642  # the week's page, see test_spend.py


def test_what_tanks_cost_that_are_out_of_use_is_named(store: Store) -> None:
    record(store, ROOM, [*stocked(), *costly()], NOW)
    record(store, ROOM, [TankChange(at=NOW, tank="t2", is_retired=True)], NOW)
    found = prepared(store)
    with Session(store.reader) as session:
        lines = [x for week in spend_of(session, find_room(session, ROOM)).lines.values()
                 for x in week]  # fmt: skip
    assert found.paid.left_out_cents == sum(line.cents for line in lines if line.tank == "t2") > 0


def test_minutes_that_were_entered_go_into_the_year_as_well(store: Store) -> None:
    rates = PriceList(at=START, prices="prices", labour_cents_per_hour=6_000)
    swaps: list[Entry] = []
    for n in range(3):
        opened = SwapOpened(at=day(9 - n), id=f"o{n}", swap=f"s{n}", tank="t1", checklist="usual",
                            version=0, steps=[], estimated_l=38, capacity_l=40,
                            solvent="isopropanol")  # fmt: skip
        swaps += [
            opened, Swap(at=day(9 - n), id=f"w{n}", tank="t1", swap=f"s{n}"),
            StepDone(at=day(9 - n), id=f"d{n}", swap=f"s{n}", step="close_out",
                     answers={"minutes_taken": 150}),
        ]  # fmt: skip
    record(store, ROOM, [rates, *swaps[:3]], NOW)
    assert prepared(store).prices.swap_minutes == 90  # the site's own: one swap is too few to tell
    record(store, ROOM, swaps[3:], NOW)
    assert prepared(store).prices.swap_minutes == 150


@pytest.mark.slow
def test_the_ranges_of_the_demo_hold_its_own_past(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    fill_with_demo(store, NOW)
    found = prepared(store, DEMO.key)
    assert {one.name for one in found.repeat} == {
        "swaps", "bath_l", "waste_kg", "solvent_cents", "cents"
    }  # fmt: skip
    for one in found.repeat:
        assert one.whole.is_held(one.doubt), one.name
        assert one.held_widened >= 0.8 * len(one.lines), one.name
    with Session(store.reader) as session:
        room = find_room(session, DEMO.key)
        now = outcomes_of(session, room, NOW, {"": {}})[""]
        spend = spend_of(session, room)
        booked = sum(line.cents for week in spend.lines.values() for line in week)
    # A year at the pace of all its books, whatever they are for, lies in the range of the year.
    year = booked * 365 / (7 * found.weeks)
    assert now.of("cents").low <= year <= now.of("cents").high
    store.close()


def test_a_cost_that_is_far_from_the_model_widens_the_year(store: Store) -> None:
    record(store, ROOM, [*stocked(), *costly()], NOW)
    before = next(one for one in prepared(store).repeat if one.name == "cents")
    dear = OtherCost(at=day(2), id="dear", prices="prices", cost_cents=500_000, purpose="solvent",
                     tank="t1", what="Solvent bought in a hurry")  # fmt: skip
    record(store, ROOM, [dear], NOW)
    after = next(one for one in prepared(store).repeat if one.name == "cents")
    assert after.whole.miss > 5 * max(before.whole.miss, 0.1)
    assert after.doubt >= after.whole.miss
    assert after.whole.is_held(after.doubt)
