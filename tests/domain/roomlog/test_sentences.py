"""Templates of sentences: marks, parts that are left out, who is not known."""

import pytest

from app.domain.roomlog.sentences import beside, marks, tell


@pytest.mark.parametrize(
    "template, words, told",
    [
        ("{by} moved {drum}", {"by": "Wren", "drum": "Drum 2"}, "Wren moved Drum 2"),
        ("{by} moved {drum}", {"drum": "Drum 2"}, "Moved Drum 2"),
        ("{by} took {a|b}", {"a": "3 parts", "b": "40 g"}, "Took 3 parts, 40 g"),
        ("{by} took {a|b}", {"b": "40 g"}, "Took 40 g"),
        ("{by} did it[, lot {lot}][: {rest}]", {"lot": "L1"}, "Did it, lot L1"),
        ("{by} [gone?stopped][gone!set] it", {"gone": "yes"}, "Stopped it"),
        ("{by} [gone?stopped][gone!set] it", {}, "Set it"),
    ],
)  # fmt: skip
def test_a_template_is_filled(template: str, words: dict[str, str], told: str) -> None:
    assert tell(template, words) == told


def test_words_that_look_like_marks_are_left_as_they_are() -> None:
    assert tell("{by} noted: {text}", {"by": "Wren", "text": "{by} [a?b]"}) == (
        "Wren noted: {by} [a?b]"
    )


def test_the_names_that_a_template_asks_for_are_known() -> None:
    assert marks("{by} did {a|b}[c?, odd][d!x][ on {e}]") == {"by", "a", "b", "c", "d", "e"}


@pytest.mark.parametrize(
    "figure, unit, told",
    [("1", "parts", "1 part"), ("0", "parts", "0 parts"), ("1.0", "L", "1.0 L"), ("3", "", "3")],
)
def test_one_of_a_unit_is_singular(figure: str, unit: str, told: str) -> None:
    assert beside(figure, unit) == told
