"""How tanks and drums are built, and what that forbids of the baths in them."""

from sqlmodel import Session

from app.domain.builds import SMALL_L, TankBuildState, bonding, hot_words, plastic_words
from app.domain.checklists.run import SwapState
from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Tank
from app.domain.roomlog.kinds.builds import BUILD, TankBuild
from app.domain.roomlog.kinds.waste import DrumTransfer, Pour
from app.domain.solvents import SOLVENTS
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import ALL_MIXED, STREAMS, UNKNOWN
from app.services.allowed_heat import is_allowed
from app.services.harm import carried_flash_c, lowered_flash
from app.services.incidents.holds import lead_problems
from app.services.part_of import is_of_problem, is_of_swap
from app.services.waste import drum_of
from app.store.tables import RoomRow, TankRow
from app.store.things import thing


def build_of(session: Session, room_id: int, tank: str) -> TankBuildState:
    """How a tank is built, as far as somebody said."""
    return thing(session, room_id, BUILD, tank) or TankBuildState(tank)


def build_problems(session: Session, room: RoomRow, entry: TankBuild) -> list[FieldError]:
    """A bath that heat or ultrasound sets on fire needs a lead's reason."""
    assert room.id is not None
    row = session.get(TankRow, (room.id, entry.tank))
    if row is None:
        return []  # said where keys are looked up
    is_lowered = lowered_flash(session, room, entry.tank) != ""
    carried_c = carried_flash_c(session, room, entry.tank)
    words = hot_words(SOLVENTS.get(row.solvent), entry, is_lowered, carried_c)
    if not words:
        return []
    if not entry.lead:
        message = f"{row.name} is {words}. It may catch fire. Only with a lead and a reason."
        return [FieldError("lead", message)]
    return lead_problems(session, room.id, entry.lead)


def refill_problems(session: Session, room: RoomRow, entry: Tank) -> list[FieldError]:
    """A tank that is set up again may not get what its heat or ultrasound sets on fire."""
    build = build_of(session, room.id or 0, entry.tank)
    words = hot_words(SOLVENTS.get(entry.solvent), build)
    row = session.get(TankRow, (room.id, entry.tank))
    if not words or (row and is_allowed(session, room, row, build, entry.solvent)):
        return []
    message = f"{entry.name} is {words}. It may catch fire. Switch both off and enter that first."
    return [FieldError("solvent", message, "tank_heated")]


def advice(session: Session, room_id: int, tank: str, drum: DrumState | None) -> tuple[str, ...]:
    """How charge is led away between a tank and a drum."""
    return bonding(
        _materials(session, room_id, tank, drum), _may_burn(session, room_id, tank, drum)
    )


def _may_burn(session: Session, room_id: int, tank: str, drum: DrumState | None) -> bool:
    """Whether bath or drum hold anything that catches fire, warm or not."""
    row = session.get(TankRow, (room_id, tank))
    base = SOLVENTS.get(row.solvent) if row is not None else None
    if base is None or base.is_flash_unknown or base.flash_point_c is not None:
        return True
    if drum is not None and (STREAMS[drum.stream].is_flammable or drum.stream == UNKNOWN):
        return True
    return _is_lowered(session, room_id, tank)


def _is_lowered(session: Session, room_id: int, tank: str) -> bool:
    room = session.get_one(RoomRow, room_id)
    return lowered_flash(session, room, tank) != ""


def swap_forbids(session: Session, room_id: int, state: SwapState) -> str:
    """Why the bath of a swap goes into its drum only with a lead's word; else empty."""
    key = state.answer("drum", "drum")
    drum = drum_of(session, room_id, str(key)) if key else None
    materials = _materials(session, room_id, state.tank, drum)
    return _of_bath(session, room_id, state.tank, state.solvent, materials, state.estimated_l)


def _of_bath(
    session: Session,
    room_id: int,
    tank: str,
    solvent: str,
    materials: list[str],
    volume_l: float,
) -> str:
    """Why so much of a bath goes through plastic only with a lead's word, by all that is in it."""
    is_lowered = _is_lowered(session, room_id, tank)
    room = session.get_one(RoomRow, room_id)
    carried_c = carried_flash_c(session, room, tank) if is_lowered else None
    return plastic_words(SOLVENTS.get(solvent), materials, volume_l, is_lowered, carried_c)


def pour_forbids(session: Session, room_id: int, pour: Pour) -> list[FieldError]:
    """Why a pour that is no step of a swap needs a lead's word; empty where it may be stored."""
    drum = drum_of(session, room_id, pour.drum)
    is_part = is_of_swap(session, room_id, pour) or is_of_problem(session, room_id, pour)
    if drum is None or is_part:
        return []  # asked at its step; or taken up where it was spilled
    row = session.get(TankRow, (room_id, pour.tank)) if pour.tank else None
    materials, volume_l = _materials(session, room_id, pour.tank or "", drum), _one_go_l(drum, pour)
    if row is not None:
        words = _of_bath(session, room_id, row.key, row.solvent, materials, volume_l)
    else:
        words = _of_stream(drum.stream, materials, volume_l)
    words = words and words + _shared_out(pour)
    if not words:
        return []
    if not pour.lead:
        return [FieldError("lead", f"{words} Pour less, or name the lead who agrees.")]
    return lead_problems(session, room_id, pour.lead)


def transfer_forbids(session: Session, room_id: int, entry: DrumTransfer) -> list[FieldError]:
    """Why moving waste from one drum into another needs a lead's word; empty where it may be."""
    drums = [drum_of(session, room_id, key) for key in (entry.from_drum, entry.drum)]
    materials = [drum.material for drum in drums if drum is not None]
    streams = [drum.stream for drum in drums if drum is not None]
    volume_l = entry.volume_l if drums[1] is None else _one_go_l(drums[1], entry)
    found = (_of_stream(stream, materials, volume_l) for stream in streams)
    words = next((words + _shared_out(entry) for words in found if words), "")
    if not words:
        return []
    if not entry.lead:
        return [FieldError("lead", f"{words} Move less, or name the lead who agrees.")]
    return lead_problems(session, room_id, entry.lead)


def _one_go_l(drum: DrumState, entry: Pour | DrumTransfer) -> float:
    """What is put into a drum with what the same person put in just before, a little each time."""
    return entry.volume_l + drum.in_small_l(entry.by, entry.at, SMALL_L)


def _shared_out(entry: Pour | DrumTransfer) -> str:
    """That a small amount counts with those before it; empty where it is not small."""
    if entry.volume_l > SMALL_L:
        return ""
    return " What the same person put into this drum within the hour counts with it."


def _of_stream(stream: str, materials: list[str], volume_l: float) -> str:
    """Why so much waste of a stream goes through plastic only with a lead's word.

    Of a mixture, and of what nobody knows, no flash point is known until it is tested.
    """
    if stream in (*ALL_MIXED, UNKNOWN):
        return plastic_words(None, materials, volume_l, is_lowered=True)
    held = (SOLVENTS.get(key) for key in STREAMS[stream].solvents)
    found = (plastic_words(solvent, materials, volume_l) for solvent in held)
    return next((words for words in found if words), "")


def _materials(session: Session, room_id: int, tank: str, drum: DrumState | None) -> list[str]:
    found = [build_of(session, room_id, tank).material] if tank else []
    return [*found, drum.material if drum is not None else ""]
