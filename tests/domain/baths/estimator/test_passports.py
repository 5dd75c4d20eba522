"""What was learned of each instrument: its bias, its scatter, how often it slips."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from app.domain.baths.estimator import Passport, RoomFilter
from app.domain.baths.estimator.passports import Kept, Missed
from app.domain.baths.estimator.settings import Settings
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after

# Baths that are known and stay so: what is left to learn is the instrument alone.
STILL = Settings(
    evaporation_per_day=1e-15, given_saturation_sd_percent=1e-6, to_mark_noise=1e-9,
    hydrometer_bias_days=1e9, water_sd_percent=1e-9, water_walk_percent=1e-9, is_mixture=False,
    suspended_sd=1e-6,
)  # fmt: skip
# Solvent whose water is known: a bias that several tanks share cannot be water then.
DRY = Settings(water_sd_percent=0.1, water_walk_percent=1e-9)
TANKS = ("alder", "birch", "cedar")


def passport(room: RoomFilter, channel: str, tank: str | None = None) -> Passport:
    return next(p for p in room.passports() if (p.channel, p.tank) == (channel, tank))


def three_tanks(settings: Settings | None = None) -> Log:
    log = Log(settings, saturation_percent=5.0, limit_percent=40.0)
    for tank in TANKS[1:]:
        log.tank(0, tank=tank, name=tank.capitalize(), saturation_percent=5.0)
    return log


def read(log: Log, day: float, tank: str, percent: float) -> None:
    """A hydrometer that shows so much resin: the density of the mixture, volumes taken to add."""
    liquid = log.room.liquid(tank)
    solvent, resin = liquid.solvent_density_at(20.0), liquid.resin_density_at(20.0)
    share = percent / 100
    density = 1 / (share / resin + (1 - share) / solvent)
    values = {"density_g_ml": density, "temperature_c": 20.0}
    log.at_tank(kinds.Reading, day, tank=tank, method="hydrometer", values=values)


def read_all(
    log: Log, days: range, percent: float, scatter: Callable[[], float] = lambda: 0.0
) -> None:
    """Daily a residue test of each bath, of 5 %, and then the instrument that is asked about."""
    for day in days:
        for tank in TANKS:
            log.at_tank(
                kinds.Reading, day, tank=tank, method="residue",
                values={"sample_g": 10.0, "residue_g": 0.5},
            )  # fmt: skip
            read(log, day + 0.1, tank, percent + scatter())


def test_the_hydrometers_bias_is_the_posterior_of_a_linear_model() -> None:
    # Baths of 5 % each, shown = 5 + room's bias + tank's bias + noise: the posterior of the room's
    # bias by Bayesian linear regression (Bishop, Pattern Recognition and Machine Learning, 2006,
    # equations 3.50 and 3.51; from memory).
    log, s = three_tanks(STILL), STILL
    shown = {"alder": (7.1, 6.4, 6.9), "birch": (6.2, 7.4), "cedar": (7.0,)}
    rows, off = [], []
    for tank, figures in shown.items():
        for i, percent in enumerate(figures):
            read(log, 1 + i / 10 + TANKS.index(tank) / 100, tank, percent)
            row = np.zeros(4)
            row[0] = row[1 + TANKS.index(tank)] = 1.0
            rows.append(row)
            off.append(percent - 5.0)
    design, noise = np.array(rows), s.hydrometer_sd_percent
    prior = np.diag(
        [s.hydrometer_room_bias_sd_percent**-2, *[s.hydrometer_bias_sd_percent**-2] * 3]
    )
    covariance = np.linalg.inv(prior + design.T @ design / noise**2)
    mean = covariance @ design.T @ np.array(off) / noise**2
    found = passport(log.room, "hydrometer")
    assert found.bias == pytest.approx((mean[0], math.sqrt(covariance[0, 0])), abs=0.02)
    for tank, each, sd in found.in_tanks:
        way = np.zeros(4)
        way[0] = way[1 + TANKS.index(tank)] = 1.0
        assert (each, sd) == pytest.approx(
            (way @ mean, math.sqrt(way @ covariance @ way)), abs=0.02
        )


def test_a_bias_of_two_percent_is_found_and_dated() -> None:
    log, rng = three_tanks(DRY), np.random.default_rng(5)
    read_all(log, range(1, 13), 7.0, lambda: rng.normal(0, 0.8))
    found = passport(log.room, "hydrometer")
    assert found.bias is not None
    assert found.off_since is not None
    assert found.readings == 36
    for _, mean, sd in found.in_tanks:
        assert abs(mean - 2.0) < 2 * sd < 1.0
    assert after(1) <= found.off_since <= after(8)
    belief = log.room.belief("alder", after(13))
    assert belief.mean_percent == pytest.approx(5.0, abs=0.2)
    assert "instrument_off" in belief.flags
    assert belief.said is not None
    assert belief.said.name == "instrument_off"
    assert belief.said.tanks == TANKS


def test_one_tank_alone_does_not_blame_the_instrument() -> None:
    log = three_tanks()
    for day in range(1, 13):
        log.residue(day, 5.0)
        read(log, day + 0.1, "alder", 7.5)
    assert "instrument_off" not in log.flags(13)


def test_an_instrument_that_was_left_as_it_is_is_not_named_until_its_bias_moves() -> None:
    log = three_tanks(DRY)
    read_all(log, range(1, 13), 7.0)
    log.add(
        kinds.ExplanationDismissed, 13, tank="birch", explanation="instrument_off"
    )  # fmt: skip
    assert all("instrument_off" not in b.flags for b in log.room.beliefs(after(13)).values())
    for day in range(14, 40):
        for tank in TANKS:
            read(log, day + 0.1, tank, 9.0)
    assert any("instrument_off" in b.flags for b in log.room.beliefs(after(40)).values())


def test_a_residue_test_has_no_bias_and_its_slips_are_counted() -> None:
    log = three_tanks()
    for day in range(1, 9):
        log.residue(day, 5.0)
    log.residue(9, 25.0)
    found, s = passport(log.room, "residue"), log.room.settings
    assert found.bias is None
    assert found.readings == 9
    assert found.slips == pytest.approx(1.0, abs=0.1)
    expected = (s.slip_memory * s.slip_chance + found.slips) / (s.slip_memory + 9)
    assert found.slip_chance == pytest.approx(expected)


def test_each_sensor_has_its_own_passport() -> None:
    log = three_tanks()
    for day in range(1, 9):
        log.residue(day, 5.0)
        log.sensor(day + 0.1, 6.2)
    found = passport(log.room, "sensor", "alder")
    assert found.bias is not None
    assert found.bias[0] == pytest.approx(1.2, abs=0.35)
    assert all(one.tank != "birch" for one in log.room.passports())


def test_the_scatter_seen_is_that_of_the_readings() -> None:
    # An instrument of scatter 0.5 that the filter takes for one of 0.8, at baths that are known:
    # the sample deviation is within four standard errors, s / sqrt(2 (n - 1)), of the truth
    # (ISO 3534-1 terms; the error of a normal sample's deviation).
    log, rng, n = three_tanks(STILL), np.random.default_rng(11), 120
    for i in range(n):
        read(log, 1 + i / 10, TANKS[i % 3], 5.0 + rng.normal(0, 0.5))
    found = passport(log.room, "hydrometer")
    assert found.scatter_percent == 0.8
    assert found.scatter_seen_percent == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(2 * (n - 1)))


def test_few_readings_tell_no_scatter() -> None:
    kept = Kept()
    for day in range(7):
        kept.take(day, Missed(1.0, 0.2, 0.8), 0.0)
    assert kept.scatter_percent() is None
    assert kept.most_percent() is None
    kept.take(7, Missed(1.0, 0.2, 0.8), 0.0)
    assert kept.most_percent() == pytest.approx(1.0)
    assert kept.scatter_percent() == pytest.approx(math.sqrt(0.8))


def test_beside_a_wide_estimate_the_scatter_is_only_bounded() -> None:
    kept = Kept()
    for day in range(9):
        kept.take(day, Missed(1.0, 0.9, 0.3), 0.0)
    assert kept.scatter_percent() is None
    assert kept.most_percent() == pytest.approx(1.0)


def test_what_happened_to_the_bath_is_no_scatter() -> None:
    kept, quiet = Kept(), Kept()
    for day in range(9):
        kept.take(day, Missed(1.0, 0.2, 0.8), 0.0)
        quiet.take(day, Missed(1.0, 0.2, 0.8), 0.0)
    kept.take(9, Missed(6.0, 0.2, 0.8), 0.1)
    kept.take(10, Missed(3.0, 0.2, 0.8), 0.6)
    assert kept.scatter_percent() == quiet.scatter_percent()
    assert (kept.readings, kept.slips) == (11, pytest.approx(0.7))


def test_passports_are_kept_in_the_state() -> None:
    log = three_tanks()
    for day in range(1, 9):
        read(log, day, "alder", 6.0)
        log.sensor(day + 0.1, 5.2)
    again = RoomFilter.from_bytes(log.room.to_bytes())
    assert again.passports() == log.room.passports()


def test_an_instrument_that_is_off_does_not_make_two_baths_of_one() -> None:
    log = three_tanks(DRY)
    read_all(log, range(1, 13), 8.8)
    for belief in log.room.beliefs(after(13)).values():
        assert "not_one_bath" not in belief.flags
        assert "instrument_off" in belief.flags


def off_by_two(until: int = 13) -> Log:
    log = three_tanks(DRY)
    read_all(log, range(1, until), 7.0)
    return log


def test_an_instrument_that_was_called_off_stays_so_over_fills_not_read_yet() -> None:
    log = off_by_two()
    for tank in TANKS:
        log.at_tank(kinds.Swap, 13, tank=tank)
    assert all("instrument_off" in b.flags for b in log.room.beliefs(after(13.1)).values())
    twin = RoomFilter.from_bytes(log.room.to_bytes())
    assert "instrument_off" in twin.belief("alder", after(13.1)).flags


def test_an_instrument_that_shows_what_it_should_again_is_called_off_no_more() -> None:
    log = off_by_two()
    read_all(log, range(14, 60), 5.0)
    assert all("instrument_off" not in b.flags for b in log.room.beliefs(after(60)).values())
