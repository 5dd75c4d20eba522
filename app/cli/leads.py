"""Whose word a command is, where it does what only a lead decides."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from getpass import getpass
from pathlib import Path

from sqlmodel import Session

from app.clock import utc_now
from app.config import from_environment
from app.domain.errors import LeadNeeded, NotAllowed
from app.domain.people.actors import Actor
from app.domain.people.permissions import BRING_IN, SCREEN, allows
from app.services.leading import require_lead
from app.services.people.signing import confirms
from app.services.people.throttling import Client
from app.store.acting import acted_by
from app.store.engine import Store
from app.store.people import accounts, has_manager
from app.store.sessions import reading

HERE = Client("command line", label="command line")
NOBODY = Actor("command line", SCREEN)
SAY = "Give the name with --by."


@contextmanager
def asked_here(store: Store, data: Path | None) -> Iterator[None]:
    """Within this, leads are those of the accounts, where the site has its people sign in."""
    with acted_by(NOBODY if _signs_in(store, data) else None):
        yield


def require_led_here(store: Store, data: Path | None, room_id: int, by: str) -> None:
    """Ask for a lead's name; where people sign in, for a manager's and their password.

    The password is read from the terminal, or from standard input where that is none.

    Raises:
        NotAllowed: it is the word of nobody who may do this.
        TooSoon: too many wrong passwords came from here.
    """
    with reading(store) as session:
        if not _signs_in(store, data):
            try:
                require_lead(session, room_id, by)
            except LeadNeeded as error:
                raise NotAllowed(f"{error} {SAY}") from None
            return
        managers = _managers(session)
    if by not in managers:
        named = ", ".join(managers) or "nobody is one yet"
        raise NotAllowed(f"Only a manager can do this: {named}. {SAY}")
    if not confirms(store, by, _secret(by), HERE, utc_now()):
        raise NotAllowed(f"That is not {by}'s password.")


def _signs_in(store: Store, data: Path | None) -> bool:
    asked = from_environment(data).sign_in
    if asked is not None:
        return asked
    with reading(store) as session:
        return has_manager(session)


def _managers(session: Session) -> list[str]:
    return [row.name for row in accounts(session) if allows(row.role, BRING_IN)]


def _secret(name: str) -> str:
    if sys.stdin.isatty():
        return getpass(f"Password of {name}: ")
    return sys.stdin.readline().rstrip("\r\n")
