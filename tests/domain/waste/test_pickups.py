"""A pickup's book: booked, cancelled, shipped, its signed copy back."""

from dataclasses import replace
from datetime import date

from app.domain.roomlog.kinds.waste import PickupBooked, PickupCancelled, PickupCopyReceived
from app.domain.things import fold
from app.domain.waste.pickups import PICKUP_BOOK, PickupState
from tests.domain.waste.book import at, pour, shipped

BOOKED = PickupBooked(
    at=at(1), pickup="p1", drums=["d1", "d2"], pickup_on=date(2026, 3, 11), hauler="Contractor"
)
CANCELLED = PickupCancelled(at=at(2), pickup="p1", drums=["d1", "d2"], reason="Lorry broke down")
COPY = PickupCopyReceived(at=at(20), pickup="p1", drums=["d1"])


def test_a_pickup_goes_from_booked_to_closed() -> None:
    booked = fold(PICKUP_BOOK, "p1", [BOOKED])
    assert booked == PickupState(
        "p1", "booked", date(2026, 3, 11), "Contractor", ("d1", "d2"), booked_at=at(1)
    )
    gone = PICKUP_BOOK.apply(booked, shipped(9))
    assert gone == PickupState(
        "p1", "shipped", date(2026, 3, 11), "Contractor", ("d1",), booked_at=at(1),
        shipped_at=at(9), document="M-1",
    )  # fmt: skip
    closed = PICKUP_BOOK.apply(gone, COPY)
    assert (closed.stage, closed.copy_received_at, closed.document) == ("closed", at(20), "M-1")
    assert [one.is_booked for one in (booked, gone, closed)] == [True, False, False]
    assert [PICKUP_BOOK.is_open(one) for one in (booked, gone, closed)] == [True, True, False]


def test_the_cost_and_weight_are_those_that_were_entered() -> None:
    bill = replace(shipped(9), cost_cents=48_000, shipped_kg=152.5)
    found = fold(PICKUP_BOOK, "p1", [BOOKED, bill])
    assert (found.cost_cents, found.mass_kg) == (48_000, 152.5)


def test_a_cancelled_pickup_may_be_booked_again() -> None:
    off = fold(PICKUP_BOOK, "p1", [BOOKED, CANCELLED])
    assert (off.stage, off.reason, off.is_booked) == ("cancelled", "Lorry broke down", False)
    assert not PICKUP_BOOK.is_open(off)
    again = PICKUP_BOOK.apply(off, BOOKED)
    assert (again.stage, again.reason) == ("booked", "")
    assert PICKUP_BOOK.apply(again, pour(3)) is again
