"""Pages of a list: how long they are, and where the neighbours are."""

import re
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Request
from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from app.store.log import MOST_PER_PAGE

_DIGITS = re.compile(r"[0-9]{1,9}", re.ASCII)


def read_digits(value: Any) -> int:
    """A whole number written in digits alone.

    Raises:
        PydanticCustomError: a sign, a space, an underscore or another alphabet stands in it.
    """
    if isinstance(value, int) or (isinstance(value, str) and _DIGITS.fullmatch(value)):
        return int(value)
    raise PydanticCustomError("unfit", "Give a whole number in digits.")


Limit = Annotated[
    int,
    BeforeValidator(read_digits),
    Field(ge=1, le=MOST_PER_PAGE, description="How many to return at most."),
]
Cursor = Annotated[
    str | None,
    Field(
        pattern=r"^[ab][0-9]{1,18}\.[0-9]{1,18}$",
        description="Where to go on: the cursor from an earlier answer, unchanged.",
    ),
]


def link_header(request: Request, cursors: Mapping[str, str | None]) -> str:
    """The Link header (RFC 8288) of the pages that these cursors lead to, by their relation."""
    links = []
    for relation, cursor in cursors.items():
        if cursor is not None:
            url = request.url.include_query_params(cursor=cursor)
            links.append(f'<{url.path}?{url.query}>; rel="{relation}"')
    return ", ".join(links)
