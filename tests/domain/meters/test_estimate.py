"""What a certificate does to the estimate of a bath, by first principles."""

import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog.kinds import Calibration, Entry, Reading, Resin
from app.domain.roomlog.kinds.instruments import InstrumentAdded, InstrumentCalibrated
from tests.factories import NOW, START, tank, wash

METER = InstrumentAdded(at=START, id="m", instrument="m1", name="One", sort="hydrometer")


def filter_of(*entries: Entry) -> RoomFilter:
    state = RoomFilter()
    for entry in (
        Resin(at=START, resin="slate", name="Slate", density_g_ml=1.12), tank("t1"),
        wash(5, area_cm2=40_000.0), *entries,
    ):  # fmt: skip
        state.apply(entry)
    return state


def read(method: str = "hydrometer", days: float = 1, **more: Any) -> Reading:
    values = {
        "hydrometer": {"density_g_ml": 0.803, "temperature_c": 20.0},
        "refractometer": {"brix_percent": 30.0, "temperature_c": 20.0},
        "residue": {"sample_g": 10.0, "residue_g": 0.5},
        "sensor": {"saturation_percent": 5.0},
    }[method]
    at = NOW - timedelta(days=days)
    return replace(Reading(at=at, tank="t1", method=method, values=values), **more)


def belief(state: RoomFilter) -> tuple[float, float]:
    found = state.belief("t1", NOW)
    return found.mean_percent, found.sd_percent


def test_a_reading_without_an_instrument_is_as_it_always_was() -> None:
    assert belief(filter_of(read())) == belief(filter_of(METER, read()))


def test_an_instrument_without_figures_changes_nothing() -> None:
    assert belief(filter_of(read())) == belief(filter_of(METER, read(instrument="m1")))


def test_an_unknown_instrument_or_one_of_another_sort_changes_nothing() -> None:
    other = replace(METER, sort="sensor", offset=2.0)
    assert belief(filter_of(read(instrument="m9"))) == belief(filter_of(read()))
    assert belief(filter_of(other, read(instrument="m1"))) == belief(filter_of(read()))


@pytest.mark.parametrize(
    "method, sort, field, offset",
    [
        ("hydrometer", "hydrometer", "density_g_ml", 0.003),
        ("refractometer", "refractometer_brix", "brix_percent", 0.5),
        ("sensor", "sensor", "saturation_percent", 1.5),
    ],
)
def test_an_offset_is_taken_off_before_a_reading_counts(
    method: str, sort: str, field: str, offset: float
) -> None:
    named = read(method, instrument="m1")
    right = replace(named, values={**named.values, field: named.values[field] - offset})
    meter = replace(METER, sort=sort, offset=offset)
    plain = filter_of(replace(METER, sort=sort), right)
    assert belief(filter_of(meter, named)) == pytest.approx(belief(plain), rel=1e-12)
    assert belief(filter_of(meter, named)) != belief(filter_of(named))


@pytest.mark.parametrize(
    "method, sort, uncertainty",
    [
        ("hydrometer", "hydrometer", 0.002),
        ("refractometer", "refractometer_brix", 0.5),
        ("residue", "balance", 0.2),
        ("sensor", "sensor", 1.0),
    ],
)
def test_an_uncertain_certificate_leaves_the_bath_less_sure(
    method: str, sort: str, uncertainty: float
) -> None:
    sure, unsure = (
        belief(filter_of(replace(METER, sort=sort, uncertainty=u), read(method, instrument="m1")))
        for u in (None, uncertainty)
    )
    assert unsure[1] > sure[1]
    assert unsure[0] != sure[0]  # the log counts for more


def sd_by(uncertainty: float, count: int, method: str, sort: str) -> float:
    meter = replace(METER, sort=sort, uncertainty=uncertainty)
    return belief(
        filter_of(
            meter,
            *(read(method, days=4 - number / 50, instrument="m1") for number in range(count)),
        )
    )[1]


def test_noise_averages_out_and_a_bias_does_not() -> None:
    """Many readings shrink what a certificate adds to the noise, and cannot what it adds to the
    slow error that they share (JCGM 100:2008, 4.2.3 beside 5.2.2, correlated inputs)."""
    assert sd_by(0.2, 40, "residue", "balance") < 0.5 * sd_by(0.2, 2, "residue", "balance")
    many, few = sd_by(1.0, 40, "sensor", "sensor"), sd_by(1.0, 2, "sensor", "sensor")
    assert many > 0.8 * few


def test_the_bias_of_the_hydrometer_grows_once_for_a_certificate() -> None:
    """By the variance of the certificate in mass percent, and not again until it is another."""

    def bias_variance(*entries: Entry) -> float:
        found = filter_of(*entries).passports()[0].bias
        assert found is not None
        return found[1] ** 2

    meter = replace(METER, uncertainty=0.02)
    named = read(instrument="m1")
    first, plain = bias_variance(meter, named), bias_variance(METER, named)
    assert first > plain
    again = read(instrument="m1", days=0.9)
    assert bias_variance(meter, named, again) < first
    new = InstrumentCalibrated(
        at=NOW - timedelta(days=0.95), id="n", instrument="m1", calibrated_on=date(2026, 3, 1)
    )
    assert bias_variance(meter, named, new, again) > bias_variance(meter, named, again)


