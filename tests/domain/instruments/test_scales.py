"""Instrument scales against published definitions and tables."""

import pytest
from chemicals.refractivity import ICUMSA_1974_brix, ICUMSA_1974_RIs

from app.domain.instruments import scales

ROWS = [row for row in zip(ICUMSA_1974_brix, ICUMSA_1974_RIs, strict=True) if row[0] <= 85]


@pytest.mark.parametrize("brix_percent, index", ROWS)
def test_brix_agrees_with_the_sugar_table(brix_percent: float, index: float) -> None:
    """ICUMSA 1974 as carried by chemicals; the table has five decimals."""
    assert scales.index_of_brix(brix_percent) == pytest.approx(index, abs=1e-5)
