"""What the data fields of waste entries may hold: lists of drums, the site's own rules."""

import math
import re
from datetime import date
from typing import Any

from app.domain.roomlog.fields import KEY_PATTERN
from app.domain.waste.streams import STREAMS as _STREAMS

MOST_DRUMS = 100
STREAMS = tuple(_STREAMS)
"""The words of the waste streams."""


def is_stream(word: Any) -> bool:
    """Whether a word names a waste stream, that of an own solvent among them."""
    return isinstance(word, str) and word in _STREAMS


MARKS = ("codes", "un_number", "shipping_name", "class_group")
UN_NUMBER = re.compile(r"(UN|NA)\d{4}")
MOST_WORDS = 120
MOST_VALUE = 10_000_000


def check_drums(value: Any) -> list[str]:
    """Keys of drums, each once, in the order given.

    Raises:
        ValueError: no list of one to a hundred keys.
    """
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= MOST_DRUMS:
        raise ValueError("Choose at least one drum.")
    if not all(isinstance(key, str) and KEY_PATTERN.fullmatch(key) for key in value):
        raise ValueError("Give the keys of the drums.")
    return list(dict.fromkeys(value))


def check_streams(value: Any) -> list[str]:
    """Words of waste streams, each once; none is allowed.

    Raises:
        ValueError: no list of the streams that there are.
    """
    if not isinstance(value, list | tuple) or not all(is_stream(word) for word in value):
        raise ValueError("Give the words of waste streams.")
    return list(dict.fromkeys(value))


def check_edits(value: Any) -> dict[str, Any]:
    """The site's own values of rules by rule: each with a value, or none where it takes one out.

    Raises:
        ValueError: no mapping of keys to `value`, `source` and `as_of`.
    """
    if not isinstance(value, dict) or len(value) > MOST_DRUMS:
        raise ValueError("Give the site's own values by rule.")
    edits: dict[str, Any] = {}
    for key, edit in value.items():
        if not isinstance(key, str) or not KEY_PATTERN.fullmatch(key):
            raise ValueError("Give the key of each rule.")
        edits[key] = _checked_edit(edit)
    return edits


def check_marks(value: Any) -> dict[str, Any]:
    """Codes and names for labels and papers by stream; fields left out stay empty.

    Raises:
        ValueError: no mapping of streams to texts.
    """
    if not isinstance(value, dict) or len(value) > MOST_DRUMS:
        raise ValueError("Give the codes by waste stream.")
    marks: dict[str, Any] = {}
    for stream, mark in value.items():
        if not is_stream(stream) or not isinstance(mark, dict) or set(mark) - set(MARKS):
            raise ValueError(f"Give for each waste stream: {', '.join(MARKS)}.")
        texts = {name: str(text).strip() for name, text in mark.items() if str(text).strip()}
        if any(len(text) > MOST_WORDS for text in texts.values()):
            raise ValueError(f"At most {MOST_WORDS} characters.")
        if "un_number" in texts and not UN_NUMBER.fullmatch(texts["un_number"]):
            raise ValueError("A UN number is UN and four digits, such as UN1993.")
        if texts:
            marks[stream] = texts
    return marks


def _checked_edit(edit: Any) -> dict[str, Any]:
    if not isinstance(edit, dict) or set(edit) - {"value", "source", "as_of"}:
        raise ValueError("The site's own rule needs a value, a source and a day.")
    found, source, as_of = edit.get("value"), edit.get("source", ""), edit.get("as_of", "")
    if found is not None:
        is_number = isinstance(found, int | float) and not isinstance(found, bool)
        if not is_number or not math.isfinite(found) or not 0 <= found <= MOST_VALUE:
            raise ValueError("The value of a rule must be zero or more.")
    if not isinstance(source, str) or not 0 < len(source.strip()) <= 200:
        raise ValueError("Say where the value comes from, in at most 200 characters.")
    try:
        date.fromisoformat(as_of)
    except (TypeError, ValueError):
        raise ValueError("Enter the day the value was looked up.") from None
    return {"value": found, "source": source.strip(), "as_of": as_of}
