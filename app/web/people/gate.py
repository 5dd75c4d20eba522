"""The gate that every request passes where people sign in: who is it, and do they still count.

What they may do is asked behind it, at the route (`permitting`) and at the door of the room log.
"""

import asyncio
import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.domain.people.actors import Actor
from app.domain.people.permissions import ADDRESSES, ANYBODY
from app.logged import note_told
from app.services.people import signing, tokens
from app.store.acting import acted_by
from app.store.engine import Store
from app.store.people import Present
from app.store.troubles import explained
from app.web.below import page_below, site_path
from app.web.deps import SAFE_METHODS
from app.web.people.asking import ask_to_sign_in
from app.web.people.sessions import SignIn, token_in
from app.web.people.typed import sign_in_address
from app.web.render import wants_fragment

OPEN = frozenset(address.split()[1] for address, action in ADDRESSES.items() if action == ANYBODY)
OPEN_BELOW = ("/static/",)
OWN = ("/own-secret", "/sign-out")
WHERE = "X-Sign-In"
LOOK_AGAIN_S = 10.0
NOTED_EVERY = 10  # times within the idle time that somebody's activity is written down
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Found:
    """Whom a request is from.

    Attributes:
        actor: None where nobody is signed in.
        present: of a session, also of one that is idle.
        counts: asks again whether it still does.
    """

    actor: Actor | None = None
    present: Present | None = None
    counts: Callable[[], bool] = lambda: True


class _Over(OSError):
    """Whoever listens is signed in no more."""


class Gate:
    """Lets through who is signed in or sends a token, and asks the others to sign in."""

    def __init__(self, app: ASGIApp, store: Store, sign_in: SignIn, clock: Callable[[], datetime]):
        self.app, self.store, self.sign_in, self.clock = app, store, sign_in, clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not self.sign_in.is_on:
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        try:
            found = await asyncio.to_thread(self._look, request)
        except Exception as error:
            await self._unavailable(request, error)(scope, receive, send)
            return
        if found.actor is not None:
            note_told(scope, "role", found.actor.role)
        refusal = await self._refusal(request, found)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        with acted_by(found.actor):
            await self._answer(found, scope, receive, send)

    async def _refusal(self, request: Request, found: Found) -> Response | None:
        path = request.url.path
        if path in OPEN or path.startswith(OPEN_BELOW):
            return None
        if found.actor is None:
            return await self._ask(request, found)
        if found.present is not None and found.present.must_change and path not in OWN:
            return self._must_change(request)
        return None

    def _look(self, request: Request) -> Found:
        """Who it is, with a note that they do something; in a thread, since it reads."""
        if request.url.path.startswith(OPEN_BELOW):
            return Found()
        now = self.clock()
        kind, _, text = request.headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer" and _is_of_programs(request):
            program = tokens.program_of(self.store, text.strip())
            if program is None:
                return Found()
            number, actor = program
            return Found(actor, None, lambda: tokens.token_still_counts(self.store, number))
        here = signing.who_is(self.store, token_in(request), now, self.sign_in.idle_after)
        if here is None or here.is_idle:
            return Found(None, here)
        self._note(request, here, now)
        number = here.session_id
        return Found(
            signing.actor_of(here), here, lambda: signing.is_still_there(self.store, number)
        )

    def _note(self, request: Request, here: Present, now: datetime) -> None:
        """Write down now and then that somebody is active; pages refresh themselves without."""
        is_by_itself = request.method in SAFE_METHODS and (
            wants_fragment(request) or request.url.path.endswith("/live")
        )
        if is_by_itself or now - here.seen_at < self.sign_in.idle_after / NOTED_EVERY:
            return
        try:
            signing.touch(self.store, here.session_id, now)
        except Exception as error:
            if explained(error) is None:
                raise
            _log.warning("Somebody's activity could not be noted: %s", error)

    async def _ask(self, request: Request, found: Found) -> Response:
        """Ask to sign in: a program in a problem, a page that refreshes itself in a line."""
        if _is_of_programs(request):
            text = "Send a token as Authorization: Bearer. A manager makes one on the page People."
            return _problem(401, text, {"WWW-Authenticate": 'Bearer realm="Bathkeeper"'})
        who = found.present.account_id if found.present is not None else None
        is_read = request.method in SAFE_METHODS
        back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        where = sign_in_address(back if is_read else _came_from(request), who)
        if is_read and wants_fragment(request):
            where = sign_in_address(_came_from(request), who)
            line = '<p class="strip" role="status"><b>Signed out.</b> <a href="{}">Sign in</a></p>'
            safe = where.replace("&", "&amp;").replace('"', "&quot;")
            line = page_below(site_path(request), line.format(safe))
            return HTMLResponse(line, 401, {WHERE: where})
        if is_read and "text/html" in request.headers.get("accept", ""):
            return RedirectResponse(where, 303, {WHERE: where})
        answer = await ask_to_sign_in(request, back=back if is_read else _came_from(request))
        answer.headers[WHERE] = where
        return answer

    def _must_change(self, request: Request) -> Response:
        if request.method in SAFE_METHODS and not _is_of_programs(request):
            return RedirectResponse("/own-secret", 303)
        return _problem(403, "First choose your own PIN or password at /own-secret.")

    def _unavailable(self, request: Request, error: Exception) -> Response:
        trouble = explained(error)
        if trouble is None:
            raise error
        headers = {"Retry-After": str(trouble.retry_after_s)}
        if _is_of_programs(request):
            return _problem(503, str(trouble), headers)
        return HTMLResponse(f'<p class="lead">{trouble}</p>', 503, headers)

    async def _answer(self, found: Found, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer; what goes on for long, as live notices do, ends when they are signed out."""
        is_stream, looked_at = False, _steady_s()

        async def send_while_it_counts(message: Message) -> None:
            nonlocal is_stream, looked_at
            if message["type"] == "http.response.start":
                kind = Headers(raw=message["headers"]).get("content-type", "")
                is_stream = kind.startswith("text/event-stream")
            elif is_stream and _steady_s() - looked_at > LOOK_AGAIN_S:
                looked_at = _steady_s()
                if not await asyncio.to_thread(found.counts):
                    raise _Over
            await send(message)

        try:
            await self.app(scope, receive, send_while_it_counts)
        except (_Over, ClientDisconnect):
            with suppress(Exception):
                await send({"type": "http.response.body", "body": b"", "more_body": False})


def _steady_s() -> float:
    return asyncio.get_running_loop().time()


def _is_of_programs(request: HTTPConnection) -> bool:
    return request.url.path == "/api" or request.url.path.startswith("/api/")


def _came_from(request: Request) -> str:
    """The page that a form or a fragment belongs to, of this site; the front page otherwise."""
    url = request.headers.get("hx-current-url") or request.headers.get("referer") or ""
    _, _, rest = url.partition("://")
    host, slash, path = rest.partition("/")
    return f"/{path.partition('#')[0]}" if slash and host == request.url.netloc else "/"


def _problem(status: int, text: str, headers: dict[str, str] | None = None) -> Response:
    titles = {401: "Unauthorized", 403: "Forbidden", 503: "Service Unavailable"}
    content = {"type": "about:blank", "title": titles[status], "status": status, "detail": text}
    return JSONResponse(content, status, headers, media_type="application/problem+json")
