"""The room of a test of the services that brings none of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.store.engine import Store
from tests.services.swaps.led import swap_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with a used bath, a pair, drums, solvent on the shelf and a lead."""
    made = swap_store(tmp_path)
    yield made
    made.close()
