"""How the pages come into the application: all at once, or most of them when they are asked for.

A start imports what the room page needs; the other pages come with the first request that is none
of its own. They take a third of a start and of its memory, and a tablet on the wall may never
ask for one.

Routes stand in the application as they are. `include_router` would work out what each of them asks
for a second time, at the first request that comes by it, and for each application anew.
"""

import asyncio
from importlib import import_module

from fastapi import FastAPI
from starlette.routing import BaseRoute, Match
from starlette.types import Receive, Scope, Send

from app.web import errors, health
from app.web.people.permitting import permit
from app.web.render import ASSETS
from app.web.rooms import board, rooms

FIRST = (health, rooms, board)


def install(app: FastAPI, are_deferred: bool) -> None:
    """Mount the static files and the pages, or only the first ones where the rest is deferred."""
    app.mount("/static", ASSETS)
    for task in FIRST:
        app.router.routes += permit(task.router.routes)
    if are_deferred:
        app.router.routes.append(Rest(app))
    else:
        install_rest(app)
    errors.install(app)


def install_rest(app: FastAPI) -> None:
    """Add the pages of every other task."""
    for task in import_module("app.web.pages").PAGES:
        if task not in FIRST:
            app.router.routes += permit(task.router.routes)


class Rest(BaseRoute):
    """Stands behind all routes: whoever comes this far brings the rest of the pages in."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._lock = asyncio.Lock()

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Take every request; while the pages come in, those that ask meanwhile wait."""
        return (Match.FULL if scope["type"] == "http" else Match.NONE), {}

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Bring the pages in, once, and let them answer."""
        async with self._lock:
            if self in self._app.router.routes:
                await asyncio.to_thread(import_module, "app.web.pages")
                self._app.router.routes.remove(self)
                install_rest(self._app)
        await self._app.router(scope, receive, send)