def test_a_fresh_reading_by_the_same_instrument_does_not_take_its_offset_off_twice() -> None:
    """What an instrument shows too much is gone from the difference to its own fresh solvent."""
    off = replace(METER, offset=0.003)
    fresh_values = {"density_g_ml": 0.789, "temperature_c": 20.0}
    fresh = replace(read(days=4), values=fresh_values, of_fresh=True)
    unnamed = filter_of(off, fresh, read(instrument="m1"))
    assert belief(unnamed) == belief(filter_of(fresh, read()))
    both = filter_of(off, replace(fresh, instrument="m1"), read(instrument="m1"))
    assert belief(both)[0] == pytest.approx(belief(unnamed)[0], abs=0.1)


def test_the_room_s_own_calibration_of_its_refractometer_takes_the_offset_s_place() -> None:
    points = Calibration(
        at=START, solvent="isopropanol", scale="brix_percent", points=((20.0, 0.0), (30.0, 20.0))
    )
    meter = replace(METER, sort="refractometer_brix", offset=1.0, uncertainty=0.5)
    named = read("refractometer", instrument="m1")
    effects = filter_of(points, meter, named)
    assert belief(effects) == belief(filter_of(points, named))


def test_the_state_goes_into_bytes_and_back() -> None:
    meter = replace(METER, offset=0.003, uncertainty=0.001, calibrated_on=date(2026, 2, 1))
    state = filter_of(meter, read(instrument="m1"))
    twin = RoomFilter.from_bytes(state.to_bytes())
    assert twin.to_bytes() == state.to_bytes()
    for one in (state, twin):
        one.apply(read(instrument="m1", days=0.5))
    assert twin.to_bytes() == state.to_bytes()


def test_what_is_shown_before_it_is_stored_has_the_offset_taken_off() -> None:
    state = filter_of(replace(METER, sort="sensor", offset=1.5))
    shown = state.as_certified(read("sensor", instrument="m1"))
    assert shown.values["saturation_percent"] == pytest.approx(3.5)
    assert not math.isclose(state.as_certified(read("sensor")).values["saturation_percent"], 3.5)


HEAT = InstrumentAdded(at=START, id="h", instrument="h1", name="Heat", sort="thermometer")


@pytest.mark.parametrize(
    "method, figure", [("hydrometer", {"density_g_ml": 0.803}), ("refractometer", {"index": 1.395})]
)
def test_what_a_thermometer_shows_too_much_is_taken_off_the_temperature(
    method: str, figure: dict[str, float]
) -> None:
    off = replace(HEAT, offset=1.5)
    shown = read(method, values={**figure, "temperature_c": 24.5})
    true = replace(shown, values={**figure, "temperature_c": 23.0}, thermometer="h1")
    assert belief(filter_of(off, replace(shown, thermometer="h1"))) == pytest.approx(
        belief(filter_of(HEAT, true)), rel=1e-12
    )
    assert belief(filter_of(off, shown)) == belief(filter_of(shown))  # named it counts, else not
    as_instrument = filter_of(off, replace(shown, instrument="h1"))
    assert belief(as_instrument) == belief(filter_of(shown))


def test_an_unsure_thermometer_widens_the_slow_error_of_densities_once() -> None:
    """By the density's own change with temperature, about 0.0008 g/mL a degree against a
    difference of resin and solvent of about 0.33 g/mL, i.e. 0.3 to 0.4 % of resin a degree
    (the hydrometer's help; hand calculation), in quadrature."""

    def bias_variance(*entries: Entry) -> float:
        found = filter_of(*entries).passports()[0].bias
        assert found is not None
        return found[1] ** 2

    named = read(thermometer="h1")
    fresh = (filter_of(), filter_of())
    assert belief(fresh[0]) == belief(fresh[1])
    sure, unsure = (bias_variance(replace(HEAT, uncertainty=u), named) for u in (None, 2.0))
    assert 0 < unsure - sure < (2.0 * 0.45) ** 2
    again = read(thermometer="h1", days=0.9)
    twice = [bias_variance(replace(HEAT, uncertainty=u), named, again) for u in (None, 2.0)]
    assert 0 < twice[1] - twice[0] < unsure - sure


def test_a_fill_whose_fresh_solvent_named_no_thermometer_keeps_the_temperature_as_read() -> None:
    """The same thermometer most likely read both: its offset is gone from the difference."""
    off = replace(HEAT, offset=1.5)
    fresh = replace(
        read(days=4), values={"density_g_ml": 0.789, "temperature_c": 20.0}, of_fresh=True
    )
    raw = filter_of(off, fresh, read(thermometer="h1"))
    assert belief(raw) == belief(filter_of(fresh, read()))
    both = filter_of(off, replace(fresh, thermometer="h1"), read(thermometer="h1"))
    assert belief(both)[0] == pytest.approx(belief(raw)[0], abs=0.1)
    only_density = replace(METER, offset=0.003)
    beside = filter_of(off, only_density, replace(fresh, instrument="m1"),
                       read(instrument="m1", thermometer="h1"))  # fmt: skip
    assert belief(beside) == belief(filter_of(only_density, replace(fresh, instrument="m1"),
                                              read(instrument="m1")))  # fmt: skip


def test_density_and_temperature_are_each_less_their_own_offset() -> None:
    state = filter_of(replace(METER, offset=0.003), replace(HEAT, offset=1.5))
    shown = state.as_certified(read(instrument="m1", thermometer="h1"))
    assert shown.values == pytest.approx({"density_g_ml": 0.800, "temperature_c": 18.5})
    twin = RoomFilter.from_bytes(state.to_bytes())
    for one in (state, twin):
        one.apply(read(instrument="m1", thermometer="h1"))
    assert twin.to_bytes() == state.to_bytes()
