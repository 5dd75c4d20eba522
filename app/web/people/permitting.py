"""Whether who is signed in may do what a route does: asked around every route of a page."""

from collections.abc import Iterable

from fastapi.routing import APIRoute
from starlette.requests import Request
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Receive, Scope, Send

from app.domain.errors import NotAllowed
from app.domain.people.permissions import ANYBODY, action_at, refusal_of
from app.store.acting import acting
from app.web.people.sessions import sign_in_of


class Permitted:
    """A route behind the table of permissions, as Starlette puts a middleware around one."""

    def __init__(self, app: ASGIApp, path: str) -> None:
        self.app, self.path = app, path

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through what the table allows.

        Raises:
            NotAllowed: it does not; an address that it does not name is refused to everybody.
        """
        if sign_in_of(Request(scope)).is_on:
            _require(scope["method"], self.path)
        await self.app(scope, receive, send)


def permit(routes: list[BaseRoute]) -> Iterable[BaseRoute]:
    """The routes, each behind the table: once, however many applications they stand in."""
    for route in routes:
        if isinstance(route, APIRoute) and not isinstance(route.app, Permitted):
            route.app = Permitted(route.app, route.path)
    return routes


def _require(method: str, path: str) -> None:
    action, actor = action_at(method, path), acting()
    if action == ANYBODY:
        return
    if action is None or actor is None:
        raise NotAllowed("Nobody may do this here.")
    if not actor.may(action):
        raise NotAllowed(refusal_of(actor.role, action))
