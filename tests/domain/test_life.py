"""Life of parts, held against a survival library, its data sets, and a statistics library."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.domain.life import Lifetime, fit_weibull, kaplan_meier, median_days
from tests.oracles import Ask


def parts(lives: list[Lifetime]) -> tuple[list[float], list[bool]]:
    return [life.days for life in lives], [life.is_worn for life in lives]


@pytest.fixture
def remission(ask: Ask) -> list[Lifetime]:
    """Weeks in remission under 6-MP, 21 patients (Freireich et al. 1963), as lifelines ships it."""
    return [Lifetime(weeks, bool(over)) for weeks, over in ask("remission_weeks", unit="week")]


def test_the_curve_is_that_of_freireich_1963(remission: list[Lifetime]) -> None:
    # Published in textbooks of survival analysis; median 23 weeks.
    known = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    steps = kaplan_meier(remission)
    assert {step.days: round(step.survival, 4) for step in steps} == known
    assert median_days(steps) == 23


def test_curve_and_interval_agree_with_lifelines(remission: list[Lifetime], ask: Ask) -> None:
    steps = kaplan_meier(remission)
    found = ask("survival_with_interval", *parts(remission), [step.days for step in steps])
    for step, (share, low, high) in zip(steps, found, strict=True):
        assert step.survival == pytest.approx(share, abs=1e-9)
        assert (step.low, step.high) == pytest.approx((low, high), abs=1e-6)


def test_the_curve_agrees_with_scipy(remission: list[Lifetime], ask: Ask) -> None:
    steps = kaplan_meier(remission)
    found = ask("survival_at", *parts(remission), [step.days for step in steps])
    assert [step.survival for step in steps] == pytest.approx(found, abs=1e-9)


def test_the_weibull_of_freireich_1963_agrees_with_lifelines(
    remission: list[Lifetime], ask: Ask
) -> None:
    fit = fit_weibull(remission)
    assert fit is not None
    assert fit.eta_days == pytest.approx(33.77, abs=0.01)
    assert fit.beta == pytest.approx(1.354, abs=0.001)
    eta, beta, error = ask("weibull_of", *parts(remission), unit="week, 1, week")
    assert fit.eta_days == pytest.approx(eta, rel=1e-4)
    assert fit.beta == pytest.approx(beta, rel=1e-4)
    # lifelines' intervals are on the plain scale; the standard errors behind them are the same.
    ours = np.log(fit.eta_high / fit.eta_days) / 1.959963984540054 * fit.eta_days
    assert ours == pytest.approx(error, rel=1e-3)


def test_the_fit_of_the_flies_is_the_published_one(ask: Ask) -> None:
    # The data set and the figures with which the survival library's own guide begins.
    lives = [Lifetime(days, bool(over)) for days, over in ask("fly_lives", unit="d")]
    fit = fit_weibull(lives)
    assert fit is not None
    assert (round(fit.eta_days, 2), round(fit.beta, 2)) == (55.73, 3.45)
    steps = kaplan_meier(lives)
    assert median_days(steps) == 56
    found = ask("survival_with_interval", *parts(lives), [step.days for step in steps])
    assert [step.survival for step in steps] == pytest.approx([row[0] for row in found], abs=1e-9)


def test_731_lives_known_only_between_two_looks_agree_with_lifelines(ask: Ask) -> None:
    # Time to nephropathy of 731 people with diabetes, seen at visits (Borch-Johnsen et al. 1985).
    data = ask("nephropathy_years", unit="year")
    assert len(data) == 731
    low, high = zip(*data, strict=True)
    lives = [
        Lifetime(a, False) if b is None else Lifetime(b, True, None if a == b else a)
        for a, b in data
    ]
    fit = fit_weibull(lives)
    assert fit is not None
    assert (fit.eta_days, fit.beta) == pytest.approx((18.8565, 2.8235), rel=1e-4)
    found = ask("weibull_between", low, high, unit="year, 1")
    assert (fit.eta_days, fit.beta) == pytest.approx(tuple(found), rel=1e-4)


def test_lives_between_two_looks_agree_with_lifelines(ask: Ask) -> None:
    looks = [(0, 200), (200, 400), (200, 400), (400, 600), (400, 600), (400, 600)]
    lives = [Lifetime(high, True, low) for low, high in looks] + [Lifetime(600, False)] * 4
    low, high = zip(*looks, *[(600, None)] * 4, strict=True)
    fit = fit_weibull(lives)
    assert fit is not None
    assert (fit.eta_days, fit.beta) == pytest.approx((629.85, 2.0807), rel=1e-4)
    found = ask("weibull_between", low, high, unit="d, 1")
    assert (fit.eta_days, fit.beta) == pytest.approx(tuple(found), rel=1e-3)


Law = Callable[[float, float], tuple[Callable[[float], float], Callable[[float], float]]]


def by_textbook(shape: float, scale: float) -> Any:
    """Logarithms of density and survival of the Weibull law, as every textbook has them."""
    return (
        lambda t: (
            math.log(shape / scale) + (shape - 1) * math.log(t / scale) - (t / scale) ** shape
        ),
        lambda t: -((t / scale) ** shape),
    )


def by_scipy(shape: float, scale: float) -> Any:
    from scipy import stats

    law: Any = stats.weibull_min(shape, scale=scale)
    return law.logpdf, law.logsf


@pytest.mark.parametrize("law", [by_textbook, pytest.param(by_scipy, marks=pytest.mark.oracle)])
@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(1, 2000), min_size=6, max_size=25), st.integers(0, 2**32 - 1))
def test_no_other_fit_is_likelier_in_any_room(law: Law, days: list[float], seed: int) -> None:
    is_worn = np.random.default_rng(seed).random(len(days)) < 0.7
    lives = [Lifetime(d, bool(w)) for d, w in zip(days, is_worn, strict=True)]
    fit = fit_weibull(lives)
    if fit is None or not 0.2 < fit.beta < 8:
        return
    eta, beta = fit.eta_days, fit.beta

    def likelihood(shape: float, scale: float) -> float:
        density, survival = law(shape, scale)
        return float(sum(density(x.days) if x.is_worn else survival(x.days) for x in lives))

    best = likelihood(beta, eta)
    for step in (0.97, 1.03):
        assert likelihood(beta * step, eta) <= best + 1e-9
        assert likelihood(beta, eta * step) <= best + 1e-9


def test_percentiles_and_chances_follow_from_the_published_fit(ask: Ask) -> None:
    # Automotive data set of a reliability library: eta 134651, beta 1.1544, B10 19170.
    from app.domain.life import Weibull

    fit = Weibull(134651, 1.1544, 0, 0, 0, 0)
    assert fit.percentile_days(10) == pytest.approx(19170, rel=1e-3)
    assert fit.chance_within(10_000, 50_000) == pytest.approx(0.0719, abs=1e-4)
    assert fit.survival(fit.percentile_days(10)) == pytest.approx(0.9)
    mean = ask("scipy.stats.weibull_min.mean", 1.1544, 0, 134651, unit="d")
    assert fit.mean_days == pytest.approx(mean)


def test_too_few_worn_out_give_no_weibull() -> None:
    assert fit_weibull([Lifetime(100, True)] * 4 + [Lifetime(50, False)] * 20) is None
    assert kaplan_meier([Lifetime(100, False)]) == []
    assert median_days([]) is None


def test_parts_that_all_wore_out_on_one_day_give_no_false_certainty() -> None:
    assert fit_weibull([Lifetime(100, True)] * 8) is None
