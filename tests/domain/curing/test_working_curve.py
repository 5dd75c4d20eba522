"""Jacobs' working curve, held against a textbook's example and another fit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.curing.working_curve import WorkingCurve, fit_curve


def test_the_depth_is_that_of_a_worked_example() -> None:
    # A public formula page's example: D_p 0.175 mm, E_c 8, E 30 mJ/cm2 give 0.231 mm.
    curve = WorkingCurve(0.175, 8)
    assert curve.depth_mm(30) == pytest.approx(0.231, abs=5e-4)
    assert curve.depth_mm(60) - curve.depth_mm(30) == pytest.approx(0.175 * np.log(2))
    assert curve.exposure_mj_cm2(0.25) == pytest.approx(33.38, abs=0.005)


def test_the_cure_depth_of_a_second_pass_is_that_of_the_textbook() -> None:
    # Gibson, Rosen, Stucker, Additive Manufacturing Technologies, 2nd ed., eq. 4.29: D_p 5.8 mil,
    # 1.1123 times the exposure: a single vector cures 2.383 mil where the pass is to cure 3.
    mil = 0.0254
    curve = WorkingCurve(5.8 * mil, 8)
    single = curve.exposure_mj_cm2(2.383 * mil)
    assert curve.depth_mm(1.1123 * single) == pytest.approx(3 * mil, abs=0.002 * mil)


def test_the_fit_finds_the_curve_again() -> None:
    curve = WorkingCurve(0.175, 8)
    points = [(float(e), curve.depth_mm(e)) for e in (10, 20, 40, 80)]
    found = fit_curve(points)
    assert found.penetration_mm == pytest.approx(0.175)
    assert found.critical_mj_cm2 == pytest.approx(8)


def test_the_fit_is_that_of_numpy() -> None:
    points = [(12.0, 0.08), (20.0, 0.15), (41.0, 0.30), (80.0, 0.39), (81.0, 0.41)]
    slope, level = np.polyfit(np.log([e for e, _ in points]), [d for _, d in points], 1)
    found = fit_curve(points)
    assert found.penetration_mm == pytest.approx(slope)
    assert found.critical_mj_cm2 == pytest.approx(np.exp(-level / slope))


@given(st.floats(0.02, 1), st.floats(0.5, 50), st.floats(1, 3))
def test_more_exposure_never_cures_less(penetration: float, critical: float, more: float) -> None:
    curve = WorkingCurve(penetration, critical)
    assert curve.depth_mm(more * critical) >= curve.depth_mm(critical) == 0
    assert curve.depth_mm(curve.exposure_mj_cm2(0.2)) == pytest.approx(0.2, rel=1e-6)


@pytest.mark.parametrize(
    "points, word",
    [
        ([(10.0, 0.1)], "two different"),
        ([(10.0, 0.1), (10.0, 0.2)], "two different"),
        ([(10.0, 0.2), (20.0, 0.1)], "must increase"),
        ([(10.0, 0.2), (20.0, 0.2)], "must increase"),
        ([(0.0, 0.1), (20.0, 0.2)], "greater than zero"),
        ([(10.0, -0.1), (20.0, 0.2)], "greater than zero"),
        ([(10.0, 0.2), (20.0, 0.2000001)], "hardly increase"),
    ],
)
def test_points_that_make_no_curve_are_refused(
    points: list[tuple[float, float]], word: str
) -> None:
    with pytest.raises(ValueError, match=word):
        fit_curve(points)
