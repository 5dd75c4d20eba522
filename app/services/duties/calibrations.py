"""The instruments of a room, and when each is to be calibrated by the site's own duty."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.duties.catalogue import CALIBRATION
from app.domain.meters.book import InstrumentState
from app.services.duties.due import duties
from app.services.meters.book import instruments
from app.store.tables import RoomRow


@dataclass(frozen=True)
class Standing:
    """An instrument, and when it is due.

    Attributes:
        due_on: None where nobody said when it was calibrated, or the site does not do it.
        is_overdue: that day is past, with the days of grace.
    """

    instrument: InstrumentState
    due_on: date | None
    is_overdue: bool


def standing(session: Session, room: RoomRow, now: datetime) -> list[Standing]:
    """The instruments of a room: those in use by their names, retired ones last."""
    known = instruments(session, room.id or 0).values()
    found = [standing_of(session, room, one, now) for one in known]
    return sorted(found, key=lambda one: (not one.instrument.is_here, _name(one)))


def standing_of(
    session: Session, room: RoomRow, instrument: InstrumentState, now: datetime
) -> Standing:
    """When an instrument is due; one that is retired never is."""
    duty, latest = duties(session, room.id or 0)[0][CALIBRATION], instrument.certificate
    if latest is None or duty.is_stopped or not instrument.is_here:
        return Standing(instrument, None, is_overdue=False)
    due_on = latest.next_on(duty.every_days)
    today = now.astimezone(ZoneInfo(room.time_zone)).date()
    is_over = due_on is not None and (today - due_on).days > duty.grace_days
    return Standing(instrument, due_on, is_over)


def _name(one: Standing) -> str:
    return one.instrument.name.casefold()
