"""What the shelf still needs for a swap that is under way: less what was taken for it already."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds.inspections import Component, InspectionAnswered
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.domain.site import SiteState
from app.domain.supplies.plan import ItemPlan
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.supplies.shelf import read_shelf
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, swap_store

RINSE_L = SiteState().rinse_percent / 100 * 40  # of a tank of 40 L


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with a used bath, drums and solvent on the shelf."""
    store = swap_store(tmp_path)
    yield store
    store.close()


def plan(store: Store, item: str = "ipa") -> ItemPlan:
    with Session(store.reader) as session:
        found = read_shelf(session, find_room(session, ROOM), NOW).plan(item)
    assert found is not None
    return found


def needed_l(store: Store, tank: str) -> float:
    return sum(use.quantity for use in plan(store).coming if use.tank == tank)


def test_a_rinse_does_not_pass_for_the_fill(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    before = needed_l(store, "t1")
    run.tick("inspect")
    run.tick("rinse", rinse_l=1.5, lot="ipa|A7")
    assert needed_l(store, "t1") == pytest.approx(before - RINSE_L)
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0, lot="ipa|A7")
    assert needed_l(store, "t1") == 0


def test_a_pair_under_way_takes_one_fill_and_two_rinses(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    run.until_drained()
    assert needed_l(store, "dirty") == pytest.approx(RINSE_L)
    assert 30.0 < needed_l(store, "clean") < 45.0


def test_a_part_that_the_last_look_condemned_is_ordered(store: Store) -> None:
    record(store, ROOM, [
        Item(at=START, item="ring", name="O-ring", category="part", unit="piece"),
        StockReceived(at=START, item="ring", quantity=1),
        StockUsed(at=START, item="ring", quantity=1),
        *(Component(at=START, component=key, part="o_ring", name=key, tank="t1", item="ring")
          for key in ("c1", "c2")),
        *(InspectionAnswered(at=NOW, inspection="i1", component=key, answers={"q": "yes"},
                             verdict="replace") for key in ("c1", "c2")),
    ], NOW)  # fmt: skip
    Run(store)
    ring = plan(store, "ring")
    assert [(use.tank, use.quantity) for use in ring.coming] == [("t1", 2.0)]
    assert ring.standing == "short"
    assert ring.buy.quantity >= 2


def test_a_part_of_another_tank_is_none_of_this_swap(store: Store) -> None:
    record(store, ROOM, [
        Item(at=START, item="ring", name="O-ring", category="part", unit="piece"),
        StockReceived(at=START, item="ring", quantity=9),
        *(Component(at=START, component=tank, part="o_ring", name=tank, tank=tank, item="ring")
          for tank in ("t1", "clean")),
        *(InspectionAnswered(at=NOW, inspection="i1", component=tank, answers={"q": "yes"},
                             verdict="replace") for tank in ("t1", "clean")),
    ], NOW)  # fmt: skip
    Run(store)
    assert [use.quantity for use in plan(store, "ring").coming if use.tank == "t1"] == [1.0]
