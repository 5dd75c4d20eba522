"""What a person has dismissed is not said again before new readings speak for it."""

import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after
from tests.domain.baths.estimator.test_doubts import steady


def said(log: Log, days: float, tank: str = "alder") -> str | None:
    told = log.room.belief(tank, after(days)).said
    return told and told.name


def dismiss(log: Log, days: float, name: str, **more: str) -> None:
    log.add(kinds.ExplanationDismissed, days, tank="alder", explanation=name, **more)


def swapped() -> Log:
    """A bath that was changed on its 23rd day, which nobody logged, and read three times since."""
    log = steady(21)
    for day, percent in ((23, 0.5), (24, 0.5), (25, 0.5)):
        log.residue(day, percent)
    return log


def test_one_explanation_is_said_with_the_readings_that_speak_for_it() -> None:
    told = swapped().room.belief("alder", after(25)).said
    assert told is not None
    assert told.chance is not None
    assert told.name == "swap_missing"
    assert told.chance > 0.5
    assert [one.percent for one in told.readings] == pytest.approx([0.5, 0.5, 0.5])
    assert told.readings[0].at == after(23)
    assert told.readings[0].before_percent > 5
    assert told.read_before_at == after(21)


def test_a_dismissed_explanation_is_not_said_and_moves_no_figure() -> None:
    log, twin = swapped(), swapped()
    dismiss(log, 25.1, "swap_missing")
    left, right = (each.room.belief("alder", after(26)) for each in (log, twin))
    assert left.said is None
    assert "swap_missing" not in left.flags
    assert "swap_missing" in right.flags
    assert (left.mean_percent, left.p05_percent, left.p95_percent) == (
        right.mean_percent, right.p05_percent, right.p95_percent,
    )  # fmt: skip
    assert left.explanations == right.explanations


def test_as_many_readings_as_spoke_for_it_bring_it_back_and_fewer_do_not() -> None:
    log = swapped()
    dismiss(log, 25.1, "swap_missing")
    for day in (26, 27):
        log.residue(day, 0.5)
        assert said(log, day) is None
    log.residue(28, 0.5)
    assert said(log, 28) == "swap_missing"


def test_what_was_dismissed_of_a_fill_is_forgotten_with_it() -> None:
    log = swapped()
    dismiss(log, 25.1, "swap_missing")
    log.at_tank(kinds.Swap, 30)
    assert log.room.tanks["alder"].dismissed == {}


def test_a_slip_that_was_dismissed_is_said_again_of_another_reading() -> None:
    log = steady(21)
    base = log.percent(21)
    log.at_tank(kinds.Reading, 21, id="r1", method="residue", values=grams(base + 9))
    assert said(log, 21) == "slip"
    dismiss(log, 21.1, "slip", entry="r1")
    assert said(log, 21.2) is None
    assert "reading_disagrees" not in log.flags(21.2)
    log.residue(22, base)
    log.residue(23, base)
    log.at_tank(kinds.Reading, 24, id="r2", method="residue", values=grams(base + 15))
    assert said(log, 24) == "slip"


def test_a_wrong_size_is_dismissed_for_its_wash_alone() -> None:
    log = steady(12)
    log.wash(12.1, 2e7 / 20, id="w1")
    assert said(log, 12.2) == "wrong_entry"
    dismiss(log, 12.2, "wrong_entry", entry="w1")
    assert said(log, 12.3) is None
    log.wash(12.4, 2e7 / 20, id="w2")
    assert said(log, 12.5) == "wrong_entry"


def test_contradictions_are_said_again_when_the_new_readings_alone_contradict() -> None:
    log = steady(9)
    base = log.percent(9)
    for i, off in enumerate((7.0, 0.0, 7.0, 0.0, 7.0)):
        log.residue(9.1 + i / 10, base + off)
    assert said(log, 9.6) == "not_one_bath"
    dismiss(log, 9.6, "not_one_bath")
    assert said(log, 9.6) is None
    log.residue(9.7, base)
    assert "not_one_bath" not in log.flags(9.7)
    for i, off in enumerate((7.0, 0.0, 7.0, 0.0)):
        log.residue(9.8 + i / 10, base + off)
    assert "not_one_bath" in log.flags(10.2)


def test_a_fill_that_reads_dirty_again_is_said_again() -> None:
    log = Log()
    log.hydrometer(0.1, 0.7960, of_fresh=True)
    assert said(log, 0.2) == "fill_not_fresh"
    dismiss(log, 0.2, "fill_not_fresh")
    assert said(log, 0.3) is None
    log.hydrometer(0.4, 0.7961, of_fresh=True)
    assert said(log, 0.5) == "fill_not_fresh"


def test_it_is_kept_in_the_state() -> None:
    log = swapped()
    dismiss(log, 25.1, "swap_missing")
    again = RoomFilter.from_bytes(log.room.to_bytes())
    assert again.belief("alder", after(26)).said is None
    assert again.to_bytes() == log.room.to_bytes()


def grams(percent: float) -> dict[str, float]:
    return {"sample_g": 10.0, "residue_g": percent / 10}
