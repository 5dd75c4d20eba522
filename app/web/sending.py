"""Forms that a page's own script sends: at once, or later from what the tablet kept.

- A redirect that a script follows hides two things from it: that the form was taken, when the page
  after it fails to come; and the place on that page. So the script gets the address by itself.
- What waited on a tablet says when it was touched, by this server's clock, and by whom: it is
  stored as of then, not as of when it arrives, and nobody else becomes "who is here" by it.
- What is sent a second time because no answer came may have been stored in the meantime, and the
  room may have gone on since: it is told as stored, not refused.
"""

from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.store.acting import note_waited

PROGRAMS = "/api/"
"""Addresses of programs: what they send was kept on no tablet."""
ASKED_BY = "X-Sent-By"
SCRIPT, OUTBOX = "script", "outbox"
GO_ON_AT = "X-Go-On-At"
SERVER_TIME = "X-Server-Time"
TOUCHED_AT = "X-Touched-At"
TOUCHED_BY = "X-Touched-By"
SENT_BEFORE = "X-Sent-Before"
STORED_BEFORE = "X-Stored-Before"
SEE_OTHER, REFUSED, FAILED = 303, 400, 500

_touched_at: ContextVar[datetime | None] = ContextVar("touched_at", default=None)

IsStored = Callable[[Any, str, str], bool]
"""Of a store, a room and the key of a form: whether it was carried out."""


def touched_at(now: datetime) -> datetime:
    """When the form of this request was touched; `now` where it came without a script.

    Never in the future: a page hears the server's time late, never early, unless the server's own
    clock was set back since.
    """
    touched = _touched_at.get()
    return now if touched is None else min(touched, now)


class ScriptForms:
    """Answers forms sent by script in their own way; `is_stored` looks for what came before."""

    def __init__(self, app: ASGIApp, is_stored: IsStored) -> None:
        self.app = app
        self.is_stored = is_stored

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = Headers(scope=scope) if scope["type"] == "http" else Headers()
        is_program = str(scope.get("path", "")).startswith(PROGRAMS)
        note_waited(asked.get(ASKED_BY) == OUTBOX and not is_program)
        if asked.get(ASKED_BY) not in (SCRIPT, OUTBOX):
            await self.app(scope, receive, send)
            return
        state = scope["app"].state
        is_told = False

        async def answer(message: Message) -> None:
            nonlocal is_told
            if is_told:
                return
            if message["type"] == "http.response.start":
                if await self._was_stored(scope, asked, message["status"]):
                    is_told = True
                    await _tell_stored(send)
                    return
                _for_script(message, is_later=asked[ASKED_BY] == OUTBOX)
                MutableHeaders(scope=message)[SERVER_TIME] = state.clock().isoformat()
            await send(message)

        _touched_at.set(_moment(asked.get(TOUCHED_AT, "")))
        await self.app(scope, receive, answer)

    async def _was_stored(self, scope: Scope, asked: Headers, status: int) -> bool:
        """Whether a form that is refused now was carried out before, and only its answer lost."""
        key, parts = asked.get(SENT_BEFORE, ""), scope["path"].split("/")
        if not key or not REFUSED <= status < FAILED or parts[1:2] != ["rooms"] or len(parts) < 3:
            return False
        return await run_in_threadpool(self.is_stored, scope["app"].state.store, parts[2], key)


def _for_script(message: Message, *, is_later: bool) -> None:
    headers = MutableHeaders(scope=message)
    if message["status"] == SEE_OTHER:
        headers[GO_ON_AT] = headers["Location"]
        del headers["Location"]
        message["status"] = 200
    if is_later:
        del headers["Set-Cookie"]


async def _tell_stored(send: Send) -> None:
    headers = [(STORED_BEFORE.lower().encode(), b"yes"), (b"content-length", b"0")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


def _moment(text: str) -> datetime | None:
    """An instant as a page's script writes it; None where there is none that could be."""
    try:
        at = datetime.fromisoformat(text)
        return at.astimezone(UTC) if at.tzinfo else None
    except (ValueError, OverflowError):  # on a calendar that ends before the day begins in UTC
        return None
