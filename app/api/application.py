"""The JSON API, put together: one line for each part."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from starlette.datastructures import State

from app.api import problems, reference
from app.api.permitting import permit
from app.api.v1 import (
    books,
    course,
    cures,
    deletions,
    entries,
    forecasts,
    imports,
    instruments,
    litres,
    part_lots,
    plan,
    preview,
    rejects,
    resins,
    rooms,
    storage,
    tanks,
    transfer,
)

PARTS = (
    rooms, deletions, tanks, course, instruments, resins, entries, preview, rejects, forecasts,
    books, plan, storage, cures, litres, part_lots, transfer, imports,
)  # fmt: skip
OPENAPI_PATH = "/v1/openapi.json"
ABOUT = (
    "Everything that the pages can do. Units are in the names: `_l` litres, `_g` grams, `_percent` "
    "mass percent. Times are RFC 3339 with an offset. Errors are problem details (RFC 9457)."
)
PROBLEMS = {
    400: "The body is not JSON.",
    401: "People sign in on this site, and no valid token was sent.",
    403: "The token's role may not do this.",
    404: "There is no such room, tank or entry, or nothing of the key that narrows a list.",
    409: "It contradicts what is stored.",
    413: "The body is too large.",
    415: "The Content-Type is not JSON.",
    422: "Some values do not fit. `errors` has one message per field.",
    500: "Something went wrong here.",
    503: "The database is busy or unavailable; `Retry-After` says when to try again.",
    507: "There is no space left to store anything.",
}
ETAGS = r'^(\*|"[!#-~]*"(, *"[!#-~]*")*)$'
"""What `If-Match` may say (RFC 9110, sections 8.8.3 and 13.1.1)."""
WITHOUT_BODY = (401, 403, 404, 422, 500, 503, 507)


class Api(FastAPI):
    """The API with its own description: problem details instead of the framework's errors."""

    def openapi(self) -> dict[str, Any]:
        """The OpenAPI 3.1 document."""
        if not self.openapi_schema:
            document = get_openapi(
                title=self.title, version="1", description=ABOUT, routes=self.routes
            )
            document["servers"] = [{"url": f"{self.state.settings.at}/api"}]
            _describe_problems(document)
            self.openapi_schema = document
        return self.openapi_schema


def build(state: State) -> Api:
    """The API on the database and clock of the pages."""
    api = Api(
        title="Bathkeeper",
        openapi_url=OPENAPI_PATH,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        root_path_in_servers=False,
    )
    api.state = state
    for part in (*PARTS, reference):
        permit(part.router.routes)
        api.router.routes += part.router.routes  # as app.web.serving does
    problems.install(api)
    return api


def _describe_problems(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    described = problems.Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= {**described.pop("$defs"), "Problem": described}
    for methods in document["paths"].values():
        for operation in methods.values():
            _describe_answers(operation)


def _describe_answers(operation: dict[str, Any]) -> None:
    answers = operation["responses"]
    content = {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for status, text in PROBLEMS.items():
        if "requestBody" in operation or status in WITHOUT_BODY:
            answers[str(status)] = {"description": text, "content": content}
    names = {parameter["name"].lower() for parameter in operation.get("parameters", ())}
    if "if-none-match" in names:
        answers["304"] = {"description": "What you have is still right."}
    for parameter in operation.get("parameters", ()):
        if parameter["name"].lower() == "if-match":  # its own answers tell what it is not
            parameter |= {"required": True, "schema": {"type": "string", "pattern": ETAGS}}
    if "if-match" in names:
        answers["412"] = {"description": "It has changed since you read it.", "content": content}
        answers["428"] = {"description": "There is no `If-Match`.", "content": content}
    if "idempotency-key" in names:
        answers["200"] = {**answers["201"], "description": "It was stored before."}
