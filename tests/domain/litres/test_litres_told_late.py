"""What a bath held as its swap began, by hand: what was told late, corrected, taken back."""

from dataclasses import replace

import pytest

from app.domain.litres.told_late import Moved, level_after, litres_at_start
from app.domain.roomlog.kinds import Removal, Swap, Tank, TankChange, TopUp
from tests.factories import NOW, START

OPENED = 10
"""The number of the opening's row; it says 36 L of 40."""
TANK = Moved(
    Tank(at=START, tank="t1", name="T1", capacity_l=40.0, min_l=30.0, solvent="isopropanol"), 1
)


def topped(litres: float, number: int, gone: int | None = None, *, to_mark: bool = False) -> Moved:
    entry = TopUp(at=NOW, tank="t1", volume_l=litres, to_mark=to_mark or None)
    return Moved(entry, number, gone)


def removed(litres: float, number: int, left_l: float | None = None) -> Moved:
    return Moved(Removal(at=NOW, tank="t1", volume_l=litres, left_l=left_l), number)


def bath(filled_l: float | None, number: int, gone: int | None = None) -> Moved:
    return Moved(Swap(at=NOW, tank="t1", filled_l=filled_l, heel_l=0.5), number, gone)


CASES: list[tuple[str, list[Moved], float]] = [
    ("known", [topped(2.0, 5)], 36.0),
    ("late", [topped(2.0, 11)], 38.0),
    ("late removal", [removed(3.0, 11)], 33.0),
    ("never below nothing", [removed(50.0, 11)], 0.0),
    ("taken back after", [topped(2.0, 5, 11)], 34.0),
    ("taken back before", [topped(2.0, 5, 6)], 36.0),
    ("late, and taken back", [topped(2.0, 11, 12)], 36.0),
    ("corrected", [topped(2.0, 5, 11), topped(2.5, 11)], 36.5),
    ("before a level was seen", [topped(2.0, 11), removed(1.0, 5, 34.0)], 36.0),
    ("behind a level that was seen", [removed(1.0, 5, 34.0), topped(2.0, 11)], 38.0),
    ("a level told late", [topped(1.0, 5), topped(4.0, 11, to_mark=True)], 40.0),
    ("and what came behind it", [topped(4.0, 11, to_mark=True), removed(3.0, 5)], 37.0),
    ("other litres to the same mark", [topped(1.0, 5, 11, to_mark=True),
                                       topped(1.5, 11, to_mark=True)], 36.0),
    ("another level than was known", [Moved(removed(1.0, 5, 34.0).entry, 5, 11),
                                      removed(1.0, 11, 30.0)], 30.0),
    ("a bath told late", [bath(38.0, 11)], 38.5),
    ("a bath to the mark told late", [bath(None, 11)], 40.0),
    ("a bath taken back", [bath(38.0, 5, 11)], 40.0),
]  # fmt: skip


@pytest.mark.parametrize("acts, expected", [case[1:] for case in CASES], ids=[c[0] for c in CASES])
def test_a_swap_begins_with_what_is_told_by_now(acts: list[Moved], expected: float) -> None:
    assert litres_at_start(36.0, 40.0, OPENED, [TANK, *acts]) == pytest.approx(expected)


def test_acts_of_the_bath_before_make_no_difference() -> None:
    """They are read from the last new bath on: all of them give the same."""
    new = bath(36.0, 3)
    acts = [new, topped(1.0, 5), topped(2.0, 11)]
    earlier = [TANK, topped(3.0, 12), topped(1.0, 2, 13), *acts]
    assert litres_at_start(36.0, 40.0, OPENED, acts) == 38.0
    assert litres_at_start(36.0, 40.0, OPENED, earlier) == 38.0


def test_a_tank_that_changes_sets_no_level() -> None:
    change = TankChange(at=NOW, tank="t1", capacity_l=50.0)
    assert level_after(change, 40.0) is None
    assert level_after(replace(TANK.entry, capacity_l=25.0), 40.0) == 25.0
