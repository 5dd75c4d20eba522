"""Views of tanks for tests of words and pictures."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from sqlmodel import Session

from app.domain.swaps import QueuedSwap
from app.services.rooms import find_room
from app.store import queries
from app.store.queries import TankView
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store


def tank_view(folder: Path) -> TankView:
    """A tank as the store shows it, with nothing to say of it: every test says what it needs."""
    store = new_store(folder)
    furnish(store)
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id
        assert room_id is not None
        view = queries.board(session, room_id, NOW).tanks[0]
    store.close()
    return replace(view, flags=(), needs_reading=False, swap=queued())


def queued(urgency: str = "later", days: float | None = 4.0, **more: Any) -> QueuedSwap:
    """A place in the queue, due so many days from now."""
    due_at = None if days is None else NOW + timedelta(days=days)
    values: dict[str, Any] = {"ruler": "limit", "early_at": None, "late_at": None}
    return QueuedSwap(tank="t1", urgency=urgency, due_at=due_at, **(values | more))  # type: ignore[arg-type]
