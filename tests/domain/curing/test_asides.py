"""How long a light reading was set aside: what a recall of parts asks for afterwards."""

from datetime import timedelta

from app.domain.curing.book import MOST_ASIDES, STATION_BOOK
from app.domain.curing.stations import AsideSpan
from app.domain.roomlog.kinds.curing import Cure, Irradiance, ReadingAccepted, Relamped
from tests.domain.curing.rooms import COURSE, NOW, readings, station

STEADY = readings(COURSE)  # 18.4 mW/cm2 at the end
HOUR = timedelta(hours=1)
WILD = Irradiance(id="w", at=NOW - 9 * HOUR, station="house1", centre_mw_cm2=60.0)
WILDER = Irradiance(id="x", at=NOW - 7 * HOUR, station="house1", centre_mw_cm2=150.0)
ACCEPTED = ReadingAccepted(
    id="a", at=NOW - 5 * HOUR, station="house1", reading="w", lead="Heron", reason="New lamp"
)
CURED = Cure(id="c", at=NOW - 8 * HOUR, station="house1", resin="slate", minutes=10)
RELAMPED = Relamped(id="r", at=NOW - 4 * HOUR, station="house1")


def test_a_reading_that_counts_is_never_set_aside() -> None:
    assert station(*STEADY).asides == ()


def test_it_begins_with_the_reading_and_a_cure_changes_nothing() -> None:
    begun = (AsideSpan("w", WILD.at),)
    assert station(*STEADY, WILD).asides == begun
    assert station(*STEADY, WILD, CURED).asides == begun


def test_it_ends_when_a_lead_accepts_the_reading() -> None:
    found = station(*STEADY, WILD, ACCEPTED).asides
    assert found == (AsideSpan("w", WILD.at, ACCEPTED.at),)


def test_it_ends_with_the_lamp_and_stays_in_the_book_as_it_was() -> None:
    found = station(*STEADY, WILD, RELAMPED)
    assert found.asides == (AsideSpan("w", WILD.at, RELAMPED.at),)
    again = STATION_BOOK.apply(found, Relamped(id="s", at=NOW, station="house1"))
    assert again.asides == found.asides


def test_each_reading_has_a_span_of_its_own_and_begins_once() -> None:
    found = station(*STEADY, WILD, WILDER).asides
    assert found == (AsideSpan("w", WILD.at), AsideSpan("x", WILDER.at))
    ended = station(*STEADY, WILD, WILDER, RELAMPED).asides
    assert [one.until_at for one in ended] == [RELAMPED.at, RELAMPED.at]


def test_a_reading_without_an_entry_is_known_by_its_instant() -> None:
    state = station(*STEADY)
    nameless = Irradiance(id="", at=WILD.at, station="house1", centre_mw_cm2=60.0)
    assert STATION_BOOK.apply(state, nameless).asides == (AsideSpan(WILD.at.isoformat(), WILD.at),)


def test_the_latest_spans_are_kept() -> None:
    state = station(*STEADY)
    old = tuple(AsideSpan(f"o{n}", WILD.at, WILD.at) for n in range(MOST_ASIDES))
    found = STATION_BOOK.apply(state.__class__(**{**vars(state), "asides": old}), WILD).asides
    assert len(found) == MOST_ASIDES
    assert (found[0].reading, found[-1].reading) == ("o1", "w")
