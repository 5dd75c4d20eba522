"""What was typed into a form, kept while somebody signs in.

It travels in the page itself, as a hidden field: nothing is stored for whoever is not signed in.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from starlette.requests import Request

MOST_BYTES = 64 * 1024
MOST_FIELDS = 200
LONGEST_ADDRESS = 500
URL_ENCODED = "application/x-www-form-urlencoded"
UNSEEN = ("submission", "confirmed")


@dataclass(frozen=True)
class Kept:
    """A form that waits to be sent.

    Attributes:
        to: its address.
        fields: names and values in their order.
    """

    to: str
    fields: tuple[tuple[str, str], ...]

    @property
    def text(self) -> str:
        """As the value of a hidden field."""
        return json.dumps({"to": self.to, "fields": self.fields})

    @property
    def shown(self) -> list[tuple[str, str]]:
        """What a person sees of it: what they typed and chose."""
        return [
            (name.replace("_", " ").capitalize(), value)
            for name, value in self.fields
            if value.strip() and name not in UNSEEN
        ]


async def kept_of(request: Request) -> Kept | None:
    """What a form brings that nobody may send now; None where it is no plain form, or is large."""
    length = request.headers.get("content-length", "")
    is_small = length.isdecimal() and len(length) < 9 and int(length) <= MOST_BYTES
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method != "POST" or kind != URL_ENCODED or not is_small:
        return None
    form = await request.form(max_files=0, max_fields=MOST_FIELDS)
    fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    return Kept(request.url.path, tuple(fields)) if local(request.url.path) else None


def kept_from(text: str) -> Kept | None:
    """What a hidden field holds; None where it holds no form of ours."""
    try:
        found: Any = json.loads(text) if text else None
        fields = tuple((name, value) for name, value in found["fields"])
        is_text = all(isinstance(part, str) for pair in fields for part in pair)
        to = local(found["to"])
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return Kept(to, fields) if to and is_text and len(fields) <= MOST_FIELDS else None


def local(address: object) -> str:
    """An address of this program to go on at; empty where it is none.

    >>> local("/rooms/larkmoor?x=1"), local("//elsewhere"), local("https://elsewhere/")
    ('/rooms/larkmoor?x=1', '', '')
    """
    if not isinstance(address, str) or not address.startswith("/") or address[1:2] in ("/", "\\"):
        return ""
    is_plain = all(" " < letter != "\\" for letter in address)
    return address if is_plain and len(address) <= LONGEST_ADDRESS else ""


def sign_in_address(back: str, who: int | None = None) -> str:
    """Where somebody signs in, to go on at `back`."""
    parts: Mapping[str, str] = {
        "who": "" if who is None else str(who),
        "back": "" if back in ("", "/") else back,
    }
    query = "&".join(f"{name}={quote(text, safe='/')}" for name, text in parts.items() if text)
    return f"/sign-in?{query}" if query else "/sign-in"
