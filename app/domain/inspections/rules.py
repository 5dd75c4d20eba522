"""From answers to exactly one verdict, with its reason.

The order of severity decides: of all questions answered yes, the gravest verdict stands; of two
alike, the one that stands first in the table. What nobody could see is never passed as in order;
a part of which nothing could be seen was not looked at.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.errors import FieldError
from app.domain.inspections.conditions import asked
from app.domain.inspections.part import EMPTY, Condition
from app.domain.roomlog.kinds.inspection_data import ANSWERS, VERDICTS

PARTLY_SEEN = "Not everything could be seen. Check again at the next swap, before filling."
NOT_SEEN = "None of it could be seen, so nobody has checked it yet."
ALL_GOOD = "Every question was answered no."
NEEDS_PHOTO = frozenset({"replace", "replace_with_mate", "take_out_of_service"})
NEXT_LOOKS = {
    "not_seen": "Before the tank is filled or the station is used again.",
    "watch": "At the next swap, before filling.",
}


@dataclass(frozen=True)
class Judgement:
    """What the rule says.

    Attributes:
        condition: the question that decided; None where none was answered yes.
    """

    verdict: str
    reason: str
    condition: Condition | None = None


def severity(verdict: str) -> int:
    """0 for serviceable up to 5 for out of service."""
    return VERDICTS.index(verdict)


def judge(part: str, answers: Mapping[str, str], look: str = EMPTY) -> Judgement:
    """The verdict that the answers of a look lead to. A question without an answer counts as not
    seen."""
    conditions = asked(part, look)
    found = [one for one in conditions if answers.get(one.key) == "yes"]
    if found:
        worst = max(found, key=lambda one: severity(one.verdict))  # the first of equals
        return Judgement(worst.verdict, worst.reason, worst)
    if all(answers.get(one.key) == "no" for one in conditions):
        return Judgement("serviceable", ALL_GOOD)
    if all(answers.get(one.key) != "no" for one in conditions):
        return Judgement("not_seen", NOT_SEEN)
    return Judgement("watch", PARTLY_SEEN)


def answer_problems(part: str, answers: Mapping[str, str], look: str = EMPTY) -> list[FieldError]:
    """A message for each question of the look that is not answered, or not by one of the words."""
    return [
        FieldError(one.key, f"{one.question} Choose Yes, No or Cannot see it.")
        for one in asked(part, look)
        if answers.get(one.key) not in ANSWERS
    ]
