"""The chain over the log of each room (domain/chain): its end, and a link for each entry."""

from sqlalchemy import BigInteger, Column, LargeBinary
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class ChainRow(SQLModel, table=True):
    """The end of a room's chain.

    Attributes:
        since_us: when the room's log was chained first.
        before: how many entries it had then: they are chained as they were that day.
        number, digest: of the last entry.
    """

    __tablename__ = "chain"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    since_us: int = Field(sa_type=BigInteger)
    before: int = Field(sa_type=BigInteger)
    number: int = Field(sa_type=BigInteger)
    digest: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class ChainLinkRow(SQLModel, table=True):
    """The place of an entry in its room's chain, and its digest."""

    __tablename__ = "chain_link"
    __table_args__ = {"sqlite_with_rowid": False}

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    number: int = Field(primary_key=True, sa_type=BigInteger)
    uid: str = Field(max_length=64)
    digest: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
