"""What inspections are made of: parts, verdicts, views, and the shape of answers and marks."""

import re
from collections.abc import Mapping
from typing import Any

from app.domain.errors import FieldError
from app.domain.inspections.parts import PARTS as _PARTS
from app.domain.roomlog.fields import KEY_PATTERN

PARTS = tuple(_PARTS)
VERDICTS = (
    "serviceable", "not_seen", "watch", "replace", "replace_with_mate", "take_out_of_service",
)  # fmt: skip
DECISIONS = tuple(verdict for verdict in VERDICTS if verdict != "not_seen")
VIEWS = ("whole", "close", "scale", "before_cleaning", "after_cleaning")
ANSWERS = ("yes", "no", "unseen")
SHAPES = ("arrow", "ring")
REPLACED_BECAUSE = ("finding", "mate", "planned", "other")
MOST_MARKS = 12
MOST_WORDS = 80  # characters of a mark's text
MOST_PARTS = 60
PHOTO_PATTERN = re.compile(r"[0-9a-f]{64}")


def check_answers(value: Any) -> dict[str, str]:
    """Answers by question: `yes`, `no` or `unseen`.

    Raises:
        ValueError: it is no such mapping.
    """
    if not isinstance(value, Mapping) or not 1 <= len(value) <= 20:
        raise ValueError("Answer one to twenty questions.")
    for question, answer in value.items():
        if not KEY_PATTERN.fullmatch(str(question)) or answer not in ANSWERS:
            raise ValueError("Each answer is yes, no or unseen.")
    return dict(value)


def check_positions(value: Any) -> list[dict[str, str]]:
    """The positions looked at: a list of `component`, `part` and `name`.

    Raises:
        ValueError: it is no such list.
    """
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= MOST_PARTS:
        raise ValueError(f"List one to {MOST_PARTS} positions.")
    checked = []
    for one in value:
        if not KEY_PATTERN.fullmatch(str(one["component"])) or one["part"] not in PARTS:
            raise ValueError("Each position has its component and what part it is.")
        name = str(one.get("name", ""))[:200]
        checked.append({"component": one["component"], "part": one["part"], "name": name})
    return checked


def check_marks(value: Any) -> list[dict[str, Any]]:
    """Marks on a photo: places in hundredths of its width and height, 0 to 100.

    Raises:
        ValueError: a mark is no arrow or ring within the photo.
    """
    if not isinstance(value, list | tuple) or len(value) > MOST_MARKS:
        raise ValueError(f"At most {MOST_MARKS} marks.")
    return [_mark(one) for one in value]


def _mark(one: Mapping[str, Any]) -> dict[str, Any]:
    x, y = one["x_percent"], one["y_percent"]
    if one["shape"] not in SHAPES:
        raise ValueError("A mark is an arrow or a ring.")
    for place in (x, y):
        is_number = isinstance(place, int | float) and not isinstance(place, bool)
        if not is_number or not 0 <= place <= 100:
            raise ValueError("A mark must be within the photo: 0 to 100 percent.")
    text = str(one.get("text", ""))
    if len(text) > MOST_WORDS:
        raise ValueError(f"The words of a mark: at most {MOST_WORDS} characters.")
    return {"shape": one["shape"], "x_percent": float(x), "y_percent": float(y), "text": text}


def photo_problems(photo: str | None) -> list[FieldError]:
    """A photo is named by the SHA-256 of its file."""
    if photo is not None and not PHOTO_PATTERN.fullmatch(photo):
        return [FieldError("photo", "A photo is named by the 64 hex digits of its content.")]
    return []
