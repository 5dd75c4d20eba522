"""Errors as pages: what went wrong, in words, and the way back; never a trace."""

import logging
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response

from app.domain.errors import (
    Conflict,
    DomainError,
    LeadNeeded,
    NotAllowed,
    NotFound,
    OutOfSpace,
    TooSoon,
    Unavailable,
)
from app.store.troubles import explained
from app.web.deps import SAFE_METHODS
from app.web.people.agreeing import Interrupted
from app.web.people.typed import kept_of
from app.web.render import page

_log = logging.getLogger(__name__)
_STATUS: tuple[tuple[type[DomainError], int], ...] = (
    (NotFound, 404), (Conflict, 409), (NotAllowed, 403), (TooSoon, 429), (OutOfSpace, 507),
    (Unavailable, 503),
)  # fmt: skip
_WORDS = {
    404: "There is nothing at this address.",
    405: "This address does not accept that.",
    413: "This is larger than the limit. Nothing was stored.",
}


def status_of(error: DomainError) -> int:
    """The HTTP status that fits a broken rule."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 422)


def install(app: FastAPI) -> None:
    """Answer every error that a page route lets through."""

    @app.exception_handler(Interrupted)
    def interrupted(_: Request, error: Interrupted) -> Response:
        return error.answer

    @app.exception_handler(NotAllowed)
    async def not_allowed(request: Request, error: NotAllowed) -> Response:
        kept = await kept_of(request)
        back = request.url.path if request.method in SAFE_METHODS else "/"
        context = {"message": str(error), "kept": kept.text if kept else "", "back": back}
        answer = page(request, "people/not_allowed.html", context)
        answer.status_code = 403
        return answer

    app.add_exception_handler(LeadNeeded, _ask_for_lead)
    app.add_exception_handler(ClientDisconnect, _left)

    @app.exception_handler(DomainError)
    def domain_error(request: Request, error: DomainError) -> Response:
        answer = error_page(request, status_of(error), str(error))
        if isinstance(error, TooSoon):
            answer.headers["Retry-After"] = str(error.retry_after_s)
        return answer

    @app.exception_handler(Unavailable)
    @app.exception_handler(SQLAlchemyError)
    @app.exception_handler(OSError)
    def unavailable(request: Request, error: Exception) -> Response:
        if (trouble := explained(error)) is None:
            raise error
        _log.warning("%s %s: %s", request.method, request.url.path, error)
        is_read = request.method in SAFE_METHODS
        again = {
            "again": request.url.path + (f"?{request.url.query}" if request.url.query else ""),
            "typed": None if is_read else getattr(request.state, "typed", None),
            "is_read": is_read,
        }
        said = f"{trouble}{'' if is_read else ' Nothing was stored.'}"
        answer = page(request, "unavailable.html", {"message": said, **again})
        answer.status_code = status_of(trouble)
        answer.headers["Retry-After"] = str(trouble.retry_after_s)
        return answer

    @app.exception_handler(RequestValidationError)
    def bad_request(request: Request, _: RequestValidationError) -> Response:
        return error_page(request, 404, _WORDS[404])

    @app.exception_handler(HTTPException)
    def http_error(request: Request, error: HTTPException) -> Response:
        answer = error_page(request, error.status_code, _WORDS.get(error.status_code, error.detail))
        answer.headers.update(error.headers or {})
        return answer

    @app.exception_handler(Exception)
    def unexpected(request: Request, _: Exception) -> Response:
        return error_page(
            request, 500, "Something went wrong here. Nothing was stored. Try again in a moment."
        )


def _left(_: Request, __: Exception) -> Response:
    """Nobody reads this answer: a tablet lost its Wi-Fi as it sent, which is no fault."""
    return Response(status_code=400)


def _ask_for_lead(request: Request, error: Exception) -> Response:
    """Which lead does it; what was typed goes along."""
    assert isinstance(error, LeadNeeded)
    typed = getattr(request.state, "typed", None)
    came_from = urlsplit(request.headers.get("referer", "")).path or "/"
    to = {"to": request.url.path, "back": came_from}
    context = {"leads": error.leads, "typed": typed, **to}
    answer = page(request, "people/lead.html", context)
    answer.status_code = 422
    return answer


def error_page(request: Request, status: int, message: str) -> Response:
    """The error page, with the given status."""
    response = page(request, "error.html", {"status": status, "message": message})
    response.status_code = status
    return response
