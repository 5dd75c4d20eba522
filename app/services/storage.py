"""What flammable liquid stands in the fire area: baths, shelf and waste drums together."""

from datetime import datetime

from sqlmodel import Session

from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.solvents import SOLVENTS
from app.domain.storage import Inventory, Stored, category_of_solvent, inventory
from app.domain.waste.streams import STREAMS
from app.store import queries
from app.store.site import site
from app.store.things import things

GUESSED = "its flash point was not measured; taken as category 2"
WORST = "the most flammable liquid that may be in it decides"


def stored(session: Session, room_id: int, now: datetime) -> Inventory:
    """All liquid in the fire area against the limit that the site has entered."""
    found = [
        Stored("tanks", f"{tank.place} {tank.name}", tank.volume_l, _of_solvent(tank.solvent))
        for tank in queries.board(session, room_id, now).tanks
    ]
    found += [
        Stored("shelf", item.name, item.on_hand, _of_solvent(item.solvent))
        for item in things(session, room_id, ITEM).values()
        if item.category == "solvent" and item.on_hand > 0
    ]
    for drum in things(session, room_id, DRUM, only_open=True).values():
        if drum.name:
            category, remark = category_of_stream(drum.stream)
            found.append(Stored("drums", drum.name, drum.volume_l, category, remark))
    return inventory(found, site(session, room_id).flammable_limit_l)


def _of_solvent(key: str | None) -> int | None:
    solvent = SOLVENTS.get(key or "")
    return 2 if solvent is None else category_of_solvent(solvent)


def category_of_stream(key: str) -> tuple[int | None, str]:
    """The category of a waste stream, and why it was taken where nobody has measured it."""
    stream = STREAMS.get(key)
    if stream is None:
        return 2, GUESSED
    if stream.solvents:
        numbers = [category_of_solvent(SOLVENTS[solvent]) for solvent in stream.solvents]
        flammable = [number for number in numbers if number is not None]
        remark = WORST if len(stream.solvents) > 1 else ""
        return min(flammable, default=None), remark
    return (2, GUESSED) if stream.is_flammable or key == "unknown" else (None, "")
