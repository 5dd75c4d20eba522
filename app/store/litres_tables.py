"""The book of litres: worked out from the log and could be dropped."""

from sqlalchemy import BigInteger, Column, Index, Text
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class LitresHeadRow(SQLModel, table=True):
    """The book after the last act of a room, as JSON."""

    __tablename__ = "litres_head"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    entries: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: str = Field(sa_column=Column(Text, nullable=False))


class LitresMarkRow(SQLModel, table=True):
    """The book at an earlier place, from which a late act is posted."""

    __tablename__ = "litres_mark"
    __table_args__ = (Index(None, "room_id", "moment_us"),)

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    entries: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: str = Field(sa_column=Column(Text, nullable=False))


class LitresPostingRow(SQLModel, table=True):
    """Litres that an entry moved from one account to another."""

    __tablename__ = "litres_posting"
    __table_args__ = (
        Index(None, "room_id", "moment_us", "rank", "sequence"),
        Index(None, "room_id", "source", "moment_us"),
        Index(None, "room_id", "target", "moment_us"),
    )

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    entry_id: int = Field(foreign_key="entry.id")
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    line: int
    source: str = Field(max_length=300)
    target: str = Field(max_length=300)
    amount_ul: int = Field(sa_type=BigInteger)
    why: str = Field(max_length=120)
