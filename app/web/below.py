"""The program below a path of a reverse proxy, as /baths (`BATHKEEPER_AT`).

Inside, every address begins at the root of the program. Here, at the edge, the path is taken from
what comes in and put before what goes out: headers in one place, addresses on pages in another
(`page_below`). So no page, form or redirect can forget it.
"""

import re
from collections.abc import Iterable

from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

STRIPPED_BY = b"x-forwarded-prefix"
CAME_FROM = (b"referer", b"hx-current-url")
LEADING = (b"location", b"x-go-on-at", b"x-sign-in")
# Values of attributes stand in double quotes on all pages, and what people type never holds one
# unescaped: what looks like an address here is one that the program wrote.
ADDRESS = re.compile(
    r'(\s(?:href|action|formaction|src|srcset|hx-get|hx-sse:connect|data-touched|data-steps)=")'
    r"(?=/(?!/))"
)
LINKED = re.compile(rb"<(?=/(?!/))")
COOKIE_PATH = re.compile(rb"(;\s*path=)/(?=;|$)", re.IGNORECASE)
Header = tuple[bytes, bytes]


def site_path(request: HTTPConnection) -> str:
    """The path that the program is served below; empty where it has its host for itself."""
    return str(request.app.state.settings.at)


def site_url(request: HTTPConnection) -> str:
    """The address of the program as it was asked for, to put a path behind."""
    return f"{str(request.base_url).rstrip('/')}{site_path(request)}"


def page_below(at: str, html: str) -> str:
    """A page with the path before each of its addresses.

    >>> page_below("/baths", '<a href="/rooms">…</a> <a href="//other"></a> <a href="?x=/1"></a>')
    '<a href="/baths/rooms">…</a> <a href="//other"></a> <a href="?x=/1"></a>'
    """
    return ADDRESS.sub(rf"\1{at}", html) if at else html


class Below:
    """Takes the path from requests and puts it before the addresses in the heads of answers.

    A proxy passes addresses on as they are, or takes the path away and says so in the header
    X-Forwarded-Prefix. What asks for an address without it, as a supervisor on this machine does,
    is answered too.
    """

    def __init__(self, app: ASGIApp, at: str) -> None:
        self.app, self.at, self._raw = app, at, at.encode("ascii")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_below(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [self._sent(*pair) for pair in message["headers"]]
            await send(message)

        await self.app(self._within(scope), receive, send_below)

    def _within(self, scope: Scope) -> Scope:
        headers: Iterable[Header] = scope["headers"]
        headers = [self._come(name, value) for name, value in headers]
        if (STRIPPED_BY, self._raw) in headers or not _is_below(self.at, scope["path"]):
            return {**scope, "headers": headers}
        raw = scope.get("raw_path") or b""
        return {
            **scope,
            "headers": headers,
            "path": scope["path"][len(self.at) :] or "/",
            "raw_path": raw.removeprefix(self._raw) or b"/",
        }

    def _come(self, name: bytes, value: bytes) -> Header:
        if name not in CAME_FROM:
            return name, value
        scheme, colon, rest = value.partition(b"://")
        host, slash, path = rest.partition(b"/")
        if not colon or not (slash + path + b"/").startswith(self._raw + b"/"):
            return name, value
        return name, scheme + colon + host + ((slash + path)[len(self._raw) :] or b"/")

    def _sent(self, name: bytes, value: bytes) -> Header:
        kind = name.lower()
        if kind in LEADING and value.startswith(b"/") and not value.startswith(b"//"):
            return name, self._raw + value
        if kind == b"link":
            return name, LINKED.sub(b"<" + self._raw, value)
        if kind == b"set-cookie":
            return name, COOKIE_PATH.sub(rb"\1" + self._raw, value)
        return name, value


def _is_below(at: str, path: str) -> bool:
    return path == at or path.startswith(f"{at}/")
