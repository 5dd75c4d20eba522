"""Roll-ups of costs; worked out from the log, and could be dropped.

Money is in the smallest unit of the room's currency.
Weeks are counted as in domain/spend/weeks (`IsoWeek.count`), in the room's own time. Masses are
whole micrograms, so that sums are the same in whatever order they are added up.
"""

from sqlalchemy import BigInteger, Column, Index, Text
from sqlmodel import Field, SQLModel

import app.store.tables  # noqa: F401  (names of keys and indexes follow its metadata)


class SpendHeadRow(SQLModel, table=True):
    """How far the roll-ups of a room have come, and what they rest on.

    Attributes:
        basis: rates, solvents of tanks, the site's minutes as JSON (domain/spend/price_book.py).
        moment_us, rank, sequence: the place of the last bath entry in the sums of washes.
    """

    __tablename__ = "spend_head"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    basis: str = Field(sa_column=Column(Text, nullable=False))
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)


class SpendStateRow(SQLModel, table=True):
    """A part of the costs after the last of its entries in a week.

    Attributes:
        part: its kind and key, as `item:gloves` (domain/spend/cost_folds.py).
        state: its own dataclass as JSON.
    """

    __tablename__ = "spend_state"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    part: str = Field(primary_key=True, max_length=80)
    week: int = Field(primary_key=True)
    moment_us: int = Field(sa_type=BigInteger)
    rank: int
    sequence: int = Field(sa_type=BigInteger)
    state: str = Field(sa_column=Column(Text, nullable=False))


class SpendLineRow(SQLModel, table=True):
    """What one entry cost, or moved without cost (`side`: domain/spend/cost_folds.py)."""

    __tablename__ = "spend_line"
    __table_args__ = (
        Index(None, "room_id", "week", "side"),
        Index(None, "room_id", "part", "week"),
        Index(None, "room_id", "tank", "at_us"),
        Index(None, "room_id", "swap"),
    )

    id: int | None = Field(default=None, primary_key=True)
    room_id: int = Field(foreign_key="room.id")
    part: str = Field(max_length=80)
    week: int
    side: str = Field(max_length=8)
    entry: str = Field(max_length=64)
    at_us: int = Field(sa_type=BigInteger)
    category: str = Field(max_length=16)
    cents: int = Field(sa_type=BigInteger)
    what: str = Field(sa_column=Column(Text, nullable=False))
    basis: str = Field(sa_column=Column(Text, nullable=False))
    tank: str = Field(max_length=64)
    item: str = Field(max_length=64)
    solvent: str = Field(max_length=64)
    quantity: float
    unit: str = Field(max_length=16)
    purpose: str = Field(max_length=32)
    swap: str = Field(max_length=64)
    is_swap: bool


class SpendWeekRow(SQLModel, table=True):
    """The lines of a week, summed.

    Attributes:
        is_swap: caused by swaps; is_item: of things on the shelf.
        quantity: in `unit`.
    """

    __tablename__ = "spend_week"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    week: int = Field(primary_key=True)
    side: str = Field(primary_key=True, max_length=8)
    category: str = Field(primary_key=True, max_length=16)
    is_swap: bool = Field(primary_key=True)
    solvent: str = Field(primary_key=True, max_length=64)
    unit: str = Field(primary_key=True, max_length=16)
    is_item: bool = Field(primary_key=True)
    lines: int
    cents: int = Field(sa_type=BigInteger)
    quantity: float


class SpendWashRow(SQLModel, table=True):
    """What a tank's entries of a week did to one of its fills, by kind and resin.

    Attributes:
        late: washes past the limit that the tank had then.
        resin_in_ug, resin_out_ug, evaporated_ug, liquid_out_ug: as the estimator attributes them.
    """

    __tablename__ = "spend_wash"
    __table_args__ = (Index(None, "room_id", "tank", "fill", "week"),)

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    week: int = Field(primary_key=True)
    tank: str = Field(primary_key=True, max_length=64)
    fill: int = Field(primary_key=True)
    kind: str = Field(primary_key=True, max_length=32)
    resin: str = Field(primary_key=True, max_length=64)
    count: int
    late: int
    resin_in_ug: int = Field(sa_type=BigInteger)
    resin_out_ug: int = Field(sa_type=BigInteger)
    evaporated_ug: int = Field(sa_type=BigInteger)
    liquid_out_ug: int = Field(sa_type=BigInteger)


class SpendPartsRow(SQLModel, table=True):
    """The washes of a week that were logged with the mass of their parts."""

    __tablename__ = "spend_parts"

    room_id: int = Field(primary_key=True, foreign_key="room.id")
    week: int = Field(primary_key=True)
    washes: int
    mass_ug: int = Field(sa_type=BigInteger)
