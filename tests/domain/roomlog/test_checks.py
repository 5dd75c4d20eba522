"""Whether an entry fits its room."""

from datetime import timedelta

import pytest

from app.domain.roomlog.checks import MOST_RESINS, RoomContext, misfits
from app.domain.roomlog.kinds import (
    Calibration,
    Entry,
    PlannedWash,
    Removal,
    Resin,
    Swap,
    TankChange,
    TopUp,
    Wash,
)
from tests.factories import NOW, START, tank, wash


def room() -> RoomContext:
    known = RoomContext()
    known.learn(tank("t1"))
    known.learn(Resin(at=START, resin="slate", name="Slate", density_g_ml=1.1))
    return known


@pytest.mark.parametrize(
    "entry",
    [
        wash(3),
        TopUp(at=NOW, tank="t1", volume_l=45.0),
        Swap(at=NOW, tank="t1", solvent="ethanol"),
        PlannedWash(at=NOW + timedelta(days=9), tank="t1", resin="slate", parts=1),
        Wash(at=NOW + timedelta(minutes=4), tank="t1", resin="slate", parts=1),
        Resin(at=START - timedelta(days=900), resin="x", name="X", density_g_ml=1.1),
    ],
)
def test_what_fits_is_taken(entry: Entry) -> None:
    assert misfits(entry, room(), NOW) == []


@pytest.mark.parametrize(
    "entry, field",
    [
        (wash(3, tank="t9"), "tank"),
        (wash(3, resin="amber"), "resin"),
        (wash(-0.1), "at"),
        (wash(15), "at"),
        (wash(3, entered_at=NOW + timedelta(hours=1)), "entered_at"),
        (TopUp(at=NOW, tank="t1", volume_l=46.1), "volume_l"),
        (Removal(at=NOW, tank="t1", volume_l=500.0), "volume_l"),
        (Swap(at=NOW, tank="t1", filled_l=47.0), "filled_l"),
        (Swap(at=NOW, tank="t1", solvent="nectar"), "solvent"),
        (tank("t2", solvent="nectar"), "solvent"),
        (
            Calibration(at=NOW, solvent="nectar", scale="index", points=((1.37, 0), (1.4, 9))),
            "solvent",
        ),
    ],
)
def test_what_does_not_fit_is_named(entry: Entry, field: str) -> None:
    assert field in {error.field for error in misfits(entry, room(), NOW)}


def test_without_a_clock_the_future_is_not_checked() -> None:
    assert misfits(wash(-50), room(), None) == []


def test_a_tank_is_as_large_as_it_ever_was() -> None:
    known = room()
    known.learn(TankChange(at=NOW, tank="t1", capacity_l=80.0))
    known.learn(TankChange(at=NOW, tank="t1", capacity_l=20.0))
    assert misfits(TopUp(at=NOW, tank="t1", volume_l=90.0), known, NOW) == []


def test_a_tank_is_in_use_from_its_first_line() -> None:
    known = room()
    known.learn(tank("t1", at=NOW))
    assert misfits(wash(3), known, NOW) == []


def test_a_room_has_so_many_resins() -> None:
    """What each entry stores grows with their square. The number: common practice, no source."""
    known = RoomContext()
    new = [
        Resin(at=START, resin=f"r{number}", name=f"R {number}", density_g_ml=1.1)
        for number in range(MOST_RESINS + 1)
    ]
    for one in new[:-1]:
        assert misfits(one, known, NOW) == []
        known.learn(one)
    (found,) = misfits(new[-1], known, NOW)
    assert found.field == "name"
    assert str(MOST_RESINS) in found.message
    assert misfits(new[0], known, NOW) == []
