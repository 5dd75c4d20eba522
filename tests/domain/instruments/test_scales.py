"""Instrument scales against published definitions and tables."""

import pytest

from app.domain.instruments import scales
from tests.oracles import Ask


def test_brix_agrees_with_the_sugar_table(ask: Ask) -> None:
    """ICUMSA 1974 as carried by chemicals; the table has five decimals."""
    rows = [row for row in ask("sugar_table", unit="degrees Brix, 1") if row[0] <= 85]
    assert len(rows) > 50
    for brix_percent, index in rows:
        assert scales.index_of_brix(brix_percent) == pytest.approx(index, abs=1e-5), brix_percent
