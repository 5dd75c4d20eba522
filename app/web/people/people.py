"""Looking after who signs in: people, roles, new PINs, sessions, tokens of programs."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import Conflict, DomainError, FieldErrors, NotFound
from app.domain.people.permissions import ROLES
from app.incoming import NowDep, StoreDep
from app.services.people import accounts, tokens
from app.services.people.throttling import Client
from app.store import people as reads
from app.store.acting import acting
from app.store.engine import Store
from app.store.instants import from_us
from app.store.people_tables import SignInRow
from app.store.sessions import reading
from app.web.forms import FormState
from app.web.people.asking import ROLE_WORDS, shown
from app.web.people.sessions import client_of, sign_in_of
from app.web.people.signing import OFF, SecretDep

router = APIRouter(prefix="/people")
TEMPLATE = "people/people.html"


@router.get("")
def everybody(request: Request, store: StoreDep, now: NowDep) -> Response:
    """Who signs in here, as what, and from where."""
    if not sign_in_of(request).is_on:
        return shown(request, OFF, {})
    return _page(request, store, now)


@router.post("")
def add(request: Request, store: StoreDep, now: NowDep, typed: SecretDep) -> Response:
    """Let somebody sign in."""
    by = _by(request)
    try:
        accounts.add(
            store, typed.get("name", ""), typed.get("role", ""), typed.get("secret", ""), by,
            client_of(request), now,
        )  # fmt: skip
    except FieldErrors as error:
        form = FormState(_open_values(typed), error.by_field())
        return _page(request, store, now, new=form, status=422)
    return RedirectResponse("/people", 303)


@router.post("/tokens")
def make_token(request: Request, store: StoreDep, now: NowDep, typed: SecretDep) -> Response:
    """Make a token and show it, this once."""
    by = _by(request)
    try:
        text = tokens.make_token(
            store, typed.get("name", ""), typed.get("role", ""), by, client_of(request), now
        )
    except FieldErrors as error:
        form = FormState(_open_values(typed), error.by_field())
        return _page(request, store, now, token=form, status=422)
    return _page(request, store, now, made=(typed.get("name", "").strip(), text))


@router.post("/tokens/{token}/revoke")
def revoke_token(request: Request, store: StoreDep, now: NowDep, token: str) -> Response:
    """Let a token count no more."""
    tokens.revoke_token(store, _number(token), _by(request), client_of(request), now)
    return RedirectResponse("/people", 303)


@router.post("/{account}/role")
def change_role(
    request: Request, store: StoreDep, now: NowDep, account: str, typed: SecretDep
) -> Response:
    """Give somebody another role."""
    return _change(
        request, store, now, account,
        lambda by, client: accounts.change_role(
            store, _number(account), typed.get("role", ""), typed.get("secret", ""), by, client, now
        ),
    )  # fmt: skip


@router.post("/{account}/secret")
def reset_secret(
    request: Request, store: StoreDep, now: NowDep, account: str, typed: SecretDep
) -> Response:
    """Give somebody a PIN or password to begin anew with."""
    return _change(
        request, store, now, account,
        lambda by, client: accounts.reset_secret(
            store, _number(account), typed.get("secret", ""), by, client, now
        ),
    )  # fmt: skip


@router.post("/{account}/leave")
def leave(
    request: Request, store: StoreDep, now: NowDep, account: str, typed: SecretDep
) -> Response:
    """Somebody signs in no more, or is back."""
    is_back = typed.get("is_back") == "on"
    return _change(
        request, store, now, account,
        lambda by, client: accounts.leave(
            store, _number(account), by, client, now, is_back=is_back
        ),
    )  # fmt: skip


@router.post("/{account}/sign-out")
def sign_out(request: Request, store: StoreDep, now: NowDep, account: str) -> Response:
    """End all sessions of somebody."""
    return _change(
        request, store, now, account,
        lambda by, client: accounts.sign_out_everywhere(store, _number(account), by, client, now),
    )  # fmt: skip


@router.post("/{account}/unlock")
def unlock(request: Request, store: StoreDep, now: NowDep, account: str) -> Response:
    """Let somebody try again at once."""
    return _change(
        request, store, now, account,
        lambda by, client: accounts.unlock(store, _number(account), by, client, now),
    )  # fmt: skip


def _change(
    request: Request, store: Store, now: datetime, account: str,
    change: Callable[[str, Client], None],
) -> Response:  # fmt: skip
    by = _by(request)
    try:
        change(by, client_of(request))
    except (FieldErrors, Conflict) as error:
        return _page(request, store, now, trouble=(_number(account), _words(error)), status=422)
    return RedirectResponse(f"/people#p{_number(account)}", 303)


def _words(error: DomainError) -> str:
    if isinstance(error, FieldErrors):
        return " ".join(one.message for one in error.errors)
    return str(error)


def _page(
    request: Request, store: Store, now: datetime, *, new: FormState | None = None,
    token: FormState | None = None, made: tuple[str, str] | None = None,
    trouble: tuple[int, str] = (0, ""), status: int = 200,
) -> Response:  # fmt: skip
    with reading(store) as session:
        here, waits = reads.open_sign_ins(session, now), reads.waiting(session, now)
        lines = [
            {
                "row": row, "sessions": _sessions(here.get(row.id or 0, [])),
                "waits": waits.get(row.id or 0), "role": ROLE_WORDS.get(row.role, row.role),
            }
            for row in reads.accounts(session, with_left=True)
        ]  # fmt: skip
        context: dict[str, Any] = {
            "lines": lines,
            "tokens": [
                {"row": row, "role": ROLE_WORDS.get(row.role, row.role)}
                for row in reads.tokens(session)
            ],
            "notes": [(from_us(one.at_us), one) for one in reads.notes(session)],
        }
    context |= {
        "roles": [(role, ROLE_WORDS[role]) for role in ROLES],
        "new": new or FormState(), "token": token or FormState(), "made": made,
        "trouble_of": trouble[0], "trouble": trouble[1],
    }  # fmt: skip
    return shown(request, TEMPLATE, context, status)


def _sessions(rows: list[SignInRow]) -> list[tuple[datetime, str]]:
    return [(from_us(row.seen_at_us), row.client) for row in rows[:5]]


def _open_values(typed: dict[str, str]) -> dict[str, str]:
    """What may be shown again: all but the secret."""
    return {name: text for name, text in typed.items() if name != "secret"}


def _by(request: Request) -> str:
    """Who changes something here.

    Raises:
        Conflict: sign-in is off, so nobody is known to.
    """
    actor = acting()
    if not sign_in_of(request).is_on or actor is None:
        raise Conflict("Sign-in is off here: there is nobody to look after.")
    return actor.name


def _number(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise NotFound("There is nobody with this number.")
    return int(text)
