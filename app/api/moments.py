"""Instants as RFC 3339 text with an offset."""

import re
from datetime import datetime
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from app.domain.errors import FieldError
from app.domain.roomlog.fields import check_moment

_RFC_3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d{1,9})?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)
# The days from 1971 to 2198: whether those beside them are taken depends on the offset.
_DAY = (
    r"(?:(?:197[1-9]|19[89][0-9]|20[0-9]{2}|21[0-8][0-9]|219[0-8])-"
    r"(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)"
    r"|02-(?:0[1-9]|1[0-9]|2[0-8]))"
    r"|(?:19(?:7[26]|8[048]|9[26])|20(?:[02468][048]|[13579][26])|21(?:0[48]|[2468][048]|[1357][26]|9[26]))"
    r"-02-29)"
)
DAY_PATTERN = f"^{_DAY}$"
MOMENT_PATTERN = (
    rf"^{_DAY}[Tt ](?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](?:\.[0-9]{{1,9}})?"
    r"(?:[Zz]|[+-](?:[01][0-9]|2[0-3]):[0-5][0-9])$"
)
"""Instants after RFC 3339, as described to programs: a pattern says what the format cannot."""
_EXAMPLE = "2026-03-02T07:40:00+00:00"


def read_moment(value: Any) -> datetime:
    """The instant that RFC 3339 text names, in UTC.

    Raises:
        PydanticCustomError: it is no such text, or lies outside 1970 to 2200.
    """
    if not isinstance(value, str) or not _RFC_3339.fullmatch(value):
        raise _unfit(f"Give the time with its offset, for example {_EXAMPLE}.")
    try:
        return check_moment("at", value.upper())
    except FieldError as error:
        raise _unfit(error.message) from None


def _unfit(message: str) -> PydanticCustomError:
    # The text goes in as a value: braces in it are no placeholders.
    return PydanticCustomError("unfit", "{message}", {"message": message})


Moment = Annotated[
    datetime,
    PlainValidator(read_moment),
    WithJsonSchema({"type": "string", "pattern": MOMENT_PATTERN, "examples": [_EXAMPLE]}),
]
