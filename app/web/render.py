"""Templates to answers: whole pages, or one block of a page for a change in place."""

import hashlib
import sys
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from starlette.responses import HTMLResponse, Response

from app.store.acting import acting
from app.web.assets import Assets
from app.web.below import page_below, site_path
from app.web.filters import FILTERS
from app.web.menu import GROUPS
from app.web.unbroken import unbroken

ROOT = Path(__file__).parent.parent.parent
ASSETS = Assets(ROOT / "static")
THEMES = ("light", "dark", "sun")


def page(request: Request, template: str, context: Mapping[str, Any]) -> Response:
    """A whole page."""
    at = site_path(request)
    shared = {
        "path": request.url.path, "theme": theme_of(request), "sign_in": _sign_in_of(request),
        "site_path": at,
    }  # fmt: skip
    return _html(ENVIRONMENT.get_template(template).render({**shared, **context}), at)


def fragment(request: Request, template: str, block: str, context: Mapping[str, Any]) -> Response:
    """One block of a page, as it stands in the page."""
    found = ENVIRONMENT.get_template(template)
    made = found.new_context({"path": request.url.path, "sign_in": _sign_in_of(request), **context})
    return _html("".join(found.blocks[block](made)), site_path(request))


def _sign_in_of(request: Request) -> Any:
    """Whether people sign in here, for what every page says of it."""
    return request.app.state.sign_in


def _html(text: str, at: str) -> Response:
    """Text as an answer: figures keep to their units, and what no UTF-8 carries, such as half of a
    surrogate pair, is a “?”.
    """
    return HTMLResponse(page_below(at, unbroken(text)).encode("utf-8", "replace"))


def wants_fragment(request: Request) -> bool:
    """Whether a script on the page asks, and not the browser for a new page."""
    return request.headers.get("hx-request") == "true"


def theme_of(request: Request) -> str:
    """The theme that was chosen on this device; empty where its system's goes."""
    theme = request.cookies.get("theme", "")
    return theme if theme in THEMES else ""


class _Compiled(FileSystemBytecodeCache):
    """Templates as compiled by an earlier start, a tenth of the time of this one."""

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep one; a full or locked disk is no reason not to show the page."""
        with suppress(OSError):
            super().dump_bytecode(bucket)


def _compiled() -> _Compiled | None:
    """In the project's own environment, where compiled packages are too; None where that is shut.

    What this file sets up for the templates is part of how they are compiled.
    """
    if sys.prefix == sys.base_prefix:
        return None
    folder = Path(sys.prefix) / "compiled-templates"
    try:
        folder.mkdir(exist_ok=True)
        made_by = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:16]
    except OSError:
        return None
    return _Compiled(str(folder), f"%s-{made_by}")


def _environment() -> Environment:
    environment = Environment(
        bytecode_cache=_compiled(),
        loader=FileSystemLoader(ROOT / "templates"),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters.update(FILTERS)
    environment.globals["asset"] = ASSETS.address
    environment.globals["signed_in"] = acting
    environment.globals["menu"] = GROUPS
    return environment


ENVIRONMENT = _environment()
