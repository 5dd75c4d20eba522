"""An instrument of the room in words: its figures, its days, what was learned of it."""

from dataclasses import dataclass
from datetime import datetime

from app.domain.baths.instrument_words import bias_sentence
from app.domain.calendar_words import day_words
from app.domain.meters.book import Certificate, InstrumentState
from app.services.baths.instruments import passports
from app.services.duties.calibrations import Standing
from app.web.deps import Visit

DIGITS = 4


@dataclass(frozen=True)
class InstrumentLine:
    """An instrument as a list shows it.

    Attributes:
        due: when it is due, in words; `state` tells how urgent that is.
        learned: what the readings show beside the certificate.
    """

    key: str
    name: str
    href: str
    what: str
    state: str
    tag: str
    due: str
    last: datetime | None
    offset: str
    learned: str


def line_of(visit: Visit, one: Standing) -> InstrumentLine:
    """An instrument as the list and its page show it."""
    state, tag = state_of(one)
    instrument = one.instrument
    return InstrumentLine(
        key=instrument.key,
        name=instrument.name,
        href=visit.address("instruments", instrument.key),
        what=instrument.what.name,
        state=state,
        tag=tag,
        due=due_words(one, visit),
        last=instrument.last_reading_at,
        offset=offset_words(instrument, instrument.certificate),
        learned=learned(visit, instrument),
    )


def state_of(one: Standing) -> tuple[str, str]:
    """How it stands, as a tag: a class and its words."""
    if one.instrument.retired_at is not None:
        return "measure", "Retired"
    if one.instrument.aside_since_at is not None:
        return "held", "Set aside"
    return ("over", "Overdue") if one.is_overdue else ("ok", "In use")


def due_words(one: Standing, visit: Visit) -> str:
    """When it is to be calibrated."""
    if one.instrument.retired_at is not None:
        return "Not any more"
    if one.due_on is None:
        return "No day given"
    return day_words(one.due_on, visit.today)


def offset_words(instrument: InstrumentState, certificate: Certificate | None) -> str:
    """What is taken off its readings, and how sure that is."""
    if certificate is None:
        return "Nothing known"
    unit = instrument.unit
    off = f"{abs(certificate.offset):.{DIGITS}g} {unit}"
    side = "high" if certificate.offset > 0 else "low"
    said = f"{off} too {side}" if certificate.offset else "No offset"
    if not certificate.uncertainty:
        return said
    return f"{said}, standard uncertainty {certificate.uncertainty:.{DIGITS}g} {unit}"


def learned(visit: Visit, instrument: InstrumentState) -> str:
    """What the readings of baths show that its certificate does not; of all of its method together,
    since the estimate follows these as one."""
    method = instrument.what.method
    found = [
        one
        for one in passports(visit.session, visit.room)
        if one.channel == method and one.tank in (None, instrument.of_tank or one.tank)
    ]
    if not method:
        return "Not tracked"
    if not found or not instrument.readings:
        return "Nothing yet"
    return bias_sentence(found[0].bias, found[0].off_since, visit.now, visit.zone)
