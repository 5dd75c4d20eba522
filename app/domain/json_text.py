"""Reading JSON that comes from outside, no deeper than what all who handle it later can follow.

RFC 8259 leaves the depth to the reader (section 9). Python reads a thousand layers, and fails
later: where they are checked, stored or handed out again.
"""

import json
import math
from collections.abc import Callable, Iterator
from typing import Any, NoReturn

MOST_DEPTH = 40
LARGEST = 10**308  # the range of a double ends at 1.8e308

Pairs = list[tuple[str, Any]]


BYTE_ORDER_MARK = "\ufeff"
"""Not added to JSON by who sends it: RFC 8259, section 8.1."""


def read_json(text: str, made_of_pairs: Callable[[Pairs], Any] | None = None) -> Any:
    """The value that a text says; `made_of_pairs` makes the objects, where they are no plain dicts.

    Raises:
        ValueError: it is no JSON, or nested too deeply; says which.

    >>> read_json('{"parts": 3}')
    {'parts': 3}
    """
    if text.startswith(BYTE_ORDER_MARK):
        raise ValueError("it begins with a byte order mark")
    try:
        value = json.loads(text, parse_constant=_refuse_constant, object_pairs_hook=made_of_pairs)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    except ValueError as error:
        if "integer string" in str(error):  # Python's own words, with a setting of its own
            raise ValueError("a number has more digits than can be read") from None
        raise
    for depth, _ in enumerate(_layers(value)):
        if depth > MOST_DEPTH:
            raise ValueError("it is nested too deeply")
    return value


def read_plain_json(text: str) -> Any:
    """The value that a text says, holding only what every JSON reader takes in.

    Numbers past a double's range and halves of surrogate pairs do not travel (RFC 8259, sections
    6 and 8.2).

    Raises:
        ValueError: it is no such JSON; says why.
    """
    value = read_json(text)
    check_plain(value)
    return value


def check_plain(value: Any) -> None:
    """Hold a value against what `read_plain_json` takes in.

    Raises:
        ValueError: it holds something else; says what.
    """
    for layer in _layers(value):
        for one in layer:
            _check_leaf(one)


def _layers(value: Any) -> Iterator[list[Any]]:
    """The values of each layer, names included; going down by calls is what depth would break."""
    layer = [value]
    while layer:
        yield layer
        below: list[Any] = []
        for one in layer:
            if isinstance(one, dict):
                below += one.keys()
                below += one.values()
            elif isinstance(one, list):
                below += one
        layer = below


def _check_leaf(value: Any) -> None:
    if isinstance(value, str):
        if not value.isascii() and any("\ud800" <= letter <= "\udfff" for letter in value):
            raise ValueError("A text holds half of a surrogate pair.")
    elif isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError("A number is too large.")
    elif isinstance(value, int) and abs(value) > LARGEST:
        raise ValueError("A number is too large.")


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")
