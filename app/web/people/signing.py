"""Signing in and out, quick switch, and the first manager."""

import hmac
import threading
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import Conflict, FieldError, FieldErrors, TooSoon
from app.domain.people.permissions import MANAGER
from app.incoming import NowDep, StoreDep
from app.services.people import accounts, signing
from app.services.people.hashing import digest_of
from app.services.people.throttling import tried
from app.store import people
from app.store.acting import acting
from app.store.people_tables import AccountRow
from app.store.sessions import reading
from app.web.forms import FormState
from app.web.people.asking import keys_page, shown, tiles_page
from app.web.people.sessions import client_of, device_in, forget, remember, sign_in_of, token_in
from app.web.people.typed import kept_from, local

router = APIRouter()
OFF = "people/off.html"
_ONE_AT_A_TIME = threading.Lock()


async def secret_values(request: Request) -> dict[str, str]:
    """The fields of a form with a secret: unlike others, never shown again."""
    form = await request.form(max_files=0, max_fields=20)
    return {name: value for name, value in form.items() if isinstance(value, str)}


SecretDep = Annotated[dict[str, str], Depends(secret_values)]


@router.get("/sign-in")
def choose(request: Request, store: StoreDep, who: str = "", back: str = "") -> Response:
    """The tiles; with `who` the keys for that person."""
    if not sign_in_of(request).is_on:
        return shown(request, OFF, {})
    found = _account(store, who)
    if found is not None:
        return keys_page(request, found, back=local(back))
    return tiles_page(request, back=local(back))


@router.post("/sign-in")
def sign_in(request: Request, store: StoreDep, now: NowDep, typed: SecretDep) -> Response:
    """Begin a session, or show the keys again with what is wrong."""
    _require_on(request)
    back, kept = local(typed.get("back", "")), kept_from(typed.get("kept", ""))
    kept_text = kept.text if kept else ""
    who = _account(store, typed.get("who", ""))
    if who is None or who.id is None:
        return tiles_page(request, back=back, kept=kept)
    secret = typed.get("secret")
    if secret is None:
        return keys_page(request, who, back=back, kept=kept_text)
    try:
        opened = signing.sign_in(
            store, who.id, secret, client_of(request), now, before=token_in(request),
            device=device_in(request),
        )  # fmt: skip
    except TooSoon as error:
        answer = keys_page(request, who, back=back, kept=kept_text, error=str(error), status=429)
        answer.headers["Retry-After"] = str(error.retry_after_s)
        return answer
    if opened is None:
        wrong = "That is not right. Try again."
        return keys_page(request, who, back=back, kept=kept_text, error=wrong, status=422)
    answer = _next(request, who, back, kept_text, must_change=opened.must_change)
    remember(request, answer, opened)
    return answer


def _next(
    request: Request, who: AccountRow, back: str, kept_text: str, *, must_change: bool
) -> Response:
    """Where somebody goes on: what they typed, the page they came from, or a PIN of their own."""
    kept = kept_from(kept_text)
    if must_change and kept is not None:
        return _own_page(request, who, FormState(), kept=kept_text)
    if must_change:
        return RedirectResponse("/own-secret", 303)
    if kept is not None:
        return shown(request, "people/kept.html", {"kept": kept, "name": who.name, "back": back})
    return RedirectResponse(back or "/", 303)


@router.post("/sign-out")
def sign_out(request: Request, store: StoreDep, now: NowDep) -> Response:
    """End the session of this browser."""
    _require_on(request)
    signing.sign_out(store, token_in(request), now)
    answer = RedirectResponse("/sign-in", 303)
    forget(request, answer)
    return answer


@router.get("/first-manager")
def first_manager_form(request: Request) -> Response:
    """The code of the terminal, a name and a password."""
    if not sign_in_of(request).is_on:
        return shown(request, OFF, {})
    return _first_page(request, FormState())


@router.post("/first-manager")
def first_manager(request: Request, store: StoreDep, now: NowDep, typed: SecretDep) -> Response:
    """Make the first manager, for whoever reads the code where the program was started."""
    _require_on(request)
    state, client = sign_in_of(request), client_of(request)
    name, secret = typed.get("name", ""), typed.get("secret", "")
    shown_again = FormState({"name": name})
    if not state.code_digest:
        raise Conflict("There is no code now. Start the program with --new-manager to get one.")
    given = digest_of(typed.get("code", "").strip().upper())
    try:
        with _ONE_AT_A_TIME:  # the code makes one manager, however many send it at once
            if not tried(
                store, None, client, now, lambda: hmac.compare_digest(given, state.code_digest)
            ):
                wrong = [
                    FieldError(
                        "code", "This is not the code that the terminal shows. Type it again."
                    )
                ]
                raise FieldErrors(wrong)
            number = accounts.make_first_manager(
                store, name, secret, client, now, is_another=state.is_another
            )
            state.code_digest, state.is_another = "", False
    except FieldErrors as error:
        return _first_page(request, FormState(shown_again.values, error.by_field()), 422)
    opened = signing.open_session(
        store, number, client, now, before=token_in(request), device=device_in(request)
    )
    answer = RedirectResponse("/people", 303)
    remember(request, answer, opened)
    return answer


@router.get("/own-secret")
def own_form(request: Request, store: StoreDep) -> Response:
    """Another PIN or password of one's own."""
    if not sign_in_of(request).is_on:
        return shown(request, OFF, {})
    return _own_page(request, _own(store), FormState())


@router.post("/own-secret")
def change_own(request: Request, store: StoreDep, now: NowDep, typed: SecretDep) -> Response:
    """Store it; all other sessions of that person end."""
    _require_on(request)
    who, client, kept = _own(store), client_of(request), kept_from(typed.get("kept", ""))
    if who is None or who.id is None:
        raise Conflict("A token has no PIN. A manager makes another one.")
    try:
        if typed.get("new", "") != typed.get("again", ""):
            raise FieldErrors([FieldError("again", "The two do not match. Type both again.")])
        accounts.change_own_secret(
            store, who.id, typed.get("old", ""), typed.get("new", ""), client, now
        )
    except FieldErrors as error:
        form = FormState({}, error.by_field())
        return _own_page(request, who, form, 422, kept.text if kept else "")
    opened = signing.open_session(
        store, who.id, client, now, before=token_in(request), device=device_in(request)
    )
    back = local(typed.get("back", ""))
    answer = _next(request, who, back, kept.text if kept else "", must_change=False)
    remember(request, answer, opened)
    return answer


def _own(store: StoreDep) -> AccountRow | None:
    actor = acting()
    with reading(store) as session:
        return None if actor is None else people.account_named(session, actor.name)


def _own_page(
    request: Request, who: AccountRow | None, form: FormState, status: int = 200, kept: str = ""
) -> Response:
    is_password = who is not None and who.role == MANAGER
    context = {"who": who, "form": form, "is_password": is_password, "kept": kept}
    return shown(request, "people/own.html", context, status)


def _first_page(request: Request, form: FormState, status: int = 200) -> Response:
    context = {"form": form, "has_code": bool(sign_in_of(request).code_digest)}
    return shown(request, "people/first.html", context, status)


def _account(store: StoreDep, who: str) -> AccountRow | None:
    if not (who.isascii() and who.isdecimal() and len(who) < 10):
        return None
    with reading(store) as session:
        found = people.account(session, int(who))
    return found if found is not None and found.left_at_us is None else None


def _require_on(request: Request) -> None:
    if not sign_in_of(request).is_on:
        raise Conflict("Sign-in is off here: names are taken on trust.")
