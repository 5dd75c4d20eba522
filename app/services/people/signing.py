"""Signing in and out, who is there in a session, and a second person's word by their own PIN."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select, update

from app.domain.errors import NotFound
from app.domain.people.actors import Actor
from app.services.people.hashing import digest_of, drawn, fits
from app.services.people.throttling import Client, know_device, tried
from app.services.transaction import write
from app.store import people
from app.store.engine import Store
from app.store.instants import to_us
from app.store.people import Present
from app.store.people_tables import SignInRow
from app.store.sessions import reading


@dataclass(frozen=True)
class Opened:
    """A session that has begun.

    Attributes:
        token: the secret of the session, known to its browser alone.
        device: the secret of the device, kept by it for its next sign-in.
        must_change: they choose another PIN or password first.
    """

    token: str
    device: str
    must_change: bool


def sign_in(
    store: Store, account_id: int, secret: str, client: Client, now: datetime, *,
    before: str = "", device: str = "",
) -> Opened | None:  # fmt: skip
    """Begin a session; None where the PIN or password is wrong.

    The session is always a new one: a token that was there before, whoever put it there, is never
    taken over. `before` is the token of the session on this browser, which ends; `device` the
    secret that this device has.

    Raises:
        NotFound: nobody of that number signs in.
        TooSoon: too many wrong ones from this client.
    """
    with reading(store) as session:
        row = people.account(session, account_id)
        if row is None or row.left_at_us is not None:
            raise NotFound("There is no such person, or they left.")
        kept, must_change = row.secret, row.must_change
    if not tried(store, account_id, client, now, lambda: fits(kept, secret)):
        return None
    return open_session(store, account_id, client, now, before=before, device=device,
                        must_change=must_change)  # fmt: skip


def open_session(
    store: Store, account_id: int, client: Client, now: datetime, *, before: str = "",
    device: str = "", must_change: bool = False,
) -> Opened:  # fmt: skip
    """Begin a session of somebody who has shown who they are."""
    token, device = drawn(), device or drawn()
    with write(store) as session:
        _end(session, before, now)
        row = SignInRow(
            account_id=account_id, digest=digest_of(token), made_at_us=to_us(now),
            seen_at_us=to_us(now), client=client.label[:160],
        )  # fmt: skip
        session.add(row)
        know_device(session, account_id, digest_of(device), now)
    return Opened(token, device, must_change)


def who_is(store: Store, token: str, now: datetime, idle_after: timedelta) -> Present | None:
    """Who is there by the token of a session; None where it does not count."""
    if not token:
        return None
    with reading(store) as session:
        return people.present(session, digest_of(token), now, idle_after)


def touch(store: Store, session_id: int, now: datetime) -> None:
    """Note that somebody does something in a session."""
    with write(store) as session:
        session.exec(
            update(SignInRow)
            .where(col(SignInRow.id) == session_id, col(SignInRow.seen_at_us) < to_us(now))
            .values(seen_at_us=to_us(now))
        )


def sign_out(store: Store, token: str, now: datetime) -> None:
    """End the session of a token."""
    with write(store) as session:
        _end(session, token, now)


def confirms(store: Store, name: str, secret: str, client: Client, now: datetime) -> bool:
    """Whether this is the PIN or password of the person of that name.

    Raises:
        TooSoon: too many wrong ones from this client.
    """
    with reading(store) as session:
        row = people.account_named(session, name)
        if row is None or row.id is None or row.must_change:
            return False
        account_id, kept = row.id, row.secret
    return tried(store, account_id, client, now, lambda: fits(kept, secret))


def has_account(store: Store, name: str) -> bool:
    """Whether somebody of that name signs in here."""
    with reading(store) as session:
        return people.account_named(session, name) is not None


def is_still_there(store: Store, session_id: int) -> bool:
    """Whether a session counts still: asked while an answer goes on, as that of live notices."""
    with reading(store) as session:
        return people.still_counts(session, session_id)


def actor_of(found: Present) -> Actor:
    """The person of a session, as one who acts."""
    return Actor(found.name, found.role)


def _end(session: Session, token: str, now: datetime) -> None:
    if not token:
        return
    query = select(SignInRow).where(
        SignInRow.digest == digest_of(token), col(SignInRow.ended_at_us).is_(None)
    )
    row = session.exec(query).first()
    if row is not None:
        row.ended_at_us = to_us(now)
