"""What stays of a room that was deleted: that there was one, who deleted it, how its log ended."""

from sqlalchemy import BigInteger, Column, LargeBinary
from sqlmodel import Field, SQLModel

from app.store import tables  # noqa: F401  (the names of constraints)


class DeletedRoomRow(SQLModel, table=True):
    """A room that was deleted; never changed and never removed.

    Attributes:
        room_id: its number, which no other room gets; key, which none gets either.
        by: who deleted it, at `at_us`.
        entries, digest: how long its log was, and the end of its chain.
        photos: how many were deleted with it.
    """

    __tablename__ = "deleted_room"

    room_id: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    key: str = Field(max_length=64)
    name: str = Field(max_length=80)
    created_at_us: int = Field(sa_type=BigInteger)
    at_us: int = Field(sa_type=BigInteger)
    by: str = Field(max_length=80)
    entries: int = Field(sa_type=BigInteger)
    digest: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    photos: int
