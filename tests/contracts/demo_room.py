"""The demo room as it is first shown, with a browser on it."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from fastapi.testclient import TestClient

from app.config import Settings
from app.main import create_app
from app.services.demo import ROOM as FORM
from tests.connections import watched
from tests.furnished import fill_with_demo, prepare

NOW = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
ROOM = FORM.key


def visit_demo(folder: Path, at: str = "") -> Iterator[TestClient]:
    """A browser without scripts on the demo room, served below the path `at` of a proxy."""
    settings = Settings(data_dir=folder, allowed_hosts=("room.test",), at=at)
    prepare(folder)
    app = create_app(settings, clock=lambda: NOW)
    fill_with_demo(app.state.store, NOW)
    with watched(app), TestClient(app, base_url="http://room.test") as client:
        yield client
