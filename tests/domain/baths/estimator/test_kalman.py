"""The filter without its mixture, where the room is linear, against Kalman filters of others."""

from dataclasses import replace

import numpy as np
import pytest

from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import SURE, Log, after
from tests.oracles import Ask

# So large a bath that its saturation grows in proportion to the resin, with an exact sensor: what
# is then left of the equations is linear to about one part in 10 000.
CAPACITY_L = 20_000.0
AREA_CM2 = 500.0
WALK, NOISE, BIAS, SPREAD = 3e-5, 1e-4, 1e-4, 1e-3
SETTINGS = replace(
    SURE, is_mixture=False, carry_in_ln_sd=SPREAD, wash_ln_sd=0.1, drag_out_ml_cm2=0.0,
    sensor_sd_percent=NOISE, sensor_bias_sd_percent=BIAS, sensor_walk_percent=WALK,
)  # fmt: skip
SHOWN = (9e-5, 1.6e-4, 0.9e-4, 3.1e-4, 3.4e-4, 2.2e-4, 4.1e-4, 4.0e-4)


def the_room() -> np.ndarray:
    """Mean and sd of the saturation after a wash and a reading a day."""
    log = Log(SETTINGS, capacity_l=CAPACITY_L)
    found = []
    for day, percent in enumerate(SHOWN, 1):
        log.wash(day, AREA_CM2)
        belief = log.sensor(day, percent).belief
        found.append((belief.mean_percent, belief.sd_percent))
    return np.array(found)


def the_equations() -> dict[str, np.ndarray]:
    """The same room as matrices: resin in mass percent, ln carry-in off its mean, sensor bias."""
    solvent_g = 1000 * CAPACITY_L * 0.78830  # density of 99 % isopropanol at 20 C
    wash_percent = 100 * AREA_CM2 * np.sqrt(0.01 * 0.03) * np.exp(0.1**2 / 2) / solvent_g
    scatter = np.expm1(0.1**2) * wash_percent**2
    return {
        "transition": np.array([[1, wash_percent, 0], [0, 1, 0], [0, 0, 1.0]]),
        "offset": np.array([wash_percent, 0, 0]),
        "process": np.diag([scatter, 0, WALK**2]),
        "design": np.array([[1.0, 0, 1]]),
        "noise": np.array([[NOISE**2]]),
        "start": np.diag([0, SPREAD**2, BIAS**2]),
    }


@pytest.mark.parametrize("library", ["filtered", "filtered_in_state_space"])
def test_it_agrees_with_the_filters_of_pykalman_and_statsmodels(library: str, ask: Ask) -> None:
    eq = the_equations()
    names = ("transition", "offset", "process", "design", "noise", "start")
    expected = ask(library, [eq[name].tolist() for name in names], SHOWN, unit="mass percent")
    assert the_room() == pytest.approx(np.array(expected), rel=2e-3)


def test_a_second_tank_learns_from_the_first_as_one_joint_kalman_filter_would() -> None:
    log = Log(replace(SETTINGS, carry_in_ln_sd=0.01), capacity_l=CAPACITY_L)
    log.tank(0, tank="birch", capacity_l=CAPACITY_L)
    eq = the_equations()
    wash = eq["offset"][0]
    # State: resin in both tanks (mass %), ln carry-in, sensor biases of both tanks.
    mean = np.zeros(5)
    covariance = np.diag([0, 0, 0.01**2, BIAS**2, BIAS**2])
    for day, percent in enumerate(SHOWN, 1):
        move = np.eye(5)
        move[0, 2] = move[1, 2] = wash
        process = np.diag([eq["process"][0, 0]] * 2 + [0] + [WALK**2] * 2)
        mean = move @ mean + np.array([wash, wash, 0, 0, 0])
        covariance = move @ covariance @ move.T + process
        looks = np.array([[1.0, 0, 0, 1, 0]])
        gain = covariance @ looks.T / (looks @ covariance @ looks.T + NOISE**2)
        mean = mean + gain[:, 0] * (percent - looks @ mean)
        covariance = covariance - gain @ looks @ covariance
        log.wash(day, AREA_CM2)
        log.wash(day, AREA_CM2, tank="birch")
        log.sensor(day, percent)
    for tank, row in (("alder", 0), ("birch", 1)):
        belief = log.room.belief(tank, after(len(SHOWN)))
        assert belief.mean_percent == pytest.approx(mean[row], rel=2e-3)
        assert belief.sd_percent == pytest.approx(np.sqrt(covariance[row, row]), rel=5e-3)
    assert isinstance(log.entries[-1], kinds.Reading)
