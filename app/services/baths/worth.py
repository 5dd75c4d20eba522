"""What a reading of a tank would be worth now, kept until something is entered."""

import zlib
from collections.abc import Iterable

import numpy as np
from sqlmodel import Session

from app.domain.baths.forecast.worth import Worth, worth_of_readings
from app.services.baths.track_record import run_of
from app.services.caching import kept
from app.store.queries import TankView
from app.store.tables import RoomRow


def worth_of(session: Session, room: RoomRow, view: TankView) -> tuple[Worth, ...]:
    """What a reading by each instrument would be worth, the best first; empty where no day is named
    by a forecast, or nothing is washed.

    Its random numbers are those of the forecast that is shown, so the days now are the same.
    """
    has_day = view.limit_p10_at is not None and not view.limit_is_passed
    if view.lacks or view.is_retired or view.swap_started_at is not None or not has_day:
        return ()
    assert room.id is not None
    shown = view.forecast_at, view.limit_p10_at, view.limit_p90_at, view.stored_fan
    known: dict[int, tuple[Worth, ...]] = kept(
        session, room.id, f"worth of {view.key}", shown, dict
    )
    # While its forecast is due, what is shown beside the last one stays what was shown with it.
    if not known or (view.forecast_due_at is None and room.version not in known):
        found = _worth(session, room, view)
        known.clear()
        known[room.version] = found
    return next(iter(known.values()))


def best_of(session: Session, room: RoomRow, views: Iterable[TankView]) -> dict[str, Worth]:
    """Of each tank the reading that is worth most; those that none would help are left out."""
    found = {view.key: worth_of(session, room, view) for view in views}
    return {key: some[0] for key, some in found.items() if some and some[0].is_worthwhile}


def _worth(session: Session, room: RoomRow, view: TankView) -> tuple[Worth, ...]:
    run = run_of(session, room)
    at = max(view.forecast_at, run.state.last_at or view.forecast_at)
    seed = zlib.crc32(f"{room.key}/{view.key}/{run.entries}".encode())
    belief = run.state.belief(view.key, at)
    return worth_of_readings(run.state, belief, np.random.default_rng(seed))
