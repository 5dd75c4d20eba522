"""Errors as problem details (RFC 9457): one shape for whatever goes wrong."""

import json
import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import compile_path

from app.domain.errors import (
    Conflict,
    DomainError,
    Doubt,
    Doubtful,
    FieldError,
    FieldErrors,
    LeadNeeded,
    NotAllowed,
    NotFound,
    OutOfSpace,
    TooSoon,
    Unavailable,
)
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import KINDS, Reading
from app.services.acts.rooms import ChangedMeanwhile
from app.services.transaction import SubmissionReused
from app.store.troubles import explained

MEDIA_TYPE = "application/problem+json"
LONGEST_NAME = 200
READING = ("GET", "HEAD")

_log = logging.getLogger(__name__)

_STATUS: tuple[tuple[type[DomainError], int], ...] = (
    (NotFound, 404),
    (SubmissionReused, 422),
    (ChangedMeanwhile, 412),
    (Conflict, 409),
    (NotAllowed, 403),
    (TooSoon, 429),
    (OutOfSpace, 507),
    (Unavailable, 503),
)
_DETAILS = {
    404: "There is nothing at this address.",
    405: "This address does not accept that method.",
    413: "The body is larger than the limit. Nothing was stored.",
    500: "Something went wrong here. Nothing was stored. Try again in a moment.",
}
_MESSAGES = {
    "extra_forbidden": "There is no such field here.",
    "missing": "This is missing.",
}


class FieldProblem(BaseModel):
    """What is wrong with one value."""

    field: str = Field(description="Its name; in a batch, preceded by the entry's place from 0.")
    message: str


class Question(BaseModel):
    """What is asked before it is stored."""

    name: str = Field(description="Send it as `confirm` to answer yes.")
    message: str
    ways: list[str] = Field(description="What to do instead.")


class Problem(BaseModel):
    """A problem as RFC 9457 describes it."""

    type: str = Field(description="Always about:blank: the status says what kind it is.")
    title: str
    status: int
    detail: str
    errors: list[FieldProblem] | None = Field(default=None, description="One item per value.")
    questions: list[Question] | None = Field(
        default=None, description="The questions. Answer each by its name."
    )


class NotModified(Exception):
    """What the client has is still what it would get."""

    def __init__(self, etag: str) -> None:
        super().__init__(etag)
        self.etag = etag


class NoPrecondition(Exception):
    """A change does not say what it was based on."""


def problem(
    status: int,
    detail: str,
    errors: Sequence[tuple[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    questions: Sequence[Doubt] = (),
) -> Response:
    """The answer that says what is wrong; `errors` are pairs of field and message."""
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": sendable(detail),
    }
    if errors:
        content["errors"] = [
            {"field": sendable(field), "message": sendable(text)} for field, text in errors
        ]
    if questions:
        content["questions"] = [
            {"name": one.name, "message": sendable(one), "ways": list(one.ways)}
            for one in questions
        ]
    return Response(json.dumps(content), status, headers, media_type=MEDIA_TYPE)


def install(api: FastAPI) -> None:
    """Answer every error of the API's routes."""
    api.add_exception_handler(DomainError, _domain_error)
    for kind in (Unavailable, SQLAlchemyError, OSError):
        api.add_exception_handler(kind, _unavailable)
    api.add_exception_handler(RequestValidationError, _invalid)
    api.add_exception_handler(HTTPException, _http_error)
    api.add_exception_handler(NotModified, _not_modified)
    api.add_exception_handler(NoPrecondition, _no_precondition)
    api.add_exception_handler(Exception, _unexpected)


def _domain_error(request: Request, error: Exception) -> Response:  # noqa: ARG001
    assert isinstance(error, DomainError)
    if isinstance(error, Doubtful):
        asked = [one for one in error.doubts if isinstance(one, Doubt)]
        return problem(409, f"{error} Nothing was stored.", questions=asked)
    if isinstance(error, FieldErrors):
        return _unfit([(item.field, item.message) for item in error.errors])
    if isinstance(error, LeadNeeded):
        return _unfit([(error.field, str(error))])
    if isinstance(error, FieldError):
        return _unfit([(error.field, error.message)])
    wait = {"Retry-After": str(error.retry_after_s)} if isinstance(error, TooSoon) else None
    return problem(_status_of(error), str(error), headers=wait)


def _status_of(error: DomainError) -> int:
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 422)


