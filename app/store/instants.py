"""Instants as the database keeps them: whole microseconds since 1970, UTC."""

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def to_us(moment: datetime) -> int:
    """Microseconds since 1970 of an aware datetime.

    >>> to_us(datetime(1970, 1, 1, 0, 0, 1, tzinfo=UTC))
    1000000
    """
    return (moment - _EPOCH) // _MICROSECOND


def from_us(moment_us: int) -> datetime:
    """The aware UTC datetime of microseconds since 1970."""
    return _EPOCH + timedelta(microseconds=moment_us)


def maybe_us(moment: datetime | None) -> int | None:
    """Like `to_us`, None for None."""
    return None if moment is None else to_us(moment)


def maybe_from_us(moment_us: int | None) -> datetime | None:
    """Like `from_us`, None for None."""
    return None if moment_us is None else from_us(moment_us)
