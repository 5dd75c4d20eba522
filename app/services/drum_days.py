"""Since when a drum holds what it holds: what was moved into it brings its own days.

A fold sees of a move no more than its drum. Waste gets no younger by being moved (40 CFR 262.16(b)
counts from the day on which accumulation began; text read).
"""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.waste.drums import DrumState
from app.services.mixed_drums import Known, of_source


def with_days(
    session: Session, room_id: int, drum: DrumState, known: Known | None = None
) -> DrumState:
    """The drum with the earliest days of what was moved into it since it was last empty."""
    since = drum.first_pour_at
    if drum.is_empty or drum.is_shipped or since is None:
        return drum
    moved = [one for one in drum.fillings if one.from_drum and one.at >= since]
    if not moved:
        return drum
    seen = {} if known is None else known
    sources = [
        of_source(
            session, room_id, one, "days", seen,
            lambda other: with_days(session, room_id, other, seen), drum,
        )
        for one in moved
    ]  # fmt: skip
    return replace(
        drum,
        first_pour_at=_first(drum.first_pour_at, *(one.first_pour_at for one in sources)),
        central_at=_first(drum.central_at, *(one.central_at for one in sources)),
    )


def _first(*times: datetime | None) -> datetime | None:
    return min((at for at in times if at is not None), default=None)
