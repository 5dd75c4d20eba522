"""The program's clock, and that it can be moved for a trial."""

import os
from datetime import UTC, datetime, timedelta

import pytest

from app import clock
from app.domain.errors import DomainError


def test_the_clock_is_the_machines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(clock.VARIABLE)
    assert abs(clock.utc_now() - datetime.now(UTC)) < timedelta(seconds=5)
    assert clock.utc_now().tzinfo is UTC


@pytest.mark.parametrize("days", [-400, 3, 0.5])
def test_the_clock_can_be_moved_for_a_trial(monkeypatch: pytest.MonkeyPatch, days: float) -> None:
    monkeypatch.setenv(clock.VARIABLE, f"{days * 86400}")
    moved = clock.utc_now() - datetime.now(UTC)
    assert abs(moved - timedelta(days=days)) < timedelta(seconds=5)


@pytest.mark.parametrize("text", ["tomorrow", "nan", "inf", "1e300", "-2e9"])
def test_a_clock_moved_by_nonsense_is_refused(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv(clock.VARIABLE, text)
    with pytest.raises(DomainError, match=clock.VARIABLE):
        clock.utc_now()


def test_the_tests_take_place_on_a_day_of_their_own() -> None:
    """A chart of the demo once failed on some days and not on others."""
    assert os.environ[clock.VARIABLE]
