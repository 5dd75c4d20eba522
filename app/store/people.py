"""Reading who may sign in, their sessions, tokens, and what was changed about them."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, func, select

from app.domain.people.permissions import LEADING, MANAGER, SCREEN
from app.domain.site import CrewState, Person
from app.store.acting import acting
from app.store.instants import from_us, to_us
from app.store.people_tables import (
    AccountRow,
    FailureRow,
    PeopleNoteRow,
    SignInRow,
    TokenRow,
)

LONGEST = timedelta(hours=12)  # of a session, however busy: a shift
LONGEST_OF_SCREENS = timedelta(days=400)


@dataclass(frozen=True)
class Present:
    """Who a session says is there.

    Attributes:
        is_idle: nothing was done in it for longer than the site allows; it is asked again.
    """

    session_id: int
    account_id: int
    name: str
    role: str
    must_change: bool
    seen_at: datetime
    is_idle: bool = False


class SignedInCrew(CrewState):
    """The people of a site that has them sign in: a manager counts as a lead."""

    @property
    def leads(self) -> tuple[str, ...]:
        """Who may overrule a gate or release a tank."""
        return tuple(p.name for p in self.people if p.role in LEADING and not p.has_left)


def signed_in_crew(session: Session) -> CrewState | None:
    """The people by their accounts; None where nobody is asked to sign in."""
    actor = acting()
    if actor is None:
        return None
    rows = session.exec(select(AccountRow).order_by(col(AccountRow.folded)))
    people = [
        Person(row.name, row.role, row.left_at_us is not None) for row in rows if row.role != SCREEN
    ]
    if actor.name not in {person.name for person in people}:
        people.append(Person(actor.name, actor.role))
    return SignedInCrew(tuple(people))


def accounts(session: Session, with_left: bool = False) -> list[AccountRow]:
    """Who signs in, by name."""
    query = select(AccountRow).order_by(col(AccountRow.folded))
    if not with_left:
        query = query.where(col(AccountRow.left_at_us).is_(None))
    return list(session.exec(query))


def account(session: Session, account_id: int) -> AccountRow | None:
    """One of them."""
    return session.get(AccountRow, account_id)


def account_named(session: Session, name: str) -> AccountRow | None:
    """The one of a name who is here."""
    query = select(AccountRow).where(AccountRow.name == name, col(AccountRow.left_at_us).is_(None))
    return session.exec(query).first()


def has_manager(session: Session) -> bool:
    """Whether somebody can look after the others."""
    query = select(AccountRow.id).where(
        AccountRow.role == MANAGER, col(AccountRow.left_at_us).is_(None)
    )
    return session.exec(query).first() is not None


def present(session: Session, digest: str, now: datetime, idle_after: timedelta) -> Present | None:
    """Who a session says is there; None where it does not count any more."""
    query = (
        select(SignInRow, AccountRow)
        .join(AccountRow, col(AccountRow.id) == SignInRow.account_id)
        .where(SignInRow.digest == digest, col(SignInRow.ended_at_us).is_(None))
        .where(col(AccountRow.left_at_us).is_(None))
    )
    found = session.exec(query).first()
    if found is None:
        return None
    row, who = found
    is_screen = who.role == SCREEN
    if now - from_us(row.made_at_us) > (LONGEST_OF_SCREENS if is_screen else LONGEST):
        return None
    seen_at = from_us(row.seen_at_us)
    is_idle = not is_screen and now - seen_at > idle_after
    assert row.id is not None
    assert who.id is not None
    return Present(row.id, who.id, who.name, who.role, who.must_change, seen_at, is_idle)


def still_counts(session: Session, session_id: int) -> bool:
    """Whether a session has not been ended since, nor its person left."""
    query = (
        select(SignInRow.id)
        .join(AccountRow, col(AccountRow.id) == SignInRow.account_id)
        .where(SignInRow.id == session_id, col(SignInRow.ended_at_us).is_(None))
        .where(col(AccountRow.left_at_us).is_(None))
    )
    return session.exec(query).first() is not None


def open_sign_ins(session: Session, now: datetime) -> dict[int, list[SignInRow]]:
    """The sessions that may still count, by account, the latest first."""
    since_us = to_us(now - LONGEST)
    query = (
        select(SignInRow, AccountRow.role)
        .join(AccountRow, col(AccountRow.id) == SignInRow.account_id)
        .where(col(SignInRow.ended_at_us).is_(None))
        .order_by(col(SignInRow.seen_at_us).desc())
        .limit(1000)
    )
    found: dict[int, list[SignInRow]] = {}
    for row, role in session.exec(query):
        if role == SCREEN or row.made_at_us > since_us:
            found.setdefault(row.account_id, []).append(row)
    return found


def waiting(session: Session, now: datetime) -> dict[int, tuple[int, datetime]]:
    """Of each person with wrong tries: how many, and until when somebody waits for the next."""
    query = (
        select(FailureRow.account_id, func.sum(FailureRow.failures), func.max(FailureRow.until_us))
        .where(col(FailureRow.account_id).is_not(None), FailureRow.until_us > to_us(now))
        .group_by(col(FailureRow.account_id))
    )
    return {one: (int(n), from_us(int(until))) for one, n, until in session.exec(query) if one}


def tokens(session: Session) -> list[TokenRow]:
    """The tokens of programs, those that count first."""
    query = select(TokenRow).order_by(
        col(TokenRow.revoked_at_us).is_not(None), col(TokenRow.folded)
    )
    return list(session.exec(query))


def token_of(session: Session, digest: str) -> TokenRow | None:
    """The token of that digest; None where it was revoked or is none."""
    query = select(TokenRow).where(TokenRow.digest == digest, col(TokenRow.revoked_at_us).is_(None))
    return session.exec(query).first()


def token_counts(session: Session, token_id: int) -> bool:
    """Whether a token has not been revoked since."""
    row = session.get(TokenRow, token_id)
    return row is not None and row.revoked_at_us is None


def notes(session: Session, most: int = 50) -> list[PeopleNoteRow]:
    """What was changed about people, the latest first."""
    query = select(PeopleNoteRow).order_by(col(PeopleNoteRow.id).desc()).limit(most)
    return list(session.exec(query))
