"""What was learned of the room's instruments."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.api.deps import MinuteRoomDep
from app.api.requests import StrictRoute
from app.domain.baths.instrument_words import bias_sentence
from app.domain.meters.book import Certificate
from app.incoming import NowDep, SessionDep
from app.services.baths.instruments import passports
from app.services.duties.calibrations import Standing, standing

EPOCH = datetime(1970, 1, 2, tzinfo=UTC)

router = APIRouter(prefix="/v1/rooms/{room}", tags=["instruments"], route_class=StrictRoute)


class Bias(BaseModel):
    """A slow error, mass percent: too high above nothing."""

    mean_percent: float
    sd_percent: float


class TankBias(Bias):
    """The same as it shows in one tank: what its bath adds is counted in."""

    tank: str


class InstrumentOut(BaseModel):
    """An instrument. Standard deviations are mass percent; a bias is taken off its readings."""

    method: str
    tank: str | None = Field(description="Where it is built in.")
    sentence: str
    bias: Bias | None = Field(description="None if its drift is not tracked.")
    in_tanks: list[TankBias]
    off_since: datetime | None = Field(description="When the bias became certain.")
    scatter_percent: float = Field(description="Of a reading, as the estimate assumes.")
    calibrated_scatter_percent: float | None = Field(
        description="The same in solvents it was calibrated for."
    )
    scatter_seen_percent: float | None = Field(
        description="What the readings showed; None if too few, or if the estimate is too wide."
    )
    scatter_at_most_percent: float | None = Field(
        description="Upper bound of the scatter from the readings; None if too few."
    )
    readings: int
    slips: float = Field(description="How many of these were slips: the sum of their chances.")
    slip_chance: float = Field(description="Of the next reading, 0 to 1.")
    first_at: datetime | None
    last_at: datetime | None


class KnownOut(BaseModel):
    """An instrument of the room as a thing. Offset and uncertainty are in its unit."""

    key: str
    name: str
    sort: str
    unit: str
    serial: str
    of_tank: str | None = Field(description="The tank it is built into.")
    offset: float = Field(description="What it shows too much; taken off its readings.")
    uncertainty: float = Field(description="Standard uncertainty of that.")
    certificate: str
    calibrated_on: date | None
    due_on: date | None = Field(description="By its certificate, else by the duty.")
    is_overdue: bool
    is_set_aside: bool
    is_retired: bool
    readings: int
    last_reading_at: datetime | None


class InstrumentList(BaseModel):
    """Every way of measuring that was used in the room, and the instruments added to it."""

    instruments: list[InstrumentOut]
    known: list[KnownOut]


@router.get("/instruments")
def list_instruments(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> InstrumentList:
    """How the instruments read."""
    zone = ZoneInfo(room.time_zone)
    return InstrumentList(
        instruments=[
            InstrumentOut(
                method=one.channel, tank=one.tank,
                sentence=bias_sentence(one.bias, one.off_since, now, zone),
                bias=one.bias and Bias(mean_percent=one.bias[0], sd_percent=one.bias[1]),
                in_tanks=[
                    TankBias(tank=tank, mean_percent=mean, sd_percent=sd)
                    for tank, mean, sd in one.in_tanks
                ],
                off_since=one.off_since,
                scatter_percent=one.scatter_percent,
                calibrated_scatter_percent=one.calibrated_scatter_percent,
                scatter_seen_percent=one.scatter_seen_percent,
                scatter_at_most_percent=one.scatter_at_most_percent,
                readings=one.readings,
                slips=one.slips,
                slip_chance=one.slip_chance,
                first_at=one.first_at,
                last_at=one.last_at,
            )
            for one in passports(session, room)
        ],
        known=[_known(one) for one in standing(session, room, now)],
    )  # fmt: skip


def _known(one: Standing) -> KnownOut:
    instrument = one.instrument
    latest = instrument.certificate or Certificate(instrument.added_at or EPOCH)
    return KnownOut(
        key=instrument.key,
        name=instrument.name,
        sort=instrument.sort,
        unit=instrument.unit,
        serial=instrument.serial,
        of_tank=instrument.of_tank or None,
        offset=latest.offset,
        uncertainty=latest.uncertainty,
        certificate=latest.number,
        calibrated_on=latest.calibrated_on,
        due_on=one.due_on,
        is_overdue=one.is_overdue,
        is_set_aside=instrument.aside_since_at is not None,
        is_retired=instrument.retired_at is not None,
        readings=instrument.readings,
        last_reading_at=instrument.last_reading_at,
    )
