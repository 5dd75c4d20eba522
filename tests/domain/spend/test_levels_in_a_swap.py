"""What stands in a bath while its swap is under way, worked by hand."""

from datetime import UTC, datetime, timedelta

import pytest

from app.domain.roomlog.kinds import Entry, Removal, Swap, Tank
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.waste import Pour
from app.domain.spend.mass_balance import levels_at

START = datetime(2026, 1, 5, 8, tzinfo=UTC)
TANK = Tank(at=START, tank="t1", name="t1", solvent="isopropanol", capacity_l=12)


def at(hour: float) -> datetime:
    return START + timedelta(hours=hour)


def poured(hour: float, litres: float, swap: str | None = "s1") -> Pour:
    return Pour(at=at(hour), drum="d1", tank="t1", swap=swap, volume_l=litres)


def level(*entries: Entry) -> float:
    [found] = levels_at([TANK, *entries], [at(10)], lambda *_: 0.0)
    return found["t1"]


def test_what_a_swap_under_way_has_poured_into_a_drum_stands_in_the_tank_no_more() -> None:
    # 12 L less 11.4 L; two pours of one swap, 7 L and 4.4 L, leave the same.
    assert level(poured(1, 11.4)) == pytest.approx(0.6)
    assert level(poured(1, 7), poured(2, 4.4)) == pytest.approx(0.6)


def test_the_entry_of_the_swap_says_what_is_there_wherever_its_pours_stand() -> None:
    # 12 L less 11 L drained, 11.5 L filled: 12.5 L. The pours are these 11 L, not more.
    swap = Swap(at=at(3), tank="t1", swap="s1", drained_l=11, filled_l=11.5)
    assert level(poured(1, 11), swap) == pytest.approx(12.5)
    assert level(swap, poured(4, 11)) == pytest.approx(12.5)


def test_a_pour_of_no_swap_leaves_the_level_to_the_entry_that_drained_the_bath() -> None:
    assert level(poured(1, 5, swap=None)) == pytest.approx(12)


def test_a_removal_of_a_swap_that_was_given_up_says_what_is_left() -> None:
    # 12 L, 11.4 L poured, 0.3 L seen: what was poured is no more held against the tank.
    gone = Removal(at=at(3), tank="t1", swap="s1", volume_l=11.4, left_l=0.3)
    assert level(poured(1, 11.4), gone) == pytest.approx(0.3)


def test_a_bath_that_is_as_before_is_whole_again() -> None:
    word = TankContents(at=at(3), tank="t1", swap="s1", found="as_before")
    assert level(poured(1, 11.4), word) == pytest.approx(12)
    asked = TankContents(at=at(3), tank="t1", swap="s1", found="asked")
    assert level(poured(1, 11.4), asked) == pytest.approx(0.6)


def test_the_heel_that_the_entry_of_the_swap_says_is_what_stays() -> None:
    # 12 L less 11 L would be 1 L; 0.2 L were seen: with 11 L filled, 11.2 L.
    swap = Swap(at=at(3), tank="t1", swap="s1", drained_l=11, filled_l=11, heel_l=0.2)
    assert level(poured(1, 11), swap) == pytest.approx(11.2)
