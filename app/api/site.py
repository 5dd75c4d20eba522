"""Where the API stands: at /api, built when it is first asked for."""

import re
from importlib import import_module

from fastapi import FastAPI
from starlette.routing import Mount
from starlette.types import ASGIApp, Receive, Scope, Send


class Deferred:
    """The API, built at the first request: its models take a quarter of a second to make, which
    no page needs to wait for."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._api: ASGIApp | None = None

    @property
    def api(self) -> ASGIApp:
        """The API itself."""
        if self._api is None:
            self._api = import_module("app.api.application").build(self._app.state)
        return self._api

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        await self.api(scope, receive, send)


def install(app: FastAPI) -> None:
    """Mount the API at /api, on the same database and clock as the pages."""
    mount = Mount("/api", Deferred(app), name="api")
    # Also addresses with a line break in them are the API's to refuse.
    mount.path_regex = re.compile(mount.path_regex.pattern, re.DOTALL)
    app.routes.append(mount)
