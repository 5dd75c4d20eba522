"""A station's light readings by the certificates of the meters that took them."""

from dataclasses import replace
from datetime import timedelta

import pytest

from app.domain.curing.certified import by_certificate, certified
from app.domain.curing.stations import OutputReading
from app.domain.meters.book import Certificate, InstrumentState
from tests.domain.curing.rooms import NOW, readings, station

DAY = timedelta(days=1)
OLD = Certificate(NOW - 400 * DAY, offset=25.0, uncertainty=2.0)
NEW = Certificate(NOW - 10 * DAY, offset=-20.0, uncertainty=5.0)
METER = InstrumentState("m", name="Meter", sort="uv_meter", certificates=(OLD, NEW))
PLACES = {"centre": 20.0, "front_left": 15.0}


def taken(days_ago: float = 1, instrument: str = "m") -> OutputReading:
    return OutputReading(NOW - days_ago * DAY, 100.0, PLACES, instrument=instrument)


def test_the_share_that_it_shows_too_much_is_taken_off_every_place() -> None:
    """What shows 25 % too much and 20.0 stands before 16.0: 20 / 1.25."""
    found = by_certificate(taken(days_ago=100), {"m": METER})
    assert dict(found.positions) == pytest.approx({"centre": 16.0, "front_left": 12.0})
    assert found.certificate == pytest.approx(0.02)


def test_the_certificate_of_its_time_counts() -> None:
    found = by_certificate(taken(days_ago=1), {"m": METER})
    assert found.positions["centre"] == pytest.approx(25.0)
    assert found.certificate == pytest.approx(0.05)
    assert (found.at, found.hours_h, found.instrument) == (NOW - DAY, 100.0, "m")


@pytest.mark.parametrize(
    "meters",
    [
        {},
        {"other": METER},
        {"m": replace(METER, name="")},
        {"m": replace(METER, sort="balance")},
        {"m": replace(METER, certificates=())},
        {"m": replace(METER, certificates=(replace(OLD, since_at=NOW),))},
    ],
    ids=["none", "another", "withdrawn", "not of light", "never calibrated", "calibrated later"],
)
def test_a_reading_without_a_certificate_stays_as_it_is(meters: dict[str, InstrumentState]) -> None:
    reading = taken(days_ago=1)
    assert by_certificate(reading, meters) is reading


def test_a_reading_that_names_no_meter_stays_as_it_is() -> None:
    reading = taken(instrument="")
    assert by_certificate(reading, {"m": METER}) is reading


def test_the_first_reading_of_the_lamp_is_corrected_with_the_others() -> None:
    one, two = readings(((10, 1.0), (1000, 0.9)))
    lamp = station(replace(one, instrument="m"), replace(two, instrument="m"), new_mw_cm2=None)
    found = certified(lamp, {"m": METER})
    assert [r.positions["centre"] for r in lamp.readings] == pytest.approx([20.0, 18.0])
    assert [r.positions["centre"] for r in found.readings] == pytest.approx([16.0, 22.5])
    assert (lamp.first_mw_cm2, found.first_mw_cm2) == pytest.approx((20.0, 16.0))
    assert found.hours_h == lamp.hours_h


def test_once_the_oldest_readings_are_gone_the_first_output_stays_as_it_was_kept() -> None:
    one, two = readings(((10, 1.0), (1000, 0.9)))
    lamp = station(replace(one, instrument="m"), replace(two, instrument="m"), new_mw_cm2=None)
    assert certified(replace(lamp, is_cut=True), {"m": METER}).first_mw_cm2 == 20.0


def test_a_station_whose_readings_have_no_certificate_is_the_same_one() -> None:
    lamp = station(*readings())
    assert certified(lamp, {"m": METER}) is lamp
