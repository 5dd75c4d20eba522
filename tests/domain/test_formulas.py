"""The page of formulas names what the program holds, with the same figures."""

from pathlib import Path

import pytest

from app.domain.instruments import INSTRUMENTS, Instrument
from app.domain.solvents import SOLVENTS, Solvent

PAGE = Path(__file__).parents[2] / "docs" / "formulas.md"


def solvent_row(item: Solvent) -> str:
    """A solvent's line of the table."""
    flash = "none" if item.flash_point_c is None else f"{item.flash_point_c:g}"
    model = item.density
    source = item.sources["density"]
    figures = (
        f"{model.density_20c_g_ml:.5g}",
        f"{model.sd_g_ml:g}",
        f"{item.boiling_point_c:g}",
        flash,
        f"{item.index(100):.4g}",
        f"{source.document} ({source.confidence})",
    )
    return f"| `{item.key}` | {' | '.join(figures)} |"


def instrument_row(item: Instrument) -> str:
    """An instrument's line of the table."""
    fields = ", ".join(
        f"`{name}` {field.low:g} to {field.high:g} {field.unit}".strip()
        for name, field in item.fields.items()
    )
    return f"| `{item.key}` | {item.name} | {fields} | {item.filter_sd_percent:g} |"


@pytest.mark.parametrize("key", SOLVENTS)
def test_every_solvent_stands_on_the_page(key: str) -> None:
    assert solvent_row(SOLVENTS[key]) in PAGE.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("key", INSTRUMENTS)
def test_every_instrument_stands_on_the_page(key: str) -> None:
    assert instrument_row(INSTRUMENTS[key]) in PAGE.read_text(encoding="utf-8").splitlines()
