"""A pickup as its entries leave it: booked, cancelled, shipped, its signed copy back."""

import math
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import (
    PICKUP,
    PickupBooked,
    PickupCancelled,
    PickupCopyReceived,
    PickupShipped,
)
from app.domain.things import Thing

Stage = Literal["booked", "cancelled", "shipped", "closed"]


@dataclass(frozen=True)
class PickupState:
    """A pickup.

    Attributes:
        stage: `closed` is shipped with the signed copy back.
        mass_kg: as the contractor weighed it; None where nobody said.
    """

    key: str
    stage: Stage = "booked"
    pickup_on: date | None = None
    hauler: str = ""
    drums: tuple[str, ...] = ()
    booked_at: datetime | None = None
    shipped_at: datetime | None = None
    document: str = ""
    cost_cents: int | None = None
    mass_kg: float | None = None
    copy_received_at: datetime | None = None
    reason: str = ""

    @property
    def is_booked(self) -> bool:
        """It is still to come."""
        return self.stage == "booked"


def years_after(day: date, years: float) -> date:
    """The same day so many years on, a part of a year rounded up; of 29 February 1 March.

    >>> years_after(date(2024, 2, 29), 3)
    datetime.date(2027, 3, 1)
    """
    year = day.year + math.ceil(years)
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def _after(state: PickupState, entry: Entry) -> PickupState:
    if isinstance(entry, PickupBooked):
        return replace(
            state, stage="booked", pickup_on=entry.pickup_on, hauler=entry.hauler,
            drums=tuple(entry.drums), booked_at=entry.at, reason="",
        )  # fmt: skip
    if isinstance(entry, PickupCancelled):
        return replace(state, stage="cancelled", reason=entry.reason)
    if isinstance(entry, PickupShipped):
        return replace(
            state, stage="shipped", drums=tuple(entry.drums), shipped_at=entry.at,
            document=entry.document, cost_cents=entry.cost_cents, mass_kg=entry.shipped_kg,
        )  # fmt: skip
    if isinstance(entry, PickupCopyReceived):
        return replace(state, stage="closed", copy_received_at=entry.at)
    return state


PICKUP_BOOK = Thing(
    PICKUP, PickupState, PickupState, _after, lambda state: state.stage in ("booked", "shipped")
)
