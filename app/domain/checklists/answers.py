"""Whether what was said at a step is what the step asks for."""

from collections.abc import Mapping
from typing import Any

from app.domain.checklists.template import Ask, Step
from app.domain.errors import FieldError

US_GAL_L = 3.785411784  # exactly, by definition of the US gallon
NEAR = 0.12
SHOWN = {"C": "°C"}
"""Units as people read them, where they are kept in other letters."""


def answer_problems(
    step: Step, answers: Mapping[str, Any], confirmed: frozenset[int], by: str = ""
) -> list[FieldError]:
    """What is missing or out of range, each beside its field.

    Args:
        confirmed: places of the points that were confirmed, from 0.
        by: who does the step: the second person is another one.
    """
    found = [
        FieldError(f"confirm_{place}", f"First confirm: {line}.")
        for place, line in enumerate(step.confirms)
        if place not in confirmed
    ]
    return found + [error for ask in step.asks for error in _ask_problems(ask, answers, by)]


def _ask_problems(ask: Ask, answers: Mapping[str, Any], by: str) -> list[FieldError]:
    value = answers.get(ask.key)
    if value is None or value == "":
        return [FieldError(ask.key, f"{ask.label} is missing.")] if ask.is_required else []
    if ask.kind == "second" and by and str(value).casefold() == by.casefold():
        return [FieldError(ask.key, f"{ask.label}: choose somebody other than {by}.")]
    if ask.kind == "choice" and value not in ask.choices:
        return [FieldError(ask.key, f"{ask.label}: choose one of {', '.join(ask.choices)}.")]
    if ask.kind == "number":
        if isinstance(value, bool) or not isinstance(value, int | float):
            return [FieldError(ask.key, f"{ask.label} must be a number.")]
        low, high = ask.low, ask.high
        if (low is not None and value < low) or (high is not None and value > high):
            return [FieldError(ask.key, f"{ask.label} must be {range_words(ask)}.")]
    return []


def range_words(ask: Ask) -> str:
    """A range in words, in the kept unit."""
    unit = f" {SHOWN.get(ask.unit, ask.unit)}" if ask.unit else ""
    if ask.low is not None and ask.high is not None:
        return f"between {ask.low:g} and {ask.high:g}{unit}"
    if ask.low is not None:
        return f"at least {ask.low:g}{unit}"
    return f"at most {ask.high:g}{unit}" if ask.high is not None else "any number"


def unit_slip(value_l: float, expected_l: float) -> str:
    """The unit in which a volume was perhaps meant; nothing where it is about as expected.

    >>> unit_slip(10.0, 38.0)
    'US gal'
    """
    if expected_l <= 0 or abs(value_l / expected_l - 1) < 2 * NEAR:
        return ""
    if abs(value_l * US_GAL_L / expected_l - 1) < NEAR:
        return "US gal"
    if abs(value_l / US_GAL_L / expected_l - 1) < NEAR:
        return "L"
    return ""
