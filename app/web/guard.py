"""What every request and every answer passes: host, origin, size, and the headers of safety."""

from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.config import Settings
from app.web.deps import SAFE_METHODS
from app.web.hosts import Hosts, refusal_of
from app.web.render import page

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


FORM_BYTES = 256 * 1024
"""What any request may send, however much others send: a wash is never kept out by uploads."""
LARGE_BODIES_BYTES = 256 * 1024 * 1024
"""What all bodies together may have beyond that, from their first byte to their answer."""
SECRETS = ("/sign-in", "/sign-out", "/first-manager", "/own-secret")
LONGEST_SECRET_BYTES = 1024 * 1024
"""Of forms with a PIN, which anybody may send; what was typed before may go along (`typed`)."""
FULL = "Too much is being sent at once. Nothing was stored. Try again in a moment."
FULL_FOR_S = 5


class TooMuchAtOnce(HTTPException):
    """There is no memory for a large body beside those that are on their way."""

    def __init__(self) -> None:
        super().__init__(503, FULL, {"Retry-After": str(FULL_FOR_S)})


class TooLarge(HTTPException):
    """The body is larger than what is accepted; whoever reads it may answer with an error page."""

    def __init__(self) -> None:
        super().__init__(413)


class Guard:
    """Refuses foreign hosts, cross-site writes and oversized bodies; adds the safety headers."""

    def __init__(self, app: ASGIApp, settings: Settings, hosts: Hosts | None = None) -> None:
        self.app = app
        self.settings = settings
        self.hosts = hosts or Hosts(settings.allowed_hosts)
        self._large_bytes = 0  # only in the loop that serves

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                sent = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    sent.setdefault(name, value)
                is_asked_again = "etag" in sent  # a copy that is kept to be compared
                kept = "private, no-cache" if is_asked_again else "no-store"
                sent.setdefault("Cache-Control", kept)
            await send(message)

        answer = self._refusal(scope, Headers(scope=scope)) or self.app
        body = _Body(self, receive, self._most(scope))
        try:
            await answer(scope, body.receive, send_guarded)
        except TooLarge:
            if started:
                raise
            await self._too_large(scope)(scope, receive, send_guarded)
        finally:
            body.is_over()

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = ", ".join(headers.getlist("host"))  # more than one are none (RFC 9112, section 3.2)
        if not self.hosts.serves(host):
            return refused(scope, 400, refusal_of(host))
        if scope["method"] not in SAFE_METHODS and not _is_same_site(headers, host):
            return refused(scope, 403, "This was sent from another site. Nothing was stored.")
        # What is no number of bytes is the server's to refuse; the body is counted as it comes.
        length = headers.get("content-length", "")
        if length.isdecimal() and not _may_come(length.lstrip("0") or "0", self._most(scope)):
            return self._too_large(scope)
        return None

    def _most(self, scope: Scope) -> int:
        """How long a body may be."""
        most = self.settings.longest_upload_bytes
        return min(most, LONGEST_SECRET_BYTES) if scope["path"] in SECRETS else most

    def _too_large(self, scope: Scope) -> Response:
        most = self._most(scope) // (1024 * 1024)
        text = f"This is larger than {most} MB, the most that is accepted. Nothing was stored."
        answer = refused(scope, 413, text)
        answer.headers["Connection"] = "close"
        return answer

    def take(self, large_bytes: int) -> None:
        """Count more of a large body.

        Raises:
            TooMuchAtOnce: together they would be too much.
        """
        if self._large_bytes + large_bytes > LARGE_BODIES_BYTES:
            raise TooMuchAtOnce
        self._large_bytes += large_bytes

    def give_back(self, large_bytes: int) -> None:
        """A request with so much of a large body is answered."""
        self._large_bytes -= large_bytes


class _Body:
    """A body as it comes, counted."""

    def __init__(self, guard: Guard, receive: Receive, most: int) -> None:
        self._guard, self._receive, self._most = guard, receive, most
        self._taken = self._large = 0

    async def receive(self) -> Message:
        """The next message of it.

        Raises:
            TooLarge: it is longer than it may be.
            TooMuchAtOnce: it is a large one, and there are too many.
        """
        message = await self._receive()
        self._taken += len(message.get("body", b""))
        if self._taken > self._most:
            raise TooLarge
        if self._taken - FORM_BYTES > self._large:
            more = self._taken - FORM_BYTES - self._large
            self._guard.take(more)
            self._large += more
        return message

    def is_over(self) -> None:
        """Its request is answered."""
        self._guard.give_back(self._large)


def _may_come(digits: str, most: int) -> bool:
    """Whether a body of so many bytes is accepted; the digits are many where a client lies."""
    return len(digits) <= len(str(most)) and int(digits) <= most


def refused(scope: Scope, status: int, text: str) -> Response:
    """Why a request is refused: a problem (RFC 9457) for a program, a page for a person."""
    if not scope["path"].startswith("/api/"):
        answer = page(Request(scope), "error.html", {"status": status, "message": text})
        answer.status_code = status
        return answer
    title = HTTPStatus(status).phrase
    problem = {"type": "about:blank", "title": title, "status": status, "detail": text}
    return JSONResponse(problem, status, media_type="application/problem+json")


def _is_same_site(headers: Headers, host: str) -> bool:
    """Browsers say where a form comes from; programs that are no browsers say nothing."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin")
    try:
        return origin is None or urlsplit(origin).netloc == host
    except ValueError:
        return False
