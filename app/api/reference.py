"""The API's description as a page to read: plain HTML, made from the OpenAPI document."""

from html import escape
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

router = APIRouter(include_in_schema=False)


@router.get("/")
def reference(request: Request) -> HTMLResponse:
    """What the API can do."""
    return HTMLResponse(reference_page(request.app.openapi()))


def reference_page(document: dict[str, Any]) -> str:
    """The page of an OpenAPI document."""
    base = document["servers"][0]["url"]
    operations = [
        _operation(base + path, method.upper(), operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]
    models = [_model(name, schema) for name, schema in document["components"]["schemas"].items()]
    title = f"{escape(document['info']['title'])} API"
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title>'
        f"<h1>{title}</h1><p>{escape(document['info']['description'])}</p>"
        f'<p>For programs: <a href="{escape(base)}/v1/openapi.json">OpenAPI 3.1</a>.</p>'
        f"<h2>Requests</h2>{''.join(operations)}<h2>Models</h2>{''.join(models)}</html>"
    )


def _operation(path: str, method: str, operation: dict[str, Any]) -> str:
    rows = [
        (parameter["name"], parameter["in"], parameter.get("description", ""))
        for parameter in operation.get("parameters", ())
        if parameter["in"] != "path"
    ]
    body = operation.get("requestBody", {}).get("content", {})
    sent = [f"<p>Body: {_kind_of(content['schema'])}</p>" for content in body.values()]
    got = [
        f"<p>Answer {status}: {_kind_of(content['schema'])}</p>"
        for status, answer in operation["responses"].items()
        if status.startswith("2")
        for content in answer.get("content", {}).values()
    ]
    about = escape(operation.get("description", ""))
    return f"<h3>{method} {escape(path)}</h3><p>{about}</p>{_table(rows)}{''.join(sent + got)}"


def _model(name: str, schema: dict[str, Any]) -> str:
    required = schema.get("required", ())
    rows = []
    for field, about in schema.get("properties", {}).items():
        kind = _kind_of(about) + ("" if field in required else ", optional")
        rows.append((field, kind, about.get("description", "")))
    text = escape(schema.get("description", ""))
    return f'<h3 id="{escape(name)}">{escape(name)}</h3><p>{text}</p>{_table(rows, is_html=True)}'


def _table(rows: list[tuple[str, str, str]], is_html: bool = False) -> str:
    lines = [
        f"<tr><td>{escape(name)}</td><td>{kind if is_html else escape(kind)}</td>"
        f"<td>{escape(about)}</td></tr>"
        for name, kind, about in rows
    ]
    return f"<table>{''.join(lines)}</table>" if lines else ""


def _kind_of(schema: dict[str, Any]) -> str:
    """What a schema allows, in few words; its parts linked to their own descriptions."""
    if "$ref" in schema:
        name = escape(schema["$ref"].rsplit("/", 1)[-1])
        return f'<a href="#{name}">{name}</a>'
    for word in ("anyOf", "oneOf"):
        if word in schema:
            return " or ".join(_kind_of(item) for item in schema[word])
    if "const" in schema:
        return escape(str(schema["const"]))
    if "enum" in schema:
        return escape(", ".join(str(item) for item in schema["enum"]))
    if schema.get("type") == "array":
        return f"list of {_kind_of(schema.get('items', {}))}"
    kind = escape(str(schema.get("format", schema.get("type", "any"))))
    bounds = [f"{schema[word]:g}" for word in ("minimum", "maximum") if word in schema]
    return f"{kind} {' to '.join(bounds)}".strip()
