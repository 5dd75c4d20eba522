"""Pickups of a room: booked, shipped, cancelled, or refused with the reason."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from app.domain.roomlog.kinds.waste import (
    DrumClosed,
    DrumQuarantined,
    PickupBooked,
    PickupCancelled,
    PickupCopyReceived,
    PickupShipped,
)
from app.services.door import bring_in as record
from app.services.door import enter
from app.store.engine import Store
from tests.factories import NOW, ROOM, withdraw
from tests.services.waste_room import ago, drum, pour, refused, seen, state, waste_room


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return waste_room(tmp_path)


def booked(**more: Any) -> PickupBooked:
    values: dict[str, Any] = {
        "pickup": "p1", "drums": ["d1", "d2"], "pickup_on": NOW.date(), "hauler": "Marl Waste",
    }  # fmt: skip
    return PickupBooked(at=ago(1), **(values | more))


def test_a_pickup_is_booked_shipped_and_its_copy_comes_back(store: Store) -> None:
    enter(store, ROOM, [pour(1.2, 40.0), booked()], NOW)
    assert state(store).pickup == "p1"
    ship = PickupShipped(
        at=ago(0.1), pickup="p1", drums=["d1"], document="M-7", cost_cents=41500, shipped_kg=33.0
    )
    assert "not closed" in refused(store, ship)["drums"]
    enter(store, ROOM, [DrumClosed(at=ago(0.5), drum="d1", is_cool=True)], NOW)
    enter(store, ROOM, [ship], NOW)
    found = seen(store)
    pickup = found.pickups["p1"]
    assert (pickup.stage, pickup.document, pickup.cost_cents) == ("shipped", "M-7", 41500)
    assert state(store).is_shipped
    assert found.on_site_kg == 0.0
    assert found.month_kg > 0
    assert found.pickup_of(state(store, "d2")) is None  # it stayed, and is free to be booked
    copy = PickupCopyReceived(at=ago(0), pickup="p1", drums=["d1"])
    enter(store, ROOM, [copy], NOW)
    assert seen(store).pickups["p1"].stage == "closed"
    assert "changed meanwhile" in refused(store, copy)["pickup"]


def test_shipping_withdrawn_brings_all_drums_back(store: Store) -> None:
    closed = [DrumClosed(at=ago(2), drum=key, is_cool=True) for key in ("d1", "d2")]
    enter(store, ROOM, [pour(3, 40.0), *closed, booked()], NOW)
    ship = PickupShipped(at=ago(0.1), pickup="p1", drums=["d1", "d2"], document="M-7")
    done = enter(store, ROOM, [ship], NOW)
    assert seen(store).open_drums == ()
    withdraw(store, ROOM, done.ids[0], "Wren", "", NOW, None)
    assert {one.key for one in seen(store).open_drums} == {"d1", "d2"}
    assert seen(store).pickups["p1"].stage == "booked"


def test_a_cancelled_pickup_frees_its_drums(store: Store) -> None:
    enter(store, ROOM, [booked()], NOW)
    assert "another pickup" in refused(store, booked(pickup="p2"))["drums"]
    off = PickupCancelled(at=ago(0.5), pickup="p1", drums=["d1", "d2"], reason="No lorry")
    enter(store, ROOM, [off], NOW)
    enter(store, ROOM, [booked(pickup="p2")], NOW)
    assert state(store).pickup == "p2"
    assert "changed meanwhile" in refused(store, off)["pickup"]


def test_a_pickup_that_cannot_be_is_refused(store: Store) -> None:
    assert "passed" in refused(store, booked(pickup_on=ago(1).date()))["pickup_on"]
    assert "no drum" in refused(store, booked(drums=["d9"]))["drums"]
    enter(store, ROOM, [booked()], NOW)
    assert "already has this key" in refused(store, booked())["pickup"]
    ship = PickupShipped(at=ago(0.1), pickup="p9", drums=["d1"], document="M-7")
    assert "no longer booked" in refused(store, ship)["pickup"]
    other = PickupShipped(at=ago(0.1), pickup="p1", drums=["d7"], document="M-7")
    assert "not a drum of this pickup" in refused(store, other)["drums"]


def test_a_drum_in_quarantine_or_untested_is_not_shipped(store: Store) -> None:
    unknown = drum("d3", stream="unknown", volume_l=3.0)
    record(store, ROOM, [unknown], NOW)
    enter(store, ROOM, [booked(drums=["d1", "d3"])], NOW)
    shut = [DrumClosed(at=ago(0.9), drum=key, is_cool=True) for key in ("d1", "d3")]
    enter(store, ROOM, shut, NOW)
    ship = PickupShipped(at=ago(0.1), pickup="p1", drums=["d3"], document="M-7")
    assert "untested" in refused(store, ship)["drums"]
    enter(store, ROOM, [DrumQuarantined(at=ago(0.5), drum="d1", reason="Hot", by="Wren")], NOW)
    assert "quarantine" in refused(store, replace(ship, drums=["d1"]))["drums"]
