"""Tokens by which programs are known: made by a manager, shown once, revocable."""

from datetime import datetime

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.people.actors import Actor
from app.domain.people.permissions import ROLES
from app.services.people.accounts import checked_name, folded, note, require_free_name
from app.services.people.hashing import TOKEN_PREFIX, digest_of, drawn
from app.services.people.throttling import Client
from app.services.transaction import write
from app.store import people
from app.store.engine import Store
from app.store.instants import to_us
from app.store.people_tables import TokenRow
from app.store.sessions import reading


def make_token(store: Store, name: str, role: str, by: str, client: Client, now: datetime) -> str:
    """Make a token and give its text, which is kept nowhere: only its digest is.

    Raises:
        FieldErrors: the name or the role does not fit.
    """
    name = checked_name(name)
    if role not in ROLES:
        raise FieldErrors([FieldError("role", "Choose one of the roles.")])
    text = TOKEN_PREFIX + drawn()
    with write(store) as session:
        require_free_name(session, name)
        row = TokenRow(
            name=name, folded=folded(name), role=role, digest=digest_of(text),
            made_at_us=to_us(now), made_by=by,
        )  # fmt: skip
        session.add(row)
        note(session, by, client, f"token “{name}” made as {role}", now)
    return text


def revoke_token(store: Store, token_id: int, by: str, client: Client, now: datetime) -> None:
    """Let a token count no more; its name stays taken."""
    with write(store) as session:
        row = session.get(TokenRow, token_id)
        if row is None:
            raise NotFound("There is no such token.")
        if row.revoked_at_us is None:
            row.revoked_at_us = to_us(now)
            note(session, by, client, f"token “{row.name}” revoked", now)


def program_of(store: Store, text: str) -> tuple[int, Actor] | None:
    """The program of a token, with the token's number; None where it does not count."""
    if not text.startswith(TOKEN_PREFIX):
        return None
    with reading(store) as session:
        row = people.token_of(session, digest_of(text))
        if row is None or row.id is None:
            return None
        return row.id, Actor(row.name, row.role, is_program=True)


def token_still_counts(store: Store, token_id: int) -> bool:
    """Whether a token has not been revoked since."""
    with reading(store) as session:
        return people.token_counts(session, token_id)
