"""A server killed again and again under all that people do: nothing acknowledged is lost."""

import os
from pathlib import Path

import pytest

from tests.benchmark.kills import kill_servers

FEW, MANY = 10, 60
POSTGRES = pytest.param("postgres", marks=pytest.mark.postgres)


@pytest.mark.slow
@pytest.mark.parametrize("where", ["sqlite", POSTGRES])
@pytest.mark.parametrize(
    "kills", [pytest.param(FEW, id="few"), pytest.param(MANY, id="many", marks=pytest.mark.nightly)]
)
def test_nothing_acknowledged_is_lost_and_nothing_is_damaged(
    tmp_path: Path, where: str, kills: int, request: pytest.FixtureRequest
) -> None:
    """SQLite's own integrity check after each kill (documentation of SQLite, PRAGMA)."""
    if where == "postgres":
        request.getfixturevalue("postgres_server")
    address = os.environ.get("BATHKEEPER_TEST_POSTGRES", "") if where == "postgres" else ""
    tally = kill_servers(tmp_path, kills, address)
    assert tally.kills.total() >= kills
    assert tally.acknowledged["imported lines"] > 0
    if kills == MANY:
        assert min(tally.acknowledged[one] for one in ("washes", "steps", "photos")) > 0
    assert (tally.lost, tally.damaged) == ([], [])
