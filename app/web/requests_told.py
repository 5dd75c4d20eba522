"""Each request by an id of its own, and a line in the log once it is answered."""

import re
import time
import uuid

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.logged import TOLD, are_requests_told, request_id, tell_request
from app.web.measuring import STATIC, UNMATCHED

HEADER = "X-Request-Id"
GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")
"""What a proxy may call a request."""
ROOM = re.compile(r"/(?:api/v1/)?(?:rooms|q)/([a-z0-9-]{1,64})(?=/|$)")


class RequestsTold:
    """Names each request, to its answer and to all that is logged while it is answered."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope).get(HEADER, "")
        name = given if GIVEN.fullmatch(given) else uuid.uuid4().hex
        # Left as it is: the server logs what fails behind us, in this request's own task.
        request_id.set(name)
        told: dict[str, str] = {}
        start_s, status = time.perf_counter(), 500

        async def send_named(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = name
            await send(message)

        try:
            await self.app({**scope, TOLD: told}, receive, send_named)
        finally:
            if are_requests_told() and not scope["path"].startswith(f"{STATIC}/"):
                passed_ms = round(1000 * (time.perf_counter() - start_s), 1)
                tell_request(_about(scope, told, status, passed_ms))


def _about(scope: Scope, told: dict[str, str], status: int, passed_ms: float) -> dict[str, object]:
    """What is said of a request: its route's template, never its address or what it brought."""
    route = told.get("route", UNMATCHED)
    about: dict[str, object] = {
        "method": scope["method"][:16], "route": route, "status": status, "duration_ms": passed_ms,
    }  # fmt: skip
    room = ROOM.match(scope["path"]) if "{room}" in route else None
    if room is not None:
        about["room"] = room[1]
    if "role" in told:
        about["role"] = told["role"]
    return about
