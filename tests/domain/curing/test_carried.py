"""A reading of the centre alone says nothing of a dim corner: its share of the last full reading is
carried on, and nothing is made up where the centre was not measured or dark."""

from dataclasses import replace
from datetime import timedelta

from app.domain.curing.lamp import lamp
from app.domain.curing.stations import HoursAt, OutputReading
from app.domain.curing.trust import Course
from tests.domain.curing.rooms import NOW, station

DAY = timedelta(days=1)


def carried(*readings: dict[str, float]) -> dict[str, float]:
    """What is carried to the last of these readings, a day apart."""
    counting = tuple(
        OutputReading(NOW - (len(readings) - place) * DAY, 100.0 + place, positions)
        for place, positions in enumerate(readings)
    )
    course = (HoursAt(NOW - 20 * DAY, 0.0), HoursAt(NOW, 110.0))
    state = replace(station(), hours_h=110.0, course=course, readings=counting)
    return dict(lamp(state, NOW, Course(counting=counting, new_mw_cm2=20.0)).carried)


def test_a_corner_keeps_its_share_of_the_centre() -> None:
    full = {"centre": 20.0, "front_left": 10.0}
    assert carried(full, {"centre": 16.0}) == {"front_left": 8.0}
    assert carried(full, {"centre": 16.0, "front_left": 15.0}) == {}


def test_from_a_reading_without_a_centre_nothing_is_carried() -> None:
    assert carried({"front_left": 10.0}, {"centre": 16.0}) == {}
    assert carried({"centre": 0.0, "front_left": 10.0}, {"centre": 16.0}) == {}


def test_to_a_reading_without_a_centre_nothing_is_carried() -> None:
    full = {"centre": 20.0, "front_left": 10.0, "back_right": 9.0}
    assert carried(full, {"front_left": 8.0}) == {}


def test_without_any_reading_nothing_is_carried() -> None:
    assert carried() == {}
