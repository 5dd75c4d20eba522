"""Who may sign in, from where, and what was changed about that; nothing of it enters a room's log.

Secrets stand here as digests only: of PINs and passwords one that is slow to try (Argon2id), of
what the program drew itself at random (sessions, tokens, devices) a plain SHA-256.
"""

from sqlalchemy import BigInteger, Column, Index, Text
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class AccountRow(SQLModel, table=True):
    """Somebody who signs in, in all rooms of the site.

    Attributes:
        folded: the name as it is compared; of one name there is one account.
        role: one of `domain.people.permissions.ROLES`.
        secret: digest of the PIN, or of a manager's password.
        must_change: somebody else chose it, so that the first thing is to choose another.
        left_at_us: since when nobody signs in with it; the name stays taken.
    """

    __tablename__ = "account"

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    folded: str = Field(unique=True, max_length=240)
    role: str = Field(max_length=16)
    secret: str = Field(max_length=200)
    must_change: bool = True
    made_at_us: int = Field(sa_type=BigInteger)
    left_at_us: int | None = Field(default=None, sa_type=BigInteger)


class SignInRow(SQLModel, table=True):
    """A session: one browser in which somebody signed in.

    Attributes:
        seen_at_us: when that person last did something in it, to within some minutes.
        client: the address and the kind of browser, for a person to know it by.
        ended_at_us: since when it counts no more.
    """

    __tablename__ = "sign_in"
    __table_args__ = (Index(None, "account_id", "ended_at_us"),)

    id: int | None = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id")
    digest: str = Field(unique=True, max_length=64)
    made_at_us: int = Field(sa_type=BigInteger)
    seen_at_us: int = Field(sa_type=BigInteger)
    client: str = Field(max_length=160)
    ended_at_us: int | None = Field(default=None, sa_type=BigInteger)


class KnownDeviceRow(SQLModel, table=True):
    """That somebody signed in on a device before: strangers do not make them wait there."""

    __tablename__ = "known_device"

    account_id: int = Field(primary_key=True, foreign_key="account.id")
    digest: str = Field(primary_key=True, max_length=64)
    at_us: int = Field(sa_type=BigInteger)


class FailureRow(SQLModel, table=True):
    """Wrong PINs or passwords in a row, of one person from one client.

    Attributes:
        account_id: None where the code of the first manager was guessed.
        until_us: before this nothing more is tried.
    """

    __tablename__ = "failure"
    __table_args__ = (Index(None, "account_id"),)

    key: str = Field(primary_key=True, max_length=100)
    account_id: int | None = Field(default=None, foreign_key="account.id")
    failures: int
    at_us: int = Field(sa_type=BigInteger)
    until_us: int = Field(sa_type=BigInteger)


class TokenRow(SQLModel, table=True):
    """A token by which a program is known; its name stands under what it enters."""

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    folded: str = Field(unique=True, max_length=240)
    role: str = Field(max_length=16)
    digest: str = Field(unique=True, max_length=64)
    made_at_us: int = Field(sa_type=BigInteger)
    made_by: str = Field(max_length=80)
    revoked_at_us: int | None = Field(default=None, sa_type=BigInteger)


class PeopleNoteRow(SQLModel, table=True):
    """What was changed about people and their sign-in: only appended to."""

    __tablename__ = "people_note"
    __table_args__ = (Index(None, "at_us"),)

    id: int | None = Field(default=None, primary_key=True)
    at_us: int = Field(sa_type=BigInteger)
    by: str = Field(max_length=80)
    client: str = Field(max_length=160)
    said: str = Field(sa_column=Column(Text, nullable=False))
