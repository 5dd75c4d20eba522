"""The program's clock: the one place that reads the machine's.

`BATHKEEPER_CLOCK_AHEAD_S` moves it, so that a trial can take place on another day: seconds that
the program is ahead of the machine, negative for the past.
"""

import os
import time
from datetime import UTC, datetime, timedelta
from functools import cache

from app import environment

VARIABLE = "BATHKEEPER_CLOCK_AHEAD_S"


def utc_now() -> datetime:
    """The present instant.

    Raises:
        DomainError: the environment moves the clock by what is no number of seconds.
    """
    return datetime.now(UTC) + _ahead(os.environ.get(VARIABLE, ""))


def steady_s() -> float:
    """Seconds on a clock that nobody sets, which counts on while the machine sleeps.

    Only differences mean something.
    """
    return time.clock_gettime(_STEADY) if _STEADY is not None else time.monotonic()


_STEADY: int | None = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


@cache
def _ahead(text: str) -> timedelta:
    return timedelta(seconds=environment.read().clock_ahead_s) if text else timedelta()
