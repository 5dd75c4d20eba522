"""Loads that differ from alike ones before: common practice, no source."""

import pytest

from app.domain.plausible import Known, unlikely
from tests.factories import wash


@pytest.mark.parametrize(
    "area_cm2, is_asked",
    [(300.0, False), (500.0, False), (4_000.0, False), (120.0, True), (12_000.0, True)],
)
def test_a_rack_or_a_full_load_is_usual_and_a_tenfold_slip_is_not(
    area_cm2: float, is_asked: bool
) -> None:
    known = Known(before={"area_cm2": [1200.0] * 40})
    found = unlikely(wash(0, area_cm2=area_cm2), known)
    assert [one.field for one in found] == (["area_cm2"] if is_asked else [])
