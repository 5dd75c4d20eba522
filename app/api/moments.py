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
    WithJsonSchema({"type": "string", "format": "date-time", "examples": [_EXAMPLE]}),
]
