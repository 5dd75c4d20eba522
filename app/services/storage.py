"""What flammable liquid stands in the fire area: baths, shelf and waste drums together."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from sqlmodel import Session

from app.domain.baths.carried import Carried
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM, WASTE_RULES
from app.domain.solvents import SOLVENTS
from app.domain.storage import BathThere, Inventory, category_of_key, fire_area, fits_in
from app.domain.waste.rulebook import RuleBook
from app.services.carried import all_carried, is_slow
from app.store import queries
from app.store.queries import TankView
from app.store.site import site
from app.store.tables import RoomRow
from app.store.things import thing, things


def stored(session: Session, room_id: int, now: datetime) -> Inventory:
    """All liquid in the fire area against the limit that the site has entered."""
    tanks = queries.board(session, room_id, now).tanks
    items = things(session, room_id, ITEM).values()
    drums = things(session, room_id, DRUM, only_open=True).values()
    limit_l = site(session, room_id).flammable_limit_l
    baths = baths_of(session, room_id, tanks)
    return fire_area(baths, items, drums, limit_l, flammable_to_c(session, room_id))


def flammable_to_c(session: Session, room_id: int) -> float:
    """The highest flash point of what counts as flammable by the rules of the site."""
    rules = thing(session, room_id, WASTE_RULES, WASTE_RULES) or RuleBook()
    return rules.flammable_to_c


def too_much(session: Session, room_id: int, now: datetime, more: Mapping[str, float]) -> str:
    """Why so many litres more, by item on the shelf, may not come in; empty where they may."""
    items = {key: thing(session, room_id, ITEM, key) for key in more}
    to_c = flammable_to_c(session, room_id)
    burning_l = sum(
        litres
        for key, litres in more.items()
        if (item := items[key]) is not None
        and item.category == "solvent"
        and category_of_key(item.solvent, to_c) is not None
    )
    return fits_in(stored(session, room_id, now), burning_l) if burning_l > 0 else ""


def baths_of(session: Session, room_id: int, tanks: Iterable[TankView]) -> list[BathThere]:
    """The baths as they stand."""
    there = list(tanks)
    return baths_there(there, lowered_flash_c(session, room_id, there))


def lowered_flash_c(session: Session, room_id: int, tanks: Iterable[TankView]) -> dict[str, float]:
    """The flash point of each bath that a flammable solvent came over into, by tank: that of the
    solvent itself where nobody can say it. Nothing is asked of the store where none of these baths
    is a slow one."""
    if not any(is_slow(tank.solvent) for tank in tanks):
        return {}
    carried = all_carried(session, session.get_one(RoomRow, room_id))
    return {key: _flash_c(one) for key, one in carried.items() if one.is_told}


def _flash_c(carried: Carried) -> float:
    if carried.flash_c is not None:
        return carried.flash_c
    of_quick_c = SOLVENTS[carried.solvent].flash_point_c
    return 0.0 if of_quick_c is None else of_quick_c  # unknown itself: category 2


def baths_there(tanks: Iterable[TankView], flash_c: Mapping[str, float]) -> list[BathThere]:
    """The baths as they stand, some with a flash point that came down."""
    return [
        BathThere(
            tank.key, f"{tank.place} {tank.name}", tank.volume_l, tank.solvent,
            flash_c.get(tank.key),
        )
        for tank in tanks
    ]  # fmt: skip
