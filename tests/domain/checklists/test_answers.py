"""What is said where an answer is missing or out of range, at both ends of the range."""

from typing import Any

import pytest

from app.domain.checklists.answers import answer_problems, range_words, unit_slip
from app.domain.checklists.template import Ask, Step

TEMPERATURE = Ask("temperature_c", "number", "Bath temperature", "C", 15.0, 30.0)
COLOUR = Ask("colour", "choice", "Colour", choices=("clear", "cloudy"))
REMARK = Ask("remark", "note", "Remark", is_required=False)


def said(
    *asks: Ask, confirmed: tuple[int, ...] = (), confirms: tuple[str, ...] = (), **answers: Any
) -> list[tuple[str, str]]:
    step = Step("look", "Look", confirms=confirms, asks=asks)
    return [(p.field, p.message) for p in answer_problems(step, answers, frozenset(confirmed))]


def test_each_point_is_confirmed_by_itself() -> None:
    points = ("Lid is shut", "Pump is off")
    assert said(confirms=points, confirmed=(0, 1)) == []
    assert said(confirms=points, confirmed=(0,)) == [("confirm_1", "First confirm: Pump is off.")]
    assert said(confirms=points) == [
        ("confirm_0", "First confirm: Lid is shut."), ("confirm_1", "First confirm: Pump is off."),
    ]  # fmt: skip


def test_what_is_missing_is_named_beside_its_field() -> None:
    missing = [("temperature_c", "Bath temperature is missing."), ("colour", "Colour is missing.")]
    assert said(TEMPERATURE, COLOUR, REMARK) == missing
    assert said(TEMPERATURE, COLOUR, REMARK, temperature_c="", colour="", remark="") == missing
    assert said(TEMPERATURE, COLOUR, REMARK, temperature_c=20, colour="clear", remark="Fine") == []
    both = said(COLOUR, confirms=("Lid is shut",))
    assert [field for field, _ in both] == ["confirm_0", "colour"]
    assert said(Ask("n", "number", "Number"), n=0) == []


@pytest.mark.parametrize("value", [15, 15.0, 22.5, 30])
def test_the_ends_of_a_range_belong_to_it(value: float) -> None:
    assert said(TEMPERATURE, temperature_c=value) == []


@pytest.mark.parametrize("value", [14.9, 30.1, -20])
def test_what_lies_outside_of_a_range_is_refused_with_the_range(value: float) -> None:
    assert said(TEMPERATURE, temperature_c=value) == [
        ("temperature_c", "Bath temperature must be between 15 and 30 °C.")
    ]


@pytest.mark.parametrize("value", ["20", True, [20]])
def test_what_is_no_number_is_refused(value: Any) -> None:
    assert said(TEMPERATURE, temperature_c=value) == [
        ("temperature_c", "Bath temperature must be a number.")
    ]


def test_a_choice_is_one_of_its_words() -> None:
    assert said(COLOUR, colour="cloudy") == []
    assert said(COLOUR, colour="blue") == [("colour", "Colour: choose one of clear, cloudy.")]


@pytest.mark.parametrize(
    "low, high, unit, words",
    [
        (15.0, 30.0, "C", "between 15 and 30 °C"),
        (0.5, None, "L", "at least 0.5 L"),
        (None, 8.0, "mm", "at most 8 mm"),
        (None, 8.0, "", "at most 8"),
        (None, None, "L", "any number"),
    ],
)
def test_a_range_is_told_in_words(
    low: float | None, high: float | None, unit: str, words: str
) -> None:
    ask = Ask("n", "number", "Depth", unit, low, high)
    assert range_words(ask) == words
    outside = (low or 0) - 1 if low is not None else (high or 0) + 1
    expected = [] if words == "any number" else [("n", f"Depth must be {words}.")]
    assert said(ask, n=outside) == expected


@pytest.mark.parametrize(
    "value_l, expected_l, unit",
    [
        # Of 37.85 L: ten US gal of 3.785411784 L (NIST Handbook 44, appendix C).
        (10.0, 37.85, "US gal"),
        (11.1, 37.85, "US gal"),  # 11 % more than ten
        (11.3, 37.85, ""),
        (8.9, 37.85, "US gal"),
        (8.7, 37.85, ""),
        (37.85, 10.0, "L"),
        (42.0, 10.0, "L"),
        (42.8, 10.0, ""),
        (33.6, 10.0, "L"),
        (33.0, 10.0, ""),
        (37.85, 37.85, ""),
        (46.0, 37.85, ""),  # about as expected
        (0.264, 1.0, "US gal"),
        (10.0, 0.0, ""),
        (10.0, -5.0, ""),
    ],
)
def test_a_volume_in_the_other_unit_is_noticed_within_an_eighth(
    value_l: float, expected_l: float, unit: str
) -> None:
    assert unit_slip(value_l, expected_l) == unit
