"""Litres of a drain from the drum's scale or a dip stick alone."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.domain.roomlog.kinds.waste import DrumChanged, Pour
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, state_of, swap_store, tank_row

TARE_KG = 9.5


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with a used bath and drums; of the first the empty weight and height are on file."""
    store = swap_store(tmp_path)
    known = DrumChanged(at=START, drum="d1", tare_kg=TARE_KG, inner_height_cm=80.0)
    record(store, ROOM, [known], NOW)
    yield store
    store.close()


def until_drain(store: Store, drum: str = "d1") -> Run:
    run = Run(store)
    run.until_bonded(drum)
    return run


def density(store: Store) -> float:
    """Of the bath, kg/L, by its estimate; 1/rho = w/rho_R + (1-w)/rho_S, volumes that add up
    (ideal mixture; the formula is that of docs/formulas.md)."""
    row = tank_row(store)
    w = row.mean_percent / 100
    return 1 / (w / row.resin_density_g_ml + (1 - w) / row.solvent_density_g_ml)


def test_one_weight_says_the_litres(store: Store) -> None:
    rho = density(store)
    assert 0.79 < rho < 0.95
    run = until_drain(store)
    run.tick("drain", mass_after_kg=TARE_KG + 30.0)
    assert run.state.answer("drain", "drained_l") == pytest.approx(30.0 / rho, abs=0.001)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(30.0 / rho, abs=0.001)


def test_what_is_in_the_drum_counts_before(store: Store) -> None:
    record(store, ROOM, [Pour(at=START, drum="d1", volume_l=10.0, resin_percent=0.0)], NOW)
    before_kg = TARE_KG + state_of(store, "drum", "d1").mass_kg
    run = until_drain(store)
    run.tick("drain", mass_after_kg=before_kg + 29.0)
    assert run.state.answer("drain", "drained_l") == pytest.approx(29.0 / density(store), abs=0.001)


def test_two_weights_need_no_empty_weight_and_are_kept_with_the_pour(store: Store) -> None:
    run = until_drain(store, "d2")
    assert "weight" in run.refused("drain", mass_after_kg=40.0)["mass_before_kg"]
    run.tick("drain", mass_before_kg=12.0, mass_after_kg=42.0)
    (poured,) = state_of(store, "drum", "d2").fillings
    assert (poured.is_weighed, poured.mass_kg) == (True, 30.0)
    assert poured.volume_l == pytest.approx(30.0 / density(store), abs=0.001)


def test_a_dip_alone_says_the_litres(store: Store) -> None:
    """An upright cylinder of 60 L, 80 cm high: 0.75 L a centimetre."""
    run = until_drain(store)
    run.tick("drain", dip_after_cm=49.0)
    assert run.state.answer("drain", "drained_l") == pytest.approx(36.75)


def test_figures_that_cannot_be_are_refused(store: Store) -> None:
    run = until_drain(store)
    assert "Weigh the drum, dip it, or enter" in run.refused("drain")["drained_l"]
    assert "this is less" in run.refused("drain", mass_after_kg=5.0)["mass_after_kg"]
    assert (
        "this is less" in run.refused("drain", dip_before_cm=9.0, dip_after_cm=3.0)["dip_after_cm"]
    )
    pounds = run.refused("drain", mass_after_kg=(TARE_KG + 30.0) / 0.45359237)
    assert "never held more" in pounds["drained_l"]
    assert run.state.tick("drain") is None
