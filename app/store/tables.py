"""The tables. `entry` is the truth and is only appended to; the others are worked out from it.

Times are whole microseconds UTC (`_us`), volumes litres, masses grams, saturation mass percent.
"""

from sqlalchemy import BigInteger, CheckConstraint, Column, Index, LargeBinary, MetaData, Text, text
from sqlmodel import Field, SQLModel

SQLModel.metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class RoomRow(SQLModel, table=True):
    """A post-processing room, its time zone and the units it shows.

    Attributes:
        currency: its amounts are in the smallest unit of it; as the log's price lists have it,
            empty where none is set.
        last_recorded_us: what the clock said when the last entry was recorded.
        version: grows with each write; `forecasts` each time forecasts are made apart from one.
    """

    __tablename__ = "room"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True, max_length=64)
    name: str = Field(max_length=80)
    time_zone: str = Field(max_length=64)
    volume_unit: str = Field(default="l", max_length=8)
    temperature_unit: str = Field(default="c", max_length=8)
    mass_unit: str = Field(default="g", max_length=8)
    area_unit: str = Field(default="cm2", max_length=8)
    currency: str = Field(default="", max_length=3)
    created_at_us: int = Field(sa_type=BigInteger)
    version: int = Field(default=0, sa_type=BigInteger)
    sequence: int = Field(default=0, sa_type=BigInteger)
    last_recorded_us: int | None = Field(default=None, sa_type=BigInteger)
    forecasts: int = Field(
        default=0, sa_type=BigInteger, sa_column_kwargs={"server_default": text("0")}
    )

    @property
    def edition(self) -> int:
        """Grows with all that pages show, forecasts included; an answer that reads them is kept
        under it, others under the version."""
        return self.version + self.forecasts


