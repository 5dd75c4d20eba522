"""When a tank was on hold, a reading set aside, a check overdue: few entries tell it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.curing.stations import StationState
from app.domain.duties.book import DUTY_BOOK
from app.domain.duties.catalogue import CATALOGUE, SAMPLE_CHECK, Duty, in_force
from app.domain.duties.due import Subject, last_said, next_due
from app.domain.holds import HOLD_BOOK, HoldState
from app.domain.meters.book import Instruments, first_unchecked
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.duties import DUTY
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.things import steps
from app.services.entries import entry_of
from app.services.meters.book import instruments
from app.services.then import rows_of
from app.store.instants import from_us
from app.store.tables import RoomRow, ThingRow
from app.store.things import things


@dataclass(frozen=True)
class Span:
    """A stretch of time at a thing, and why; without an end it goes on.

    Attributes:
        key: of the tank or station; empty for the room.
    """

    key: str
    since_at: datetime
    until_at: datetime | None
    why: str = ""

    def has(self, at: datetime) -> bool:
        """An instant lies in it; its end does not."""
        return self.since_at <= at and (self.until_at is None or at < self.until_at)


def holds(session: Session, room_id: int, tanks: Iterable[str] | None = None) -> list[Span]:
    """When tanks were on hold, of all of them or some."""
    query = select(ThingRow.key).where(ThingRow.room_id == room_id, ThingRow.thing == HOLD)
    known = set(session.exec(query))
    found: list[Span] = []
    for key in sorted(known if tanks is None else known & set(tanks)):
        found += _held(key, _book(session, room_id, HOLD, key))
    return found


def _held(key: str, entries: Iterable[Entry]) -> Iterator[Span]:
    since: datetime | None = None
    why = ""
    state: HoldState
    for at, state in steps(HOLD_BOOK, key, entries):
        if state.is_held and since is None:
            since, why = at, state.reason
        elif not state.is_held and since is not None:
            yield Span(key, since, at, why)
            since = None
    if since is not None:
        yield Span(key, since, None, why)


def asides(session: Session, room_id: int) -> list[Span]:
    """When a light reading of a station was set aside and nothing had settled it."""
    states: dict[str, StationState] = things(session, room_id, STATION)
    return [
        Span(key, one.since_at, one.until_at, one.reading)
        for key, state in sorted(states.items())
        for one in state.asides
    ]


def overdue_checks(session: Session, room: RoomRow) -> list[Span]:
    """When the check of the instruments was overdue, beyond its days of grace.

    An instrument that came after a check was in none: with it the check is due anew.
    """
    assert room.id is not None
    zone, began = ZoneInfo(room.time_zone), from_us(room.created_at_us)
    entries = _book(session, room.id, DUTY, SAMPLE_CHECK)
    states = [(began, None), *steps(DUTY_BOOK, SAMPLE_CHECK, entries)]
    meters = instruments(session, room.id)
    found = []
    for number, (first, state) in enumerate(states):
        end = states[number + 1][0] if number + 1 < len(states) else None
        for at, until in _stretches(first, end, meters):
            duty = CATALOGUE[SAMPLE_CHECK] if state is None else in_force([state])[SAMPLE_CHECK]
            last = last_said(state, "")
            new = first_unchecked(meters.values(), last.at if last else None, at)
            subject = Subject("", "", began, renewed_at=new.added_at if new else None)
            since = max(at, _overdue_from(duty, subject, last, zone))
            if not duty.is_stopped and (until is None or since < until):
                found.append(Span("", since, until))
    return _joined(found)


def _stretches(
    first: datetime, end: datetime | None, meters: Instruments
) -> Iterator[tuple[datetime, datetime | None]]:
    """A stretch of time, cut where an instrument came, went or was calibrated."""
    told = [(one.added_at, one.retired_at, *(each.since_at for each in one.certificates))
            for one in meters.values()]  # fmt: skip
    cuts = {at for some in told for at in some if at is not None and at > first}
    starts = [first, *sorted(at for at in cuts if end is None or at < end)]
    return zip(starts, [*starts[1:], end], strict=True)


def _overdue_from(duty: Duty, subject: Subject, last: Any, zone: ZoneInfo) -> datetime:
    day = next_due(duty, subject, last, zone) + timedelta(days=duty.grace_days + 1)
    return datetime.combine(day, time(), zone)


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Spans that follow one another at once are one."""
    found: list[Span] = []
    for span in spans:
        if found and found[-1].until_at == span.since_at:
            found[-1] = Span("", found[-1].since_at, span.until_at)
        else:
            found.append(span)
    return found


def _book(session: Session, room_id: int, thing: str, key: str) -> Iterator[Entry]:
    """The entries in the book of a thing that count, in the order of truth."""
    return map(entry_of, rows_of(session, room_id, thing, key))