def _unavailable(request: Request, error: Exception) -> Response:
    if (trouble := explained(error)) is None:
        raise error
    _log.warning("%s %s: %s", request.method, request.url.path, error)
    stored = "" if request.method in READING else " Nothing was stored."
    headers = {"Retry-After": str(trouble.retry_after_s)}
    return problem(_status_of(trouble), f"{trouble}{stored}", headers=headers)


def _invalid(request: Request, error: Exception) -> Response:  # noqa: ARG001
    assert isinstance(error, RequestValidationError)
    found = error.errors()
    if any(item["loc"][0] == "path" for item in found):
        return problem(404, _DETAILS[404])
    return _unfit([_field_problem(item) for item in found])


def _field_problem(item: Mapping[str, Any]) -> tuple[str, str]:
    field = _field_of(item["loc"])
    if item["type"].startswith("union_tag"):
        named = str(item["ctx"]["discriminator"]).strip("'")
        known = str(item["ctx"].get("expected_tags", "")).replace("'", "")
        message = f"This is not known. Known: {known}." if known else _MESSAGES["missing"]
        return named if field == "body" else f"{field}.{named}", message
    return field, _MESSAGES.get(item["type"], item["msg"])


def _unfit(errors: Sequence[tuple[str, str]]) -> Response:
    count = "One value needs" if len(errors) == 1 else f"{len(errors)} values need"
    return problem(422, f"{count} fixing. Nothing was stored.", errors[:100])


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    headers = dict(error.headers or {})
    if error.status_code == 405:
        headers["Allow"] = ", ".join(_allowed(request))
    is_plain = error.detail == HTTPStatus(error.status_code).phrase
    detail = _DETAILS.get(error.status_code, error.detail) if is_plain else error.detail
    return problem(error.status_code, detail, headers=headers)


def _not_modified(request: Request, error: Exception) -> Response:  # noqa: ARG001
    assert isinstance(error, NotModified)
    return Response(status_code=304, headers={"ETag": error.etag})


def _no_precondition(request: Request, error: Exception) -> Response:  # noqa: ARG001
    text = "Send the ETag of what you change as If-Match: read it first. Nothing was stored."
    return problem(428, text)


def _unexpected(request: Request, error: Exception) -> Response:  # noqa: ARG001
    return problem(500, _DETAILS[500])


def _allowed(request: Request) -> list[str]:
    """All methods of an address: the framework names only those of its first route."""
    path = request.scope["path"].removeprefix(request.scope.get("root_path", ""))
    found: set[str] = set()
    for template, operations in request.app.openapi()["paths"].items():
        if compile_path(template)[0].match(path):
            found |= {method.upper() for method in operations}
    found |= {"HEAD"} if "GET" in found else set()
    return sorted(found)


def _field_of(location: Sequence[Any]) -> str:
    """The name of a value from where it stood, without the tags of its kind of entry."""
    source, *parts = location
    if source == "body":
        place = 2 if parts[:1] == ["entries"] else 0
        tags = _tags(parts[place:])
        del parts[place : place + tags]
    return ".".join(str(part)[:LONGEST_NAME] for part in parts) or str(location[0])


def _tags(parts: Sequence[Any]) -> int:
    """How many of the parts say which kind of entry it is, and which instrument."""
    if not parts or parts[0] not in KINDS:
        return 0
    return 2 if parts[0] == Reading.kind and parts[1:2] and parts[1] in INSTRUMENTS else 1


def sendable(text: str) -> str:
    """Text without halves of surrogate pairs, which no UTF-8 can carry."""
    return text.encode("utf-8", "replace").decode()
