"""Whether who is signed in may do what a route does: one dependency on all pages."""

from starlette.requests import Request

from app.domain.errors import NotAllowed
from app.domain.people.permissions import ANYBODY, action_at, refusal_of
from app.store.acting import acting
from app.web.people.sessions import sign_in_of


async def permitted(request: Request) -> None:
    """Let through what the table of permissions allows.

    Raises:
        NotAllowed: it does not; an address that the table does not name is refused to everybody.
    """
    if not sign_in_of(request).is_on:
        return
    action, actor = action_at(request.method, request.scope["route"].path), acting()
    if action == ANYBODY:
        return
    if action is None or actor is None:
        raise NotAllowed("Nobody may do this here.")
    if not actor.may(action):
        raise NotAllowed(refusal_of(actor.role, action))
