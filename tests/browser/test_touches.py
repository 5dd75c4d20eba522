"""How many touches a whole swap takes on a tablet, step by step: as docs/swap.md says."""

import sys
from typing import Any

import pytest

from tests.browser.touches import WAYS, counts, furnish_hall, in_docs, table, walked

pytestmark = pytest.mark.browser
SOME = ("one tank, typed", "a pair, by scale")


@pytest.fixture(scope="module")
def hall(serve: Any, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a room with two tanks and two pairs."""
    folder = tmp_path_factory.mktemp("hall")
    furnish_hall(folder)
    return f"{serve('serve', data_dir=folder).url}/rooms/hall"


@pytest.mark.parametrize(
    "way", [pytest.param(way, marks=[] if way in SOME else pytest.mark.nightly) for way in WAYS]
)
def test_touches_of_a_whole_swap(tablet: Any, hall: str, way: str) -> None:
    walk = walked(tablet, hall, way)
    sys.stdout.write(f"{way}: {walk.seconds:.0f} s by machine\n")
    assert counts(table({way: walk}), way) == counts(in_docs(), way)
