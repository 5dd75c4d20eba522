"""Whether the token that a program sent lets it do what a route does."""

from collections.abc import Iterable

from fastapi.routing import APIRoute
from starlette.routing import BaseRoute
from starlette.types import ASGIApp, Receive, Scope, Send

from app.domain.errors import NotAllowed
from app.domain.people.permissions import action_at, refusal_of
from app.store.acting import acting


class Permitted:
    """A route behind the table of permissions, as Starlette puts a middleware around one."""

    def __init__(self, app: ASGIApp, path: str) -> None:
        self.app, self.path = app, f"/api{path}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through what the table allows.

        Raises:
            NotAllowed: it does not; an address that it does not name is refused to everybody.
        """
        if scope["app"].state.sign_in.is_on:
            action, actor = action_at(scope["method"], self.path), acting()
            if action is None or actor is None:
                raise NotAllowed("Nobody may do this here.")
            if not actor.may(action):
                raise NotAllowed(refusal_of(actor.role, action))
        await self.app(scope, receive, send)


def permit(routes: Iterable[BaseRoute]) -> None:
    """Put the routes behind the table: once, however many applications they stand in."""
    for route in routes:
        if isinstance(route, APIRoute) and not isinstance(route.app, Permitted):
            route.app = Permitted(route.app, route.path)
