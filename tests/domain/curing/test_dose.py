"""Doses, today's time on a station, and the stations that are refused."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.curing.dose import (
    cure_today,
    dose_mj_cm2,
    is_in_band,
    longest_minutes,
    seconds_for,
)
from app.domain.curing.exposure import eye_limit, share_below_400
from app.domain.curing.lamp import lamp
from tests.domain.curing.rooms import NOW, metered, readings, recipe, station

AGED = [*readings(), metered(0, 8000)]


def today(*entries: Any, asked: Any = None, **more: Any) -> Any:
    state = station(*entries, **more)
    return cure_today(state, lamp(state, NOW), asked or recipe())


def test_dose_is_irradiance_times_time() -> None:
    # By definition (IEC 60050-845, radiant exposure): 20 mW/cm2 * 300 s = 6 J/cm2 = 60 kJ/m2.
    assert dose_mj_cm2(20, 300) == 6000
    assert dose_mj_cm2(10, 60) == 600


def test_an_aged_lamp_takes_the_time_of_its_projected_output() -> None:
    # 300 s on the new lamp of 20 mW/cm2; at 8000 h the line gives 0.8976 of it: 334.2 s.
    found = today(*AGED)
    assert found.can
    assert found.likely_seconds == pytest.approx(334.2, abs=0.1)
    assert found.factor == pytest.approx(1 / 0.8976, abs=1e-4)
    assert found.new_seconds == pytest.approx(found.seconds * 0.8976, rel=1e-4)


def test_a_time_is_never_surer_than_the_meter() -> None:
    """A hand meter is good to 5 to 10 % (its makers' data sheets, second hand)."""
    for found in (today(*AGED), today(*readings([(100, 0.9)]))):
        assert found.seconds >= found.likely_seconds * 1.1


def test_a_recipe_given_as_a_time_is_a_dose_at_its_reference() -> None:
    asked = recipe(dose_mj_cm2=None, reference_minutes=5.0, reference_mw_cm2=20.0)
    assert asked.dose_mj_cm2 == 6000
    assert today(*AGED, asked=asked).likely_seconds == pytest.approx(334.2, abs=0.1)


@given(st.floats(0.01, 1000), st.floats(1, 1e6))
def test_half_the_irradiance_takes_twice_as_long(irradiance: float, dose: float) -> None:
    assert seconds_for(dose, irradiance / 2) == pytest.approx(2 * seconds_for(dose, irradiance))


@given(st.floats(0.5, 1), st.floats(0.5, 1))
def test_a_weaker_lamp_never_takes_less_time(one: float, other: float) -> None:
    weak, strong = sorted((one, other))
    assert (
        today(*readings([(100, weak)])).seconds >= today(*readings([(100, strong)])).seconds - 1e-9
    )


@pytest.mark.parametrize("irradiance", [0, -1])
def test_no_light_gives_no_dose(irradiance: float) -> None:
    with pytest.raises(ValueError, match="without light"):
        seconds_for(6000, irradiance)
    with pytest.raises(ValueError, match="below zero"):
        dose_mj_cm2(-1, 10)


def test_a_station_never_measured_is_refused() -> None:
    found = today()
    assert not found.can
    assert "never been measured" in found.refusals[0]
    assert found.seconds is None


@pytest.mark.parametrize(
    "changes, word",
    [
        ({"wavelength_nm": 365.0}, "365 nm"),
        ({"least_mw_cm2": 19.0}, "19 or more"),
        ({"dose_mj_cm2": 60_000.0}, "longest exposure is 30 min"),
        ({"longest_minutes": 5.0}, "longest exposure is 5 min"),
        ({"temperature_c": 80.0}, "cooler"),
    ],
)
def test_a_station_that_cannot_deliver_is_refused_with_the_reason(
    changes: dict[str, Any], word: str
) -> None:
    found = today(*AGED, asked=recipe(**changes))
    assert not found.can
    assert any(word in reason for reason in found.refusals)


def test_the_shorter_of_two_caps_holds() -> None:
    assert longest_minutes(station(), recipe()) == 30
    assert longest_minutes(station(), recipe(longest_minutes=10.0)) == 10


def test_what_to_watch_is_said() -> None:
    old = today(*readings([(100, 0.9)])[:1])
    assert any("last reading alone" in text for text in old.remarks)
    uneven = readings([(100, 1.0)])[0]
    uneven = type(uneven)(
        at=uneven.at, station="house1", centre_mw_cm2=20, front_left_mw_cm2=10, hours_h=100
    )
    found = today(uneven, asked=recipe(turn_half_way=True))
    assert any("weakest place" in text for text in found.remarks)
    assert "Turn the part halfway." in found.remarks
    assert (found.weakest.place, found.weakest.mw_cm2) == ("front_left", 10)
    assert found.likely_seconds == 600  # 6000 mJ/cm2 at 10 mW/cm2, not 400 s at the mean of 15


def test_a_radiometer_of_another_band_does_not_fit() -> None:
    assert is_in_band(station(), 405)
    assert is_in_band(station(), None)
    assert not is_in_band(station(), 365)


def test_the_uv_a_limit_is_met_within_the_time_of_its_dose() -> None:
    # ICNIRP, Health Physics 87 (2004) 171: 10 kJ/m2 = 1000 mJ/cm2 of UV-A on the eye in 8 h.
    assert eye_limit(365, 20).seconds == 50
    # ACGIH as quoted: 1 mW/cm2 for exposures of 1000 s and longer, the same figure where they meet.
    assert eye_limit(365, 1).seconds == 1000
    assert eye_limit(365, 0.01).seconds is None
    # The same: 30 J/m2 effective = 3 mJ/cm2; at 270 nm, where the weight is 1.
    assert eye_limit(270, 1).seconds == 3


def test_what_a_source_at_405_nm_gives_below_400_counts_as_uv_a() -> None:
    """Of a bell curve 0.15866 lies below its middle less one standard deviation, which is its full
    width at half height over 2.3548 (Abramowitz and Stegun, table 26.1)."""
    assert share_below_400(405, 5 * 2.3548) == pytest.approx(0.15866, abs=1e-4)
    assert share_below_400(400, 12) == pytest.approx(0.5)
    found = eye_limit(405, 50, width_nm=5 * 2.3548)
    # ICNIRP, Health Physics 87 (2004) 171: 1000 mJ/cm2 of UV-A, at 50 * 0.15866 mW/cm2.
    assert found.seconds == pytest.approx(126.1, abs=0.2)
    assert "16 % of its light below 400 nm (by its width of 11.774 nm)" in found.text
    assert "ICNIRP, Health Physics 105 (2013) 74" in found.source
    assert eye_limit(405, 50, below_400_percent=4.0, width_nm=12).seconds == 500
    guessed = eye_limit(405, 50)
    assert guessed.seconds is not None
    assert "assuming an LED 20 nm wide" in guessed.text


def test_of_a_lamp_that_is_no_led_only_the_data_sheet_tells() -> None:
    found = eye_limit(405, 50, shape="mercury")
    assert found.seconds is None
    assert "Enter it from the data sheet" in found.text
    assert eye_limit(405, 50, shape="mercury", below_400_percent=50).seconds == 40


def test_above_400_nm_blue_light_is_assessed_too() -> None:
    found = eye_limit(460, 50)
    assert found.seconds is None
    assert found.text.startswith("Light above 400 nm is also assessed as blue light")
    assert "118 (2020) 549" in found.source
    assert math.isfinite(eye_limit(400, 50).seconds or math.inf)
    with pytest.raises(ValueError, match="above zero"):
        eye_limit(365, 0)
