"""Which version of the program has kept what is worked out from a room's log."""

from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class ProjectionRow(SQLModel, table=True):
    """A kind of what a projection keeps of a room; of another version it is worked out anew.

    Attributes:
        name: of the projection; kind: of its states, such as `drum`; empty where it has one.
    """

    __tablename__ = "projection"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    name: str = Field(primary_key=True, max_length=32)
    kind: str = Field(primary_key=True, max_length=32)
    version: str = Field(max_length=120)
