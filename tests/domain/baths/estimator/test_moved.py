"""A clean bath's liquid moved into the dirty tank: what comes out of one is in the other.

Source of the practice (the clean bath becomes the dirty one, fresh solvent goes last): common
practice, no source. The arithmetic is that of a mass balance.
"""

from datetime import timedelta

import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.errors import FieldErrors
from app.domain.roomlog import kinds
from app.domain.roomlog.lines import parse_entry
from tests.domain.baths.estimator.logs import SURE, Log, after


def pair(clean_washes: int, **clean: object) -> Log:
    """A dirty bath of 42 L and a clean one, both washed in."""
    log = Log(SURE, pair="birch")
    log.tank(0, tank="birch", name="Birch", **clean)
    log.washes(0, 5)
    for i in range(clean_washes):
        log.wash(0.1 + i / 10, tank="birch")
    return log


def test_resin_and_volume_move_from_the_clean_bath_to_the_dirty_tank() -> None:
    log = pair(20)
    dirty, clean = log.room.belief("alder", after(5)), log.room.belief("birch", after(5))
    log.at_tank(kinds.Swap, 5, drained_l=40.0, filled_l=38.0, from_tank="birch")
    log.at_tank(kinds.Swap, 5, tank="birch", drained_l=38.0, filled_l=38.0)
    now = after(5)
    new_dirty, new_clean = log.room.belief("alder", now), log.room.belief("birch", now)
    heel = 1 - 40.0 / dirty.volume_l
    moved = 38.0 / clean.volume_l
    resin_g = heel * dirty.resin_g + moved * clean.resin_g
    assert new_dirty.resin_g == pytest.approx(resin_g, rel=1e-3)
    volume_l = heel * dirty.volume_l + 38.0
    assert new_dirty.volume_l == pytest.approx(volume_l, abs=0.1)
    assert new_clean.resin_g == pytest.approx((1 - moved) * clean.resin_g, rel=1e-3)


@pytest.mark.parametrize("drained_l", [0.4, 38.4, None])
def test_moved_litres_do_not_stand_in_both_tanks(drained_l: float | None) -> None:
    # 42 L less 38 moved and 0.4 drained leaves 3.6; who says 38.4 means the same 38.4 altogether.
    log = pair(20)
    log.at_tank(kinds.Swap, 5, drained_l=40.0, filled_l=38.0, from_tank="birch")
    log.at_tank(kinds.Swap, 5, tank="birch", drained_l=drained_l, filled_l=37.0)
    left_l = 0.02 * 42 if drained_l is None else 42 - 38.4
    held_l = log.room.belief("birch", after(5)).volume_l
    assert held_l == pytest.approx(left_l + 37.0, abs=0.5)


def test_no_swap_fills_a_tank_over_its_rim() -> None:
    log = Log(SURE)
    log.at_tank(kinds.Swap, 5, drained_l=2.0, filled_l=41.0)
    assert log.room.belief("alder", after(5)).volume_l < 1.2 * 42


def test_a_moved_bath_is_as_unsure_as_the_bath_it_came_from() -> None:
    log = Log()
    log.tank(0, tank="birch", name="Birch")
    log.washes(0, 10, tank="birch")
    clean = log.room.belief("birch", after(10))
    log.at_tank(kinds.Swap, 10, drained_l=42.0, filled_l=41.0, from_tank="birch")
    moved = log.room.belief("alder", after(10))
    assert moved.mean_percent == pytest.approx(clean.mean_percent, rel=0.05)
    wide, narrow = clean.p95_percent - clean.p05_percent, moved.p95_percent - moved.p05_percent
    assert 0.7 * wide < narrow < 1.5 * wide


def test_the_solvent_goes_with_the_liquid() -> None:
    log = pair(2, solvent="ethanol", fresh_purity_percent=96.0)
    log.at_tank(kinds.Swap, 5, from_tank="birch")
    assert log.room.tanks["alder"].solvent == "ethanol"
    assert log.room.tanks["alder"].fresh_purity_percent == 96.0


def test_a_log_with_moved_baths_gives_the_same_when_replayed() -> None:
    log = pair(10)
    log.at_tank(kinds.Swap, 5, from_tank="birch", filled_l=38.0)
    log.at_tank(kinds.Swap, 5, tank="birch", drained_l=38.0, filled_l=38.0)
    log.washes(6, 8)
    again = RoomFilter(SURE)
    for entry in log.entries:
        again.apply(entry)
    at = after(9)
    for tank in ("alder", "birch"):
        assert again.belief(tank, at) == log.room.belief(tank, at)


def test_a_bath_is_not_filled_from_itself() -> None:
    at = (after(0) + timedelta(days=1)).isoformat()
    with pytest.raises(FieldErrors) as caught:
        parse_entry({"kind": "swap", "at": at, "tank": "alder", "from_tank": "alder"})
    assert list(caught.value.by_field()) == ["from_tank"]
