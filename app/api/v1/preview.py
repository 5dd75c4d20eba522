"""An entry before it is saved: what a reading means, and what is odd about it."""

from fastapi import APIRouter
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.api.deps import RoomDep, room_id
from app.api.entry_models import AnyNewEntry, to_entry
from app.api.requests import StrictRoute
from app.api.v1.saturation import Saturation, saturation
from app.api.v1.tanks import FromAttributes
from app.domain.errors import FieldErrors
from app.domain.roomlog.checks import misfits
from app.domain.roomlog.kinds import Reading
from app.incoming import NowDep, SessionDep
from app.services.baths.plausibility import Preview, entry_doubts, preview_reading
from app.services.definitions import context
from app.store.tables import RoomRow, TankRow

router = APIRouter(
    prefix="/v1/rooms/{room}",
    tags=["entries"],
    route_class=StrictRoute,
)


class AlternativeOut(FromAttributes):
    """What the reading would mean if it had been meant differently."""

    question: str
    mass_percent: float


class MeasuredOut(BaseModel):
    """What a reading measures, and what the estimate had expected."""

    saturation: Saturation
    sd_percent: float = Field(description="Standard deviation of the reading, mass percent.")
    expected_percent: float
    is_apparent: bool = Field(description="Water taken up would look the same.")
    notes: tuple[str, ...]
    alternatives: list[AlternativeOut] = Field(description="Likely slips of the pen.")


class PreviewOut(BaseModel):
    """What an entry would say; nothing is stored."""

    doubts: tuple[str, ...] = Field(description="Reasons to ask before saving.")
    measured: MeasuredOut | None = Field(description="For a reading.")


@router.post("/preview")
def preview_entry(session: SessionDep, room: RoomDep, now: NowDep, body: AnyNewEntry) -> PreviewOut:
    """Check an entry and convert a reading, without storing it."""
    entry = to_entry(body, now)
    if errors := misfits(entry, context(session, room_id(room)), now):
        raise FieldErrors(errors)
    if isinstance(entry, Reading) and not entry.of_fresh:
        preview = preview_reading(session, room, entry, now)
        measured = _measured(session, room, entry.tank, preview)
        return PreviewOut(doubts=tuple(preview.doubts), measured=measured)
    return PreviewOut(doubts=entry_doubts(session, room, entry, now), measured=None)


def _measured(session: Session, room: RoomRow, tank: str, preview: Preview) -> MeasuredOut:
    row = session.get_one(TankRow, (room_id(room), tank))
    measured = preview.measured
    return MeasuredOut(
        saturation=saturation(
            measured.mass_percent, row.resin_density_g_ml, row.solvent_density_g_ml
        ),
        sd_percent=measured.sd_percent,
        expected_percent=preview.expected_percent,
        is_apparent=measured.is_apparent,
        notes=measured.notes,
        alternatives=[AlternativeOut.model_validate(item) for item in measured.alternatives],
    )
