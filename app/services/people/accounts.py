"""Accounts: the first manager, adding people, roles, new PINs, leaving; each change is noted."""

from datetime import datetime

from sqlmodel import Session, col, select, update

from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.people.permissions import MANAGER, ROLES
from app.domain.people.secrets import password_problem, pin_problem
from app.domain.roomlog.fields import check_text
from app.services.people.hashing import fits, slow_digest
from app.services.people.throttling import Client, forget_all, tried
from app.services.transaction import write
from app.store import people
from app.store.engine import Store
from app.store.instants import to_us
from app.store.people_tables import AccountRow, PeopleNoteRow, SignInRow, TokenRow
from app.store.sessions import reading

NAME_LENGTH = 80


def secret_problem(role: str, secret: str, name: str) -> str:
    """What is wrong with a secret for this role: managers have passwords, the others PINs."""
    return password_problem(secret, name) if role == MANAGER else pin_problem(secret)


def make_first_manager(
    store: Store, name: str, secret: str, client: Client, now: datetime, *, is_another: bool = False
) -> int:
    """Make the account that looks after the others; its number.

    `is_another`: also where there is a manager, for a site whose managers cannot sign in.

    Raises:
        FieldErrors: the name or the password does not fit.
        Conflict: there is a manager already.
    """
    name = _checked(name, MANAGER, secret)
    digest = slow_digest(secret)
    with write(store) as session:
        if people.has_manager(session) and not is_another:
            raise Conflict("There is already a manager. Ask them to add you.")
        _require_free(session, name)
        row = _added(session, name, MANAGER, digest, now, must_change=False)
        note(session, name, client, f"{name} became a manager with the code from the terminal", now)
        return row


def add(
    store: Store, name: str, role: str, secret: str, by: str, client: Client, now: datetime
) -> int:
    """Let somebody sign in; they choose another PIN or password when they first do.

    Raises:
        FieldErrors: a value does not fit, or there is such a name.
    """
    name = _checked(name, role, secret)
    digest = slow_digest(secret)
    with write(store) as session:
        _require_free(session, name)
        row = _added(session, name, role, digest, now, must_change=True)
        note(session, by, client, f"{name} added as {role}", now)
        return row


def change_role(
    store: Store, account_id: int, role: str, secret: str, by: str, client: Client, now: datetime
) -> None:
    """Give somebody another role; to or from manager with another kind of secret.

    Raises:
        FieldErrors: the role or the secret does not fit.
        Conflict: nobody would be left to look after people.
    """
    if role not in ROLES:
        raise FieldErrors([FieldError("role", "Choose one of the roles.")])
    digest = ""
    with reading(store) as session:
        old = _found(session, account_id)
        if (old.role == MANAGER) != (role == MANAGER):
            _require_fit(role, secret, old.name)
            digest = slow_digest(secret)
    with write(store) as session:
        row = _found(session, account_id)
        if row.role == MANAGER and role != MANAGER:
            _require_other_manager(session, row)
        if (row.role == MANAGER) != (role == MANAGER) and not digest:
            raise Conflict("Somebody changed this meanwhile. Reload the page.")
        note(session, by, client, f"{row.name}: {row.role} before, now {role}", now)
        row.role = role
        if digest:
            _take_secret(session, row, digest, now, must_change=True)


def reset_secret(
    store: Store, account_id: int, secret: str, by: str, client: Client, now: datetime
) -> None:
    """Give somebody a PIN or password to begin anew with; all their sessions end.

    Raises:
        FieldErrors: it does not fit.
    """
    with reading(store) as session:
        row = _found(session, account_id)
        _require_fit(row.role, secret, row.name)
    digest = slow_digest(secret)
    with write(store) as session:
        row = _found(session, account_id)
        _take_secret(session, row, digest, now, must_change=True)
        forget_all(session, account_id)
        note(session, by, client, f"{row.name}: new PIN or password given", now)


def change_own_secret(
    store: Store, account_id: int, old: str, new: str, client: Client, now: datetime
) -> None:
    """Choose another PIN or password oneself; all sessions of that person end.

    Raises:
        FieldErrors: the old one is wrong, or the new one does not fit.
        TooSoon: too many wrong ones before.
    """
    with reading(store) as session:
        row = _found(session, account_id)
        role, name, kept = row.role, row.name, row.secret
    if not tried(store, account_id, client, now, lambda: fits(kept, old)):
        raise FieldErrors([FieldError("old", "That is not your current one. Try again.")])
    if problem := secret_problem(role, new, name):
        raise FieldErrors([FieldError("new", problem)])
    if old == new:
        raise FieldErrors([FieldError("new", "That is your old one. Choose another.")])
    digest = slow_digest(new)
    with write(store) as session:
        row = _found(session, account_id)
        if row.secret != kept:
            raise Conflict("Somebody changed this meanwhile. Sign in again.")
        _take_secret(session, row, digest, now, must_change=False)
        note(session, name, client, f"{name}: own PIN or password changed", now)


