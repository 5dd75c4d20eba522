"""Storing the rates of a room."""

from collections.abc import Collection
from datetime import datetime

from app.domain.roomlog.kinds.spending import PriceList
from app.services import door
from app.services.door import Recorded
from app.store.engine import Store


def record_rates(
    store: Store, room: str, entry: PriceList, now: datetime, submission: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Store rates.

    Raises:
        FieldErrors: another currency than the room's: what was entered is not converted.
    """

    return door.enter(store, room, [entry], now, submission, confirmed=confirmed)
