"""The forecast in a tank's row: made of what is known, as a function of it and of an instant.

It is made with the entry that it follows from, or after it (soon). What a person must see at once
never waits: a forecast stands for a moment longer only while it is one of the same fill, solvent,
marks and limits, and neither limit has been passed meanwhile.
"""

import json
import zlib
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.evidence import LACKS
from app.domain.baths.forecast import Forecast, forecast
from app.services.projecting import Run
from app.store.instants import maybe_us, to_us
from app.store.tables import RoomRow, TankRow

TOMORROW = timedelta(days=1)
_SAME = (
    "fill", "fill_started_at_us", "solvent", "fresh_purity_percent", "pair", "capacity_l", "min_l",
    "swap_started_at_us", "is_retired", "limit_basis", "limit_entered", "stop_basis",
    "stop_entered",
)  # fmt: skip


def forecast_of(room: RoomRow, run: Run[RoomFilter], tank: str, now: datetime) -> Forecast:
    """The forecast of a tank as the room stands: the same each time it is made of the same."""
    seed = zlib.crc32(f"{room.key}/{tank}/{run.entries}".encode())
    return forecast(run.state, tank, now, np.random.default_rng(seed))


def take_forecast(row: TankRow, outlook: Forecast, now: datetime) -> None:
    """Write a forecast made at `now` into its row; nothing is due any more."""
    row.limit_is_passed = outlook.limit.is_passed
    row.limit_p10_us = maybe_us(outlook.limit.p10_at)
    row.limit_p50_us = maybe_us(outlook.limit.p50_at)
    row.limit_p90_us = maybe_us(outlook.limit.p90_at)
    row.limit_chance = outlook.limit.chance_within_horizon
    row.stop_is_passed = outlook.stop.is_passed
    row.stop_p50_us = maybe_us(outlook.stop.p50_at)
    fan = [[to_us(p.at), round(p.p05, 3), round(p.p50, 3), round(p.p95, 3)] for p in outlook.fan]
    row.fan = json.dumps(fan)
    row.tomorrow_percent = _at_tomorrow(fan, now)
    row.forecast_at_us = to_us(now)
    row.forecast_due_us = row.forecast_due_version = None


def stood_on(row: TankRow) -> tuple[Any, ...] | None:
    """What the forecast in a row was made of, besides washes and readings; None without one."""
    if not row.forecast_at_us:
        return None
    passed = row.limit_is_passed, row.stop_is_passed
    return (*_of_bath(row), *passed)


def stands_on(row: TankRow) -> tuple[Any, ...]:
    """What a forecast of a row would be made of: where it equals `stood_on`, it may wait."""
    passed = row.mean_percent >= row.limit_percent, row.mean_percent >= row.stop_percent
    return (*_of_bath(row), *passed)


def _of_bath(row: TankRow) -> tuple[Any, ...]:
    lacking = frozenset(LACKS) & frozenset(row.flags.split(","))
    return (*(getattr(row, name) for name in _SAME), lacking)


def _at_tomorrow(fan: Iterable[list[Any]], now: datetime) -> float | None:
    """The middle of the fan a day from now, None where it does not reach so far."""
    tomorrow_us = to_us(now + TOMORROW)
    before: list[Any] | None = None
    for point in fan:
        if point[0] >= tomorrow_us:
            if before is None or point[0] == before[0]:
                return float(point[2])
            share = (tomorrow_us - before[0]) / (point[0] - before[0])
            return float(before[2] + share * (point[2] - before[2]))
        before = point
    return None
