"""A cure entered after its lamp or recipe was changed is reckoned by those it was done with.

Dose = irradiance x time, worked by hand.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Relamped, Station
from app.services.curing.doubts import cure_doubts
from app.services.curing.stations import with_figures
from app.services.door import bring_in
from app.services.rooms import find_room
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish
from tests.furnished import new_store

HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A worn lamp that gives 10 mW/cm2, and a recipe of 6000 mJ/cm2."""
    store = new_store(tmp_path)
    furnish(store, tanks=1)
    bring_in(store, ROOM, [
        Station(at=START, station="s1", name="Lamp", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0),
        Irradiance(at=NOW - 30 * HOUR, station="s1", centre_mw_cm2=10.0),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=6000.0),
    ], NOW)  # fmt: skip
    yield store
    store.close()


def figures(store: Store, cure: Cure) -> tuple[Cure, tuple[str, ...]]:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        return with_figures(session, room_id, cure), cure_doubts(session, room_id, cure)


def cured(hours: float) -> Cure:
    return Cure(at=NOW - hours * HOUR, station="s1", resin="slate", minutes=5.0)


def test_the_dose_is_of_the_lamp_that_was_in(store: Store) -> None:
    bring_in(store, ROOM, [
        Relamped(at=NOW - 2 * HOUR, station="s1", new_mw_cm2=20.0),
        Irradiance(at=NOW - 2 * HOUR, station="s1", centre_mw_cm2=20.0),
    ], NOW)  # fmt: skip
    full, doubts = figures(store, cured(4))
    assert full.dose_mj_cm2 == pytest.approx(10 * 300)
    assert any("the recipe asks for" in one for one in doubts)
    assert figures(store, cured(1))[0].dose_mj_cm2 == pytest.approx(20 * 300)


def test_the_dose_asked_for_is_of_the_recipe_that_was_in_force(store: Store) -> None:
    bring_in(store, ROOM, [
        CureRecipe(at=NOW - 2 * HOUR, resin="slate", dose_mj_cm2=2700.0, dry_minutes=90.0),
    ], NOW)  # fmt: skip
    full, doubts = figures(store, cured(4))
    assert full.dose_asked_mj_cm2 == 6000
    assert any("the recipe asks for" in one for one in doubts)
    assert figures(store, cured(1))[0].dose_asked_mj_cm2 == 2700


def test_a_cure_before_the_first_recipe_is_held_against_that(store: Store) -> None:
    first = CureRecipe(at=NOW - 2 * HOUR, resin="kiln", dose_mj_cm2=1000.0)
    bring_in(store, ROOM, [first], NOW)
    early = Cure(at=NOW - 4 * HOUR, station="s1", resin="kiln", minutes=5.0)
    assert figures(store, early)[0].dose_asked_mj_cm2 == 1000
