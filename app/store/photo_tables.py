"""Which photos a room has: the files of all rooms lie in one folder, named by their content."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class RoomPhotoRow(SQLModel, table=True):
    """That a photo came to a room, or that its log names it."""

    __tablename__ = "room_photo"
    __table_args__ = (Index(None, "photo"), {"sqlite_with_rowid": False})

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    photo: str = Field(primary_key=True, max_length=64)