class EntryRow(SQLModel, table=True):
    """One entry of the room log, as it was recorded.

    Attributes:
        moment_us, rank, sequence: the place in the order of truth (domain/roomlog/history).
        fields: the kind's own values as JSON.
        recorded_at_us: when this database received it.
        voided_by: id of the entry that corrects or withdraws this one.
    """

    __tablename__ = "entry"
    __table_args__ = (
        Index(None, "room_id", "uid", unique=True),
        Index(None, "room_id", "moment_us", "rank", "sequence"),
        Index(None, "room_id", "tank", "at_us", "id"),
        Index(None, "room_id", "at_us", "id"),
        Index(None, "room_id", "kind", "at_us", "id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    uid: str = Field(max_length=64)
    kind: str = Field(max_length=32)
    tank: str | None = Field(default=None, max_length=64)
    resin: str | None = Field(default=None, max_length=64)
    at_us: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    entered_at_us: int | None = Field(default=None, sa_type=BigInteger)
    recorded_at_us: int = Field(sa_type=BigInteger)
    by: str = Field(max_length=80)
    note: str = Field(sa_column=Column(Text, nullable=False))
    corrects: str | None = Field(default=None, max_length=64)
    fields: str = Field(sa_column=Column(Text, nullable=False))
    voided_by: str | None = Field(default=None, max_length=64)


class LinkRow(SQLModel, table=True):
    """That an entry stands in the books of a thing: a drum, a swap, an item on the shelf.

    Attributes:
        moment_us, rank, sequence: the entry's place in the order of truth.
    """

    __tablename__ = "link"
    __table_args__ = (Index(None, "room_id", "thing", "key", "moment_us", "rank", "sequence"),)

    entry_id: int = Field(primary_key=True, foreign_key="entry.id")
    thing: str = Field(primary_key=True, max_length=32)
    key: str = Field(primary_key=True, max_length=64)
    room_id: int = Field(foreign_key="room.id")
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)


class ThingRow(SQLModel, table=True):
    """A thing as its entries leave it; worked out from the log and could be dropped.

    Attributes:
        is_open: it still asks for attention; pages of what is going on read only these.
        moment_us, rank, sequence: the place of the last entry that it has taken in.
        entries: how many it has taken in.
        state: its own dataclass as JSON (domain/things.py).
    """

    __tablename__ = "thing"
    __table_args__ = (Index(None, "room_id", "thing", "is_open"),)

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    thing: str = Field(primary_key=True, max_length=32)
    key: str = Field(primary_key=True, max_length=64)
    is_open: bool = True
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    entries: int = Field(sa_type=BigInteger)
    state: str = Field(sa_column=Column(Text, nullable=False))


class ThingCheckpointRow(SQLModel, table=True):
    """A thing's state at an earlier place of its book, from which a late entry is folded."""

    __tablename__ = "thing_checkpoint"
    __table_args__ = (Index(None, "room_id", "thing", "key", "entries"),)

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    thing: str = Field(max_length=32)
    key: str = Field(max_length=64)
    entries: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: str = Field(sa_column=Column(Text, nullable=False))


ABOVE_LIMIT = "mean_before_percent > limit_percent"
"""Which rows of the course a recall of baths above their limit looks at."""


class CourseRow(SQLModel, table=True):
    """What the estimate was after an entry, and what the entry did to it.

    Attributes:
        limit_percent: the first limit of its tank as it stood then.
    """

    __tablename__ = "course"
    __table_args__ = (
        Index(None, "room_id", "moment_us", "rank", "sequence"),
        Index(None, "room_id", "tank", "at_us"),
        Index(None, "room_id", "tank", "fill", "at_us"),
        Index(None, "room_id", "tank", "mean_before_percent"),
        # On PostgreSQL too (migration 0013): to say so here would load its dialect at each start.
        Index("ix_course_above_limit", "room_id", "at_us", sqlite_where=text(ABOVE_LIMIT)),
    )  # fmt: skip

    entry_id: int = Field(primary_key=True, foreign_key="entry.id")
    room_id: int = Field(foreign_key="room.id")
    tank: str = Field(max_length=64)
    kind: str = Field(max_length=32)
    resin: str | None = Field(default=None, max_length=64)
    fill: int
    at_us: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    mean_before_percent: float
    limit_percent: float | None = None
    mean_percent: float
    p05_percent: float
    p95_percent: float
    resin_in_g: float
    resin_out_g: float
    evaporated_g: float
    correction_g: float
    measured_percent: float | None = None
    measured_sd_percent: float | None = None
    slip_weight: float | None = None
    is_set_aside: bool = False
    is_apparent: bool = False
    notes: str = Field(sa_column=Column(Text, nullable=False))


class HeadRow(SQLModel, table=True):
    """The filter's state after the last entry of a room."""

    __tablename__ = "head"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    entries: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class CheckpointRow(SQLModel, table=True):
    """The filter's state at an earlier place in the log, from which a late entry is replayed."""

    __tablename__ = "checkpoint"
    __table_args__ = (Index(None, "room_id", "moment_us"),)

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    entries: int = Field(sa_type=BigInteger)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class TankRow(SQLModel, table=True):
    """A tank as the room page shows it: its marks, its estimate and its forecast.

    Attributes:
        forecast_due_us: since when its forecast is to be made anew; None where it is of now.
        forecast_due_version: the version of the room at which that was last said.
    """

    __tablename__ = "tank"
    __table_args__ = (
        CheckConstraint("capacity_l > 0", name="capacity"),
        Index(None, "forecast_due_us"),
    )

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    key: str = Field(primary_key=True, max_length=64)
    place: int = 0
    name: str = Field(default="", max_length=200)
    is_retired: bool = False
    started_at_us: int = Field(default=0, sa_type=BigInteger)
    capacity_l: float
    min_l: float | None = None
    solvent: str = Field(max_length=64)
    fresh_purity_percent: float = 0
    pair: str | None = Field(default=None, max_length=64)
    swap_started_at_us: int | None = Field(default=None, sa_type=BigInteger)
    fill: int = 0
    fill_started_at_us: int = Field(default=0, sa_type=BigInteger)
    washes_since_fill: int = 0
    life_days: float | None = None
    life_washes: int | None = None
    life_washes_at_us: int | None = Field(default=None, sa_type=BigInteger)
    limit_percent: float = 0
    limit_basis: str = Field(default="mass_percent", max_length=16)
    limit_entered: float = 0
    stop_percent: float = 0
    stop_basis: str = Field(default="mass_percent", max_length=16)
    stop_entered: float = 0
    mean_percent: float = 0
    p05_percent: float = 0
    p95_percent: float = 0
    tomorrow_percent: float | None = None
    volume_l: float = 0
    resin_g: float = 0
    solvent_density_g_ml: float = 0
    resin_density_g_ml: float = 0
    estimated_at_us: int = Field(default=0, sa_type=BigInteger)
    flags: str = Field(default="", max_length=400)
    last_entry_kind: str | None = Field(default=None, max_length=32)
    last_entry_at_us: int | None = Field(default=None, sa_type=BigInteger)
    last_reading_at_us: int | None = Field(default=None, sa_type=BigInteger)
    last_wash_at_us: int | None = Field(default=None, sa_type=BigInteger)
    limit_is_passed: bool = False
    limit_p10_us: int | None = Field(default=None, sa_type=BigInteger)
    limit_p50_us: int | None = Field(default=None, sa_type=BigInteger)
    limit_p90_us: int | None = Field(default=None, sa_type=BigInteger)
    limit_chance: float = 0
    limit_passed_at_us: int | None = Field(default=None, sa_type=BigInteger)
    stop_is_passed: bool = False
    stop_p50_us: int | None = Field(default=None, sa_type=BigInteger)
    fan: str = Field(default="[]", sa_column=Column(Text, nullable=False))
    forecast_at_us: int = Field(default=0, sa_type=BigInteger)
    forecast_due_us: int | None = Field(default=None, sa_type=BigInteger)
    forecast_due_version: int | None = Field(default=None, sa_type=BigInteger)


class ResinRow(SQLModel, table=True):
    """A resin of the room, as last defined."""

    __tablename__ = "resin"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    key: str = Field(primary_key=True, max_length=64)
    name: str = Field(max_length=200)
    density_g_ml: float
    is_filled: bool = False
    filler_percent: float | None = None


class PersonRow(SQLModel, table=True):
    """A name that has been entered in the room, offered again next time."""

    __tablename__ = "person"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    name: str = Field(primary_key=True, max_length=80)
    last_at_us: int = Field(sa_type=BigInteger)


class SubmissionRow(SQLModel, table=True):
    """A submission that was carried out, so that a retry of it changes nothing."""

    __tablename__ = "submission"
    __table_args__ = (Index(None, "at_us"),)

    key: str = Field(primary_key=True, max_length=100)
    fingerprint: str = Field(max_length=64)
    answer: str = Field(sa_column=Column(Text, nullable=False))
    at_us: int = Field(sa_type=BigInteger)
