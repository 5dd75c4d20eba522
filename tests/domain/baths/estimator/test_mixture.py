"""The mixture's quantiles against the normal distribution of Python's own library."""

from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.estimator.mixture import summary

PARTS = st.lists(
    st.tuples(st.floats(0.01, 1), st.floats(-5, 30), st.floats(0.05, 5)), min_size=1, max_size=6
)


@given(PARTS)
def test_the_band_holds_ninety_percent(parts) -> None:
    total = sum(weight for weight, _, _ in parts)
    parts = [(weight / total, mean, sd) for weight, mean, sd in parts]

    def share_below(at: float) -> float:
        return sum(w * NormalDist(mean, sd).cdf(at) for w, mean, sd in parts)

    found = summary(*(list(column) for column in zip(*parts, strict=True)))
    for share, at in ((0.05, found.p05), (0.95, found.p95)):
        assert share_below(at - 1e-4) <= share <= share_below(at + 1e-4)
    assert found.mean == pytest.approx(sum(w * mean for w, mean, _ in parts))
