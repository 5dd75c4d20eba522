"""The book of a curing station: its state, and when readings of its lamp were set aside."""

from dataclasses import replace

from app.domain.curing.stations import AsideSpan, OutputReading, StationState, station_after
from app.domain.curing.trust import course_of
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import (
    STATION,
    Irradiance,
    ReadingAccepted,
    Relamped,
    Station,
    StationChanged,
)
from app.domain.things import Thing

MOST_ASIDES = 500
_JUDGED_AT = (Station, StationChanged, Relamped, Irradiance, ReadingAccepted)


def _after(state: StationState, entry: Entry) -> StationState:
    moved = station_after(state, entry)
    return _judged(moved, entry) if isinstance(entry, _JUDGED_AT) else moved


def _judged(state: StationState, entry: Entry) -> StationState:
    """The spans after an entry that may set a reading aside, settle it or take its lamp out."""
    aside = [_name(one.reading) for one in course_of(state).open]
    spans = [
        replace(span, until_at=entry.at)
        if span.until_at is None and span.reading not in aside else span
        for span in state.asides
    ]  # fmt: skip
    known = {span.reading for span in spans if span.until_at is None}
    spans += [AsideSpan(name, entry.at) for name in aside if name not in known]
    return replace(state, asides=tuple(spans[-MOST_ASIDES:]))


def _name(reading: OutputReading) -> str:
    return reading.entry or reading.at.isoformat()


STATION_BOOK = Thing(
    STATION, StationState, StationState, _after, lambda state: not state.is_retired, version=4
)
