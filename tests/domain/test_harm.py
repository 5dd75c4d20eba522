"""The harm matrix as data: each letter is an answer, a row that does not fit stops the program."""

from dataclasses import replace

import pytest

from app.domain.harm.acts import ACTS, LETTERS
from app.domain.harm.faults import FAULTS
from app.domain.harm.late import BEGAN, DONE, THIS, before_words, under_words
from app.domain.harm.matrix import APART, MATRIX, Cell, build, cells_of

WASH, CURE = ACTS["wash"], ACTS["cure"]
FAULT = FAULTS["interlock_fault"]


def test_a_letter_is_an_answer_with_its_harm_and_its_source() -> None:
    rows = {
        letter: build([replace(FAULT, row=f"-{letter}")], "WU", [WASH, CURE]) for letter in "FAT"
    }
    for letter, answer in (("F", "forbidden"), ("A", "asked"), ("T", "told")):
        cell = rows[letter]["interlock_fault", "cure"]
        assert (cell.answer, cell.reason, cell.source) == (answer, FAULT.harm, FAULT.source)
        assert (cell.fault, cell.act, cell.name) == ("interlock_fault", "cure", "interlock_fault")


def test_an_act_that_uses_nothing_of_it_names_no_source() -> None:
    cells = build([replace(FAULT, row="-F")], "WU", [WASH, CURE])
    assert cells["interlock_fault", "wash"] == Cell("interlock_fault", "wash", "none", APART, "")


@pytest.mark.parametrize(
    "row, letters, message",
    [
        ("-F", "WW", r"^Two acts have the same letter\.$"),
        ("F", "WU", r"^interlock_fault has 1 answers for 2 acts\.$"),
        ("FFF", "WU", r"^interlock_fault has 3 answers for 2 acts\.$"),
        ("-x", "WU", r"^interlock_fault and cure: “x” is no answer\.$"),
    ],
)
def test_a_row_that_does_not_fit_stops_the_program(row: str, letters: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        build([replace(FAULT, row=row)], letters, [WASH, CURE])


def test_a_fault_without_a_way_out_stops_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.domain.harm.faults.WAYS", {"interlock_fault": ""})
    with pytest.raises(ValueError, match=r"^interlock_fault has no way out\.$"):
        build([replace(FAULT, row="-F")], "WU", [WASH, CURE])


def test_the_matrix_has_a_cell_for_each_fault_and_act() -> None:
    assert MATRIX.keys() == {(fault, act) for fault in FAULTS for act in ACTS}
    assert len(LETTERS) == len(ACTS)


def test_of_an_act_the_cells_that_apply_are_given() -> None:
    """Nobody cures under a lamp that shines with its lid open (IEC 60204-1, ISO 14119)."""
    found = {cell.fault: cell.answer for cell in cells_of("cure")}
    assert found["interlock_fault"] == "forbidden"
    assert found["interlock_overdue"] == "asked"
    assert "lot_expired" not in found
    assert "none" not in found.values()
    assert {cell.act for cell in cells_of("cure")} == {"cure"}
    assert cells_of("nothing of the room") == ()


@pytest.mark.parametrize(
    "detail, inside",
    [
        ("", ""),
        (" . ", ""),
        ("It drips.", " (it drips)"),
        (" Leak at the hose .X", " (leak at the hose .X)"),
        ("IPA on the floor", " (IPA on the floor)"),
        ("drips", " (drips)"),
        ("A", " (A)"),
        ("On", " (on)"),
    ],
)
def test_what_was_said_of_a_fault_stands_in_brackets(detail: str, inside: str) -> None:
    began = f"This tank was put on hold at 14:05{inside}."
    words = ("tank_held", "wash", "at 14:05", "at 13:30", detail)
    assert before_words(*words) == f"{began} Did this wash happen before that, at 13:30?"
    assert under_words(*words) == f"{began} Did this wash happen anyway, at 13:30?"


def test_what_is_over_once_it_is_entered_is_asked_about_and_not_refused_when_told_late() -> None:
    # The house's own rule: what a tablet kept was done, and is never lost (docs/tablet.md).
    assert set(DONE) == {"wash", "top_up", "pour", "transfer", "cure", "measure"}
    assert set(DONE) <= set(ACTS)
    assert set(THIS) >= set(DONE)
    assert set(BEGAN) <= set(FAULTS)
