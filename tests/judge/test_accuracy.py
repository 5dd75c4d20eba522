"""The accuracy that the program must keep, on simulated rooms with fixed seeds.

The margins leave room for another platform's arithmetic, not for a worse estimate: the full tables
are in docs/accuracy.md. The simulator knows nothing of the program.
"""

from functools import cache
from statistics import NormalDist

import numpy as np
import pytest

from app.domain.baths.forecast import passing_days
from tests.judge.families import FAMILIES, WRONG_PRIORS, Family
from tests.judge.judge import DAY, Score, crps, estimate_table, forecast_table, judge, moments
from tests.judge.known_room import KnownRoom
from tests.judge.physics import SOLVENT_DENSITY_20C_G_ML, Bath
from tests.judge.simulator import simulate

BY_NAME = {family.name: family for family in (*FAMILIES, *WRONG_PRIORS)}
SEEDS = range(2)
DAYS = 120

# family: largest RMSE in mass %, least share inside the 90 % band
BARS = {
    "light single bath": (1.0, 0.75),
    "steady farm": (0.45, 0.80),
    "new resin half way": (0.65, 0.78),
    "filled resin": (0.50, 0.80),
    "filler afloat": (0.50, 0.80),
    "a week unlogged": (0.85, 0.70),
    "many slips": (0.60, 0.80),
    "drifting sensor": (0.80, 0.70),
    "long idle": (0.60, 0.80),
    "carry-in twice": (0.75, 0.75),
    "carry-in half": (0.70, 0.70),
    "hydrometer off by 1.5": (0.80, 0.70),
}


GUARDS = ("light single bath", "drifting sensor")
"""Families that are judged in every run; all of them, and what they say together, nightly."""


@cache
def score_of(name: str) -> Score:
    return judge(BY_NAME[name], SEEDS, DAYS)


@pytest.fixture
def scores() -> dict[str, Score]:
    return {name: score_of(name) for name in BARS}


@pytest.mark.parametrize(
    "name",
    [name if name in GUARDS else pytest.param(name, marks=pytest.mark.nightly) for name in BARS],
)
def test_estimates_lie_near_the_truth_and_say_how_near(name: str) -> None:
    estimates = score_of(name).estimates
    largest_rmse, least_coverage = BARS[name]
    assert estimates.rmse() < largest_rmse
    assert estimates.coverage() > least_coverage


@pytest.mark.nightly
def test_forecasts_hold_the_crossing_about_as_often_as_they_say(
    scores: dict[str, Score],
) -> None:
    outcomes = [one for score in scores.values() for one in score.outcomes]
    assert len(outcomes) > 150
    inside = np.mean([one.is_inside for one in outcomes])
    assert 0.70 < inside < 0.90


@pytest.mark.nightly
def test_forecasts_are_no_worse_than_the_closed_form(scores: dict[str, Score]) -> None:
    outcomes = [one for score in scores.values() for one in score.outcomes]
    ours = np.mean([one.crps_days for one in outcomes])
    assert ours < np.mean([one.rival_crps_days for one in outcomes])


@pytest.mark.parametrize(
    "name", [pytest.param("light single bath", marks=pytest.mark.nightly), "steady farm"]
)
def test_with_the_bath_well_known_the_forecast_alone_is_as_sure_as_it_says(name: str) -> None:
    ranks = []
    for seed in range(8 if BY_NAME[name].tanks == 1 else 2):
        room = simulate(BY_NAME[name], seed)
        for cycle in room.cycles:
            for at, _ in moments(room, cycle):
                known = KnownRoom(room, at)
                days = passing_days(known, cycle.tank, at, np.random.default_rng(seed))
                ranks.append((days <= (cycle.crossed_at - at) / DAY).mean())
    inside = np.mean([0.1 <= rank <= 0.9 for rank in ranks])
    assert len(ranks) > 30
    assert 0.68 < inside < 0.95


@pytest.mark.nightly
def test_tables_name_every_family(scores: dict[str, Score]) -> None:
    for table in (estimate_table(list(scores.values())), forecast_table(list(scores.values()))):
        assert all(f"| {name} |" in table for name in BARS)


# The judge itself


def test_the_score_of_a_normal_sample_is_the_known_one() -> None:
    # CRPS of a standard normal at 0: 2 pdf(0) - 1/sqrt(pi); Gneiting and Raftery (2007), eq. 21.
    normal = NormalDist()
    sample = np.array([normal.inv_cdf((place + 0.5) / 4000) for place in range(4000)])
    assert crps(sample, 0.0) == pytest.approx(2 * normal.pdf(0) - 1 / np.sqrt(np.pi), abs=1e-3)


def test_a_bath_keeps_its_masses() -> None:
    bath = Bath(20.0, SOLVENT_DENSITY_20C_G_ML[99.0], *2 * [np.array([1.1, 1.15])])
    assert bath.volume_l == pytest.approx(20.0)
    bath.wash(0, 100.0, 0.0)
    bath.wash(1, 50.0, 0.0)
    assert bath.saturation_percent == pytest.approx(100 * 150 / (150 + 20_000 * 0.7883))
    bath.take_out(5.0)
    assert bath.saturation_percent == pytest.approx(100 * 150 / (150 + 20_000 * 0.7883))
    bath.swap(0.02)
    assert bath.volume_l == pytest.approx(20.0)
    assert bath.resin_g.sum() == pytest.approx(150 * 0.4 / 20.13, rel=0.002)


def test_a_mixture_has_the_density_of_the_worked_example() -> None:
    # 10 mass % resin of 1.12 g/mL in 99 % 2-propanol at 20 C by ideal mixing: 0.81236 g/mL.
    bath = Bath(20.0, SOLVENT_DENSITY_20C_G_ML[99.0], *2 * [np.array([1.12])])
    bath.wash(0, 1.0, 0.0)
    assert bath.density_g_ml(10.0, 20.0) == pytest.approx(0.81236, abs=1e-5)


@pytest.mark.parametrize("family", [FAMILIES[0], FAMILIES[1]], ids=lambda family: family.name)
def test_a_seed_makes_one_room(family: Family) -> None:
    one, again = simulate(family, 5, 60), simulate(family, 5, 60)
    assert one.entries == again.entries
    assert one.cycles == again.cycles


def test_crossings_are_where_the_truth_first_passes_the_limit() -> None:
    room = simulate(BY_NAME["many slips"], 1)
    checked = 0
    for cycle in room.cycles:
        if cycle.crossed_at is None or (cycle.ended_at and cycle.crossed_at > cycle.ended_at):
            continue
        at = [cycle.started_at + share * (cycle.crossed_at - cycle.started_at)
              for share in (0.5, 0.9, 0.99, 1.0)]  # fmt: skip
        percent = room.saturation_percent(cycle.tank, at)
        assert percent[:3].max() < cycle.limit_percent
        assert percent[3] == pytest.approx(cycle.limit_percent, abs=1.5)
        assert percent[3] >= cycle.limit_percent - 1e-3
        checked += 1
    assert checked >= 3
