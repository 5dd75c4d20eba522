"""Pages that ask who is there: the tiles, the keys of a PIN, a second person's word."""

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from app.domain.people.permissions import MANAGER
from app.store import people
from app.store.people_tables import AccountRow
from app.store.sessions import reading
from app.web.people.sessions import sign_in_of
from app.web.people.typed import Kept, kept_of
from app.web.render import page

ROLE_WORDS = {
    "screen": "Screen, only shows",
    "technician": "Technician",
    "lead": "Lead",
    "manager": "Manager",
}


async def ask_to_sign_in(request: Request, *, back: str, status: int = 401) -> Response:
    """The tiles, with what was typed kept for after."""
    kept = await kept_of(request)
    said = "You are not signed in, or were away too long. Choose your name."
    if kept is not None:
        said = "You are not signed in, or were away too long. Sign in. What you typed is kept."
    return await asyncio.to_thread(
        tiles_page, request, back=back, kept=kept, status=status, said=said
    )


def tiles_page(
    request: Request, *, back: str, kept: Kept | None = None, status: int = 200, said: str = ""
) -> Response:
    """Whose tile it is."""
    with reading(request.app.state.store) as session:
        known = [one for one in people.accounts(session) if one.id is not None]
        has_manager = people.has_manager(session)
    context = {
        "people": known, "back": back, "kept": kept.text if kept else "", "said": said,
        "has_manager": has_manager, "roles": ROLE_WORDS,
        "has_code": bool(sign_in_of(request).code_digest),
    }  # fmt: skip
    return shown(request, "people/tiles.html", context, status)


def keys_page(
    request: Request, who: AccountRow, *, back: str, kept: str = "", error: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    """The keys for somebody's PIN, or the field for a manager's password."""
    context = {
        "who": who, "is_password": who.role == MANAGER, "back": back, "kept": kept, "error": error,
    }  # fmt: skip
    return shown(request, "people/keys.html", context, status)


def confirm_page(
    request: Request, typed: Mapping[str, str], asked: Sequence[tuple[str, str]],
    errors: Mapping[str, str], status: int = 422,
) -> Response:  # fmt: skip
    """Ask those who agree for their own PIN; what was typed goes along."""
    context = {"typed": typed, "asked": asked, "errors": errors, "to": request.url.path}
    return shown(request, "people/confirm.html", context, status)


def renamed_page(request: Request, typed: Mapping[str, str], was: str, name: str) -> Response:
    """Ask whether what was typed under another name is to be sent under one's own."""
    context = {"typed": typed, "was": was, "name": name, "to": request.url.path}
    return shown(request, "people/renamed.html", context, 422)


def shown(
    request: Request, template: str, context: Mapping[str, Any], status: int = 200
) -> Response:
    """A page without a room."""
    answer = page(request, template, context)
    answer.status_code = status
    return answer
