"""What is known of imports: how far each is, which entries it brought, what waits behind them."""

from sqlalchemy import BigInteger, Column, Index, Text
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class ImportRow(SQLModel, table=True):
    """A log that was brought in, or an import that was taken back.

    Attributes:
        token: what pages and programs call it; the same token again is the same import.
        name: of the file.
        digest: of the file and how it was read; empty where it was taken back.
        undoes: the import that this one takes back; None where it brings a log in.
        state: `storing`, `stopping` (somebody asked it to stop), `stopped`, `stored`, `undone`.
        owner: the run that works on it; another one that takes it over makes this one stop.
        touched_at_us: when that run last got on with it.
        total, done: entries to store and entries stored.
        changed: how many of them correct an earlier entry.
        kept: of an import that was taken back, how many entries stay as they are.
        message: why it stopped, or what stays and why.
    """

    __tablename__ = "import_run"
    __table_args__ = (Index(None, "room_id", "state"),)

    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True, max_length=100)
    room_id: int = Field(foreign_key="room.id")
    name: str = Field(max_length=120)
    digest: str = Field(max_length=64)
    undoes: int | None = Field(default=None, foreign_key="import_run.id")
    by: str = Field(max_length=80)
    state: str = Field(max_length=16)
    owner: str = Field(max_length=40)
    started_at_us: int = Field(sa_type=BigInteger)
    touched_at_us: int = Field(sa_type=BigInteger)
    total: int
    done: int = 0
    changed: int = 0
    kept: int = 0
    message: str = Field(default="", sa_column=Column(Text, nullable=False))


class ImportPartRow(SQLModel, table=True):
    """A slice of an import: the room's entries of these numbers, and no others, came with it."""

    __tablename__ = "import_part"

    import_id: int = Field(primary_key=True, foreign_key="import_run.id")
    first_id: int = Field(primary_key=True)
    last_id: int


class ImportJobRow(SQLModel, table=True):
    """A file from a browser that a server reads or stores, as the other servers show it.

    Attributes:
        room_id: no foreign key: how far it is, is told while the room is held for storing.
        owner: the server that is at it.
        run: what the import is called in the database, once it is stored.
        is_cancelled: somebody let go of it at another server.
    """

    __tablename__ = "import_job"

    token: str = Field(primary_key=True, max_length=100)
    room_id: int
    owner: str = Field(max_length=40)
    state: str = Field(max_length=16)
    phase: str = Field(max_length=40)
    done: int
    total: int
    stored: int
    run: str = Field(max_length=100)
    is_cancelled: bool
    touched_at_us: int = Field(sa_type=BigInteger)


class BehindRow(SQLModel, table=True):
    """A room in which something was stored that its figures are yet to take in.

    Attributes:
        entry_id: books and costs have taken in the room's entries up to this number.
        moment_us, rank, sequence: the estimates hold before this place.
        late_us, late_rank, late_sequence: the first place that was touched since somebody last
            looked; None where there is none.
        is_estimated: the estimates are in step, books and costs alone are not.
        done, total: entries estimated, and all that are to be.
    """

    __tablename__ = "behind"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    entry_id: int
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    late_us: int | None = Field(default=None, sa_type=BigInteger)
    late_rank: int | None = None
    late_sequence: int | None = Field(default=None, sa_type=BigInteger)
    is_estimated: bool = False
    owner: str = Field(max_length=40)
    touched_at_us: int = Field(sa_type=BigInteger)
    done: int = 0
    total: int = 0