def leave(
    store: Store, account_id: int, by: str, client: Client, now: datetime, *, is_back: bool = False
) -> None:
    """Somebody signs in no more, or is back.

    Raises:
        Conflict: nobody would be left to look after people.
    """
    with write(store) as session:
        row = session.get(AccountRow, account_id)
        if row is None:
            raise NotFound("There is no such person.")
        if not is_back:
            _require_other_manager(session, row)
            end_sessions(session, account_id, now)
        row.left_at_us = None if is_back else to_us(now)
        note(session, by, client, f"{row.name} is {'here again' if is_back else 'gone'}", now)


def sign_out_everywhere(
    store: Store, account_id: int, by: str, client: Client, now: datetime
) -> None:
    """End all sessions of somebody."""
    with write(store) as session:
        row = _found(session, account_id)
        end_sessions(session, account_id, now)
        note(session, by, client, f"{row.name} signed out everywhere", now)


def unlock(store: Store, account_id: int, by: str, client: Client, now: datetime) -> None:
    """Let somebody try their PIN again at once, after wrong ones."""
    with write(store) as session:
        row = _found(session, account_id)
        forget_all(session, account_id)
        note(session, by, client, f"{row.name} may try again at once", now)


def end_sessions(session: Session, account_id: int, now: datetime) -> None:
    """End all sessions of an account."""
    session.exec(
        update(SignInRow)
        .where(col(SignInRow.account_id) == account_id, col(SignInRow.ended_at_us).is_(None))
        .values(ended_at_us=to_us(now))
    )


def note(session: Session, by: str, client: Client, said: str, now: datetime) -> None:
    """Keep what was changed about people, by whom and from where."""
    row = PeopleNoteRow(at_us=to_us(now), by=by, client=client.label[:160], said=said)
    session.add(row)


def folded(name: str) -> str:
    """A name as it is compared: one spelling, one person.

    >>> folded("  WREN  Oak ")
    'wren oak'
    """
    return " ".join(name.casefold().split())


def require_free_name(session: Session, name: str) -> None:
    """One name is one person or one program, also among those who left.

    Raises:
        FieldErrors: it is taken.
    """
    same = folded(name)
    taken = session.exec(select(AccountRow.id).where(AccountRow.folded == same)).first()
    program = session.exec(select(TokenRow.id).where(TokenRow.folded == same)).first()
    if taken is not None or program is not None:
        message = "This name is taken, perhaps by somebody who left. Give another one."
        raise FieldErrors([FieldError("name", message)])


def checked_name(name: str) -> str:
    """A name as it is kept.

    Raises:
        FieldErrors: it is none.
    """
    try:
        found = check_text("name", name, NAME_LENGTH).strip()
    except FieldError as error:
        raise FieldErrors([error]) from None
    if not found:
        raise FieldErrors([FieldError("name", "Enter the name.")])
    return found


_require_free = require_free_name


def _checked(name: str, role: str, secret: str) -> str:
    found = checked_name(name)
    if role not in ROLES:
        raise FieldErrors([FieldError("role", "Choose one of the roles.")])
    _require_fit(role, secret, found)
    return found


def _require_fit(role: str, secret: str, name: str) -> None:
    if problem := secret_problem(role, secret, name):
        raise FieldErrors([FieldError("secret", problem)])


def _added(
    session: Session, name: str, role: str, digest: str, now: datetime, *, must_change: bool
) -> int:
    row = AccountRow(
        name=name, folded=folded(name), role=role, secret=digest, must_change=must_change,
        made_at_us=to_us(now),
    )  # fmt: skip
    session.add(row)
    session.flush()
    assert row.id is not None
    return row.id


def _take_secret(
    session: Session, row: AccountRow, digest: str, now: datetime, *, must_change: bool
) -> None:
    assert row.id is not None
    row.secret, row.must_change = digest, must_change
    session.add(row)
    end_sessions(session, row.id, now)


def _found(session: Session, account_id: int) -> AccountRow:
    row = people.account(session, account_id)
    if row is None or row.left_at_us is not None:
        raise NotFound("There is no such person, or they left.")
    return row


def _require_other_manager(session: Session, row: AccountRow) -> None:
    others = [one for one in people.accounts(session) if one.role == MANAGER and one.id != row.id]
    if row.role == MANAGER and not others:
        message = f"{row.name} is the only manager. Make another one first."
        raise Conflict(message)
