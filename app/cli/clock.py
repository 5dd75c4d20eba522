"""The clock of the command line: the one place here that reads it."""

from datetime import UTC, datetime


def utc_now() -> datetime:
    """The present instant."""
    return datetime.now(UTC)  # noqa: TID251 - commands are where the present comes in
