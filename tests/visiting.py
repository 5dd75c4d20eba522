"""A browser without scripts on a room of a test's own."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds import Entry
from app.main import create_app
from app.services.door import bring_in
from tests.factories import NOW, ROOM, furnish
from tests.furnished import prepare


@contextmanager
def visiting(
    folder: Path, entries: Sequence[Entry] = (), tanks: int = 1,
    clock: Callable[[], datetime] = lambda: NOW,
) -> Iterator[TestClient]:  # fmt: skip
    """A browser on a room in that folder, with so many tanks (see `furnish`) and these entries."""
    prepare(folder)
    app = create_app(Settings(data_dir=folder), clock=clock)
    furnish(app.state.store, tanks=tanks)
    if entries:
        bring_in(app.state.store, ROOM, entries, NOW)
    with TestClient(app, base_url="http://room.test") as client:
        yield client
