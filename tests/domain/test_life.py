"""Life of parts, held against a survival library, its data sets, and a statistics library."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter, WeibullFitter
from lifelines.datasets import load_diabetes, load_leukemia, load_waltons
from scipy import stats

from app.domain.life import Lifetime, fit_weibull, kaplan_meier, median_days


def remission() -> list[Lifetime]:
    """Weeks in remission under 6-MP, 21 patients (Freireich et al. 1963), as lifelines ships it."""
    data: Any = load_leukemia()
    treated = data[data["Rx"] == 0]
    return [
        Lifetime(float(weeks), bool(relapsed))
        for weeks, relapsed in zip(treated["t"], treated["status"], strict=True)
    ]


def test_the_curve_is_that_of_freireich_1963() -> None:
    # Published in textbooks of survival analysis; median 23 weeks.
    known = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    steps = kaplan_meier(remission())
    assert {step.days: round(step.survival, 4) for step in steps} == known
    assert median_days(steps) == 23


def test_curve_and_interval_agree_with_lifelines() -> None:
    lives = remission()
    fitter: Any = KaplanMeierFitter()
    fitter.fit([life.days for life in lives], [life.is_worn for life in lives])
    interval = fitter.confidence_interval_survival_function_
    for step in kaplan_meier(lives):
        assert step.survival == pytest.approx(float(fitter.predict(step.days)), abs=1e-9)
        low, high = interval.loc[step.days]
        assert (step.low, step.high) == pytest.approx((low, high), abs=1e-6)


def test_the_curve_agrees_with_scipy() -> None:
    lives = remission()
    censored = stats.CensoredData.right_censored(
        np.array([life.days for life in lives]), np.array([not life.is_worn for life in lives])
    )
    found: Any = stats.ecdf(censored).sf
    for step in kaplan_meier(lives):
        place = list(found.quantiles).index(step.days)
        assert step.survival == pytest.approx(found.probabilities[place], abs=1e-9)


def test_the_weibull_of_freireich_1963_agrees_with_lifelines() -> None:
    lives = remission()
    fitter: Any = WeibullFitter()
    fitter.fit([life.days for life in lives], [life.is_worn for life in lives])
    fit = fit_weibull(lives)
    assert fit is not None
    assert fit.eta_days == pytest.approx(33.77, abs=0.01)
    assert fit.beta == pytest.approx(1.354, abs=0.001)
    assert fit.eta_days == pytest.approx(fitter.lambda_, rel=1e-4)
    assert fit.beta == pytest.approx(fitter.rho_, rel=1e-4)
    # lifelines' intervals are on the plain scale; the standard errors behind them are the same.
    error = float(fitter.summary.loc["lambda_", "se(coef)"])
    ours = np.log(fit.eta_high / fit.eta_days) / 1.959963984540054 * fit.eta_days
    assert ours == pytest.approx(error, rel=1e-3)


def test_the_fit_of_the_flies_is_the_published_one() -> None:
    # The data set and the figures with which the survival library's own guide begins.
    data: Any = load_waltons()
    lives = [Lifetime(float(t), bool(e)) for t, e in zip(data["T"], data["E"], strict=True)]
    fit = fit_weibull(lives)
    assert fit is not None
    assert (round(fit.eta_days, 2), round(fit.beta, 2)) == (55.73, 3.45)
    assert median_days(kaplan_meier(lives)) == 56
    fitter: Any = KaplanMeierFitter()
    fitter.fit(data["T"], data["E"])
    for step in kaplan_meier(lives):
        assert step.survival == pytest.approx(float(fitter.predict(step.days)), abs=1e-9)


def test_731_lives_known_only_between_two_looks_agree_with_lifelines() -> None:
    # Time to nephropathy of 731 people with diabetes, seen at visits (Borch-Johnsen et al. 1985).
    data: Any = load_diabetes()
    fitter: Any = WeibullFitter()
    fitter.fit_interval_censoring(data["left"], data["right"])
    lives = [
        Lifetime(float(high), True, None if low == high else float(low))
        if np.isfinite(high)
        else Lifetime(float(low), False)
        for low, high in zip(data["left"], data["right"], strict=True)
    ]
    fit = fit_weibull(lives)
    assert fit is not None
    assert (fit.eta_days, fit.beta) == pytest.approx((18.8565, 2.8235), rel=1e-4)
    assert (fit.eta_days, fit.beta) == pytest.approx((fitter.lambda_, fitter.rho_), rel=1e-4)


def test_lives_between_two_looks_agree_with_lifelines() -> None:
    looks = [(0, 200), (200, 400), (200, 400), (400, 600), (400, 600), (400, 600)]
    lives = [Lifetime(high, True, low) for low, high in looks] + [Lifetime(600, False)] * 4
    fitter: Any = WeibullFitter()
    fitter.fit_interval_censoring(
        [low for low, _ in looks] + [600] * 4, [high for _, high in looks] + [np.inf] * 4
    )
    fit = fit_weibull(lives)
    assert fit is not None
    assert (fit.eta_days, fit.beta) == pytest.approx((629.85, 2.0807), rel=1e-4)
    assert (fit.eta_days, fit.beta) == pytest.approx((fitter.lambda_, fitter.rho_), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(1, 2000), min_size=6, max_size=25), st.integers(0, 2**32 - 1))
def test_fits_agree_with_scipy_on_any_room(days: list[float], seed: int) -> None:
    is_worn = np.random.default_rng(seed).random(len(days)) < 0.7
    lives = [Lifetime(d, bool(w)) for d, w in zip(days, is_worn, strict=True)]
    fit = fit_weibull(lives)
    if fit is None or not 0.2 < fit.beta < 8:
        return
    eta, beta = fit.eta_days, fit.beta

    def likelihood(shape: float, scale: float) -> float:
        law: Any = stats.weibull_min(shape, scale=scale)
        return float(sum(law.logpdf(x.days) if x.is_worn else law.logsf(x.days) for x in lives))

    best = likelihood(beta, eta)
    for step in (0.97, 1.03):
        assert likelihood(beta * step, eta) <= best + 1e-9
        assert likelihood(beta, eta * step) <= best + 1e-9


def test_percentiles_and_chances_follow_from_the_published_fit() -> None:
    # Automotive data set of a reliability library: eta 134651, beta 1.1544, B10 19170.
    from app.domain.life import Weibull

    fit = Weibull(134651, 1.1544, 0, 0, 0, 0)
    assert fit.percentile_days(10) == pytest.approx(19170, rel=1e-3)
    assert fit.chance_within(10_000, 50_000) == pytest.approx(0.0719, abs=1e-4)
    assert fit.survival(fit.percentile_days(10)) == pytest.approx(0.9)
    assert fit.mean_days == pytest.approx(float(stats.weibull_min(1.1544, scale=134651).mean()))


def test_too_few_worn_out_give_no_weibull() -> None:
    assert fit_weibull([Lifetime(100, True)] * 4 + [Lifetime(50, False)] * 20) is None
    assert kaplan_meier([Lifetime(100, False)]) == []
    assert median_days([]) is None


def test_parts_that_all_wore_out_on_one_day_give_no_false_certainty() -> None:
    assert fit_weibull([Lifetime(100, True)] * 8) is None
