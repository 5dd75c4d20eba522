"""Whose word a form is: the signed-in person's, with others' by their own PIN.

One place for all forms: what a form says under another name is asked about, and whoever it names as
agreeing is asked for their PIN, before any page takes it. What was typed goes along in the page.
"""

import asyncio
from urllib.parse import unquote

from starlette.requests import Request
from starlette.responses import Response

from app.domain.errors import Conflict, TooSoon
from app.domain.people.actors import Actor
from app.services.people.signing import confirms, has_account
from app.services.signatures import AGREEING
from app.store.acting import acting, name_lead, vouch
from app.web.people.asking import confirm_page, renamed_page
from app.web.people.sessions import client_of
from app.web.sending import TOUCHED_BY

PIN_OF = "pin_of_"
AS_LEAD = "as_lead"
"""The field that says which lead does what a form says, where nobody signs in."""


class Interrupted(Exception):
    """A page of its own comes first."""

    def __init__(self, answer: Response) -> None:
        super().__init__()
        self.answer = answer


async def own_word(
    request: Request, typed: dict[str, str], *, has_files: bool = False
) -> dict[str, str]:
    """What was typed, as the signed-in person's word; as it is where nobody signs in.

    Raises:
        Interrupted: it bears another name, or somebody who is named has not confirmed it.
        Conflict: it bears another name, and files came along, which no page can carry on.
    """
    pins = {field: typed.pop(PIN_OF + field, None) for field in AGREEING}
    name_lead(typed.pop(AS_LEAD, "").strip())
    actor = acting()
    if actor is None:
        if other := typed.get("by_other", "").strip():
            typed["by"] = other  # typed beside the tiles of the people, it counts before them
        return typed
    touched_by = unquote(request.headers.get(TOUCHED_BY, ""))  # of what waited on the tablet
    other = typed.pop("by_other", "").strip()
    was = other or typed.get("by", "").strip() or touched_by.strip()
    if was and was != actor.name:
        if has_files:
            raise Conflict(
                f"You are signed in as {actor.name}. {was[:80]} filled this in: they sign in and "
                "send it. Nothing was stored."
            )
        mine = {**typed, "by": actor.name}
        raise Interrupted(
            await asyncio.to_thread(renamed_page, request, mine, was[:80], actor.name)
        )
    if "by" in typed:
        typed["by"] = actor.name
    await _confirm(request, actor, typed, pins)
    return typed


async def _confirm(
    request: Request, actor: Actor, typed: dict[str, str], pins: dict[str, str | None]
) -> None:
    asked: list[tuple[str, str]] = []
    errors: dict[str, str] = {}
    confirmed: set[str] = set()
    for field in AGREEING:
        name, pin = typed.get(field, "").strip(), pins[field]
        if name in ("", actor.name, *confirmed):
            continue
        if not await asyncio.to_thread(has_account, request.app.state.store, name):
            continue  # the rules say who may be named
        if pin is not None:
            errors[field] = await asyncio.to_thread(_wrong, request, name, pin)
        if pin is not None and not errors[field]:
            confirmed.add(name)
        else:
            asked.append((field, name))
    if asked:
        raise Interrupted(await asyncio.to_thread(confirm_page, request, typed, asked, errors))
    for name in confirmed:
        vouch(name)


def _wrong(request: Request, name: str, pin: str) -> str:
    """What is wrong with somebody's word; empty where it is theirs."""
    state = request.app.state
    try:
        is_theirs = confirms(state.store, name, pin, client_of(request), state.clock())
    except TooSoon as error:
        return str(error)
    return "" if is_theirs else "That is not right. Try again."
