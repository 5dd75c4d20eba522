"""Templates to answers: whole pages, or one block of a page for a change in place."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from app.web.assets import Assets
from app.web.filters import FILTERS

ROOT = Path(__file__).parent.parent.parent
ASSETS = Assets(ROOT / "static")
THEMES = ("dark", "light")


def page(request: Request, template: str, context: Mapping[str, Any]) -> Response:
    """A whole page."""
    shared = {"path": request.url.path, "theme": theme_of(request)}
    return _html(ENVIRONMENT.get_template(template).render({**shared, **context}))


def fragment(request: Request, template: str, block: str, context: Mapping[str, Any]) -> Response:
    """One block of a page, as it stands in the page."""
    found = ENVIRONMENT.get_template(template)
    made = found.new_context({"path": request.url.path, **context})
    return _html("".join(found.blocks[block](made)))


def _html(text: str) -> Response:
    """Text as an answer; what no UTF-8 carries, such as half of a surrogate pair, is a “?”."""
    return HTMLResponse(text.encode("utf-8", "replace"))


def wants_fragment(request: Request) -> bool:
    """Whether a script on the page asks, and not the browser for a new page."""
    return request.headers.get("hx-request") == "true"


def theme_of(request: Request) -> str:
    """The theme that was chosen on this device; empty where its system's goes."""
    theme = request.cookies.get("theme", "")
    return theme if theme in THEMES else ""


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
    environment.globals["asset"] = ASSETS.address
    return environment


ENVIRONMENT = _environment()
