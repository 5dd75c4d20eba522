"""Templates to answers: whole pages, or one block of a page for a change in place."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from app.web.filters import FILTERS

ROOT = Path(__file__).parent.parent.parent


def page(request: Request, template: str, context: Mapping[str, Any]) -> Response:
    """A whole page."""
    shared = {"path": request.url.path}
    return HTMLResponse(ENVIRONMENT.get_template(template).render({**shared, **context}))


def fragment(request: Request, template: str, block: str, context: Mapping[str, Any]) -> Response:
    """One block of a page, as it stands in the page."""
    found = ENVIRONMENT.get_template(template)
    made = found.new_context({"path": request.url.path, **context})
    return HTMLResponse("".join(found.blocks[block](made)))


def wants_fragment(request: Request) -> bool:
    """Whether a script on the page asks, and not the browser for a new page."""
    return request.headers.get("hx-request") == "true"


def vendored() -> dict[str, dict[str, str]]:
    """The files of others that pages load: address and integrity by file name."""
    listed = tomllib.loads((ROOT / "static/vendor/VENDORED.toml").read_text("utf-8"))
    return {
        name: {"address": f"/static/vendor/{package['folder']}/{name}", "integrity": sha384}
        for package in listed["package"]
        for name, sha384 in package["files"].items()
    }


def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(ROOT / "templates"),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters.update(FILTERS)
    environment.globals["vendored"] = vendored()
    return environment


ENVIRONMENT = _environment()
