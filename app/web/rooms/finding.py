"""What can be found in a room, with the page where it is."""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from urllib.parse import quote, urlencode

from app.domain.curing.stations import StationState
from app.domain.finding import Findable
from app.domain.incidents.guides import GUIDES
from app.domain.inspections.terms import PART_NAMES
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import INCIDENT
from app.domain.roomlog.kinds.inspections import COMPONENT, INSPECTION
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM, PICKUP
from app.domain.supplies.state import ItemState
from app.domain.waste.streams import STREAMS
from app.services.caching import kept
from app.services.meters.book import instruments
from app.store import queries
from app.store.site import crew
from app.store.solvents import own_solvents
from app.store.things import things
from app.web.deps import Visit
from app.web.filters import moment
from app.web.menu import GROUPS

MOST_PEOPLE = 500
Finder = Callable[[Visit, Mapping[str, str]], Iterator[Findable]]
"""All things of a sort, for a visit and the names of the tanks by key."""


def findables(visit: Visit) -> tuple[Findable, ...]:
    """All that can be found in the room, what is looked for most often first.

    It is asked for at each letter: kept until somebody enters something, or the people change.
    """
    known = crew(visit.session, visit.room_id).people
    return kept(
        visit.session, visit.room_id, "findable", (visit.room.version, visit.room.time_zone, known),
        lambda: _findables(visit),
    )  # fmt: skip


def _findables(visit: Visit) -> tuple[Findable, ...]:
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    names = {tank.key: f"{tank.place} {tank.name}" for tank in board.tanks}
    tanks = [
        Findable(
            names[tank.key], "Tank", f"/tanks/{quote(tank.key)}",
            also=(tank.key, tank.name), is_past=tank.is_retired,
        )
        for tank in board.tanks
    ]  # fmt: skip
    rest = (one for finder in FINDERS for one in finder(visit, names))
    return (*tanks, *rest)


def _drums(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for key, drum in things(visit.session, visit.room_id, DRUM).items():
        stream = STREAMS[drum.stream].name if drum.stream in STREAMS else drum.stream
        gone = f"collected {_day(visit, drum.shipped_at)}" if drum.is_shipped else ""
        about = ", ".join(one for one in (stream, gone) if one)
        yield Findable(
            drum.name or key, "Drum", f"/waste/drums/{quote(key)}", about,
            (key, drum.document, drum.pickup), drum.is_shipped,
        )  # fmt: skip


def _shelf(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    items: dict[str, ItemState] = things(visit.session, visit.room_id, ITEM)
    for key, item in items.items():
        path = f"/shelf/items/{quote(key)}"
        kept = (key, item.rules.supplier, item.rules.location)
        yield Findable(item.name or key, "Shelf", path, "", kept, item.is_retired)
    for key, item in items.items():
        path = f"/shelf/items/{quote(key)}"
        for lot in item.lots:
            if lot.lot:
                yield Findable(lot.lot, "Lot", path, item.name, (lot.supplier,), lot.quantity <= 0)
        for order in item.on_order:
            yield Findable(order.order, "Order", "/shelf/orders", item.name, (order.supplier,))


def _stations(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    found: dict[str, StationState] = things(visit.session, visit.room_id, STATION)
    for key, one in found.items():
        path = f"/stations/{quote(key)}"
        yield Findable(one.name or key, "Curing station", path, "", (key,), one.is_retired)


def _instruments(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for key, one in instruments(visit.session, visit.room_id).items():
        path = f"/instruments/{quote(key)}"
        kept = (key, one.serial, *(each.number for each in one.certificates))
        yield Findable(one.name, "Instrument", path, one.what.called, kept, not one.is_here)


def _components(visit: Visit, names: Mapping[str, str]) -> Iterator[Findable]:
    for key, one in things(visit.session, visit.room_id, COMPONENT).items():
        kind = PART_NAMES.get(one.part, one.part)
        where = names.get(one.tank, "") or one.station
        also = (key, one.lot, kind)
        yield Findable(one.name or kind, "Part", f"/parts/{quote(key)}", where, also,
                       one.is_retired)  # fmt: skip


def _people(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    roles = {person.name: person for person in crew(visit.session, visit.room_id).people}
    entered = queries.people(visit.session, visit.room_id, MOST_PEOPLE)
    for name in dict.fromkeys((*roles, *entered)):
        person = roles.get(name)
        has_left = person is not None and person.has_left
        path = f"/log?{urlencode({'by': name})}"
        yield Findable(name, "Person", path, "", (), has_left, "all entries")


def _swaps(visit: Visit, names: Mapping[str, str]) -> Iterator[Findable]:
    newest_first = reversed(things(visit.session, visit.room_id, SWAP).items())
    for key, one in newest_first:
        tank = quote(one.tank)
        path = f"/tanks/{tank}/swap"
        if one.end:
            path += f"/record?{urlencode({'swap': key})}"
        name = f"Swap of {names.get(one.tank, one.tank)}"
        day = _day(visit, one.started_at)
        yield Findable(name, "Swap", path, day, (key, one.started_by), bool(one.end))


def _inspections(visit: Visit, names: Mapping[str, str]) -> Iterator[Findable]:
    newest_first = reversed(things(visit.session, visit.room_id, INSPECTION).items())
    for key, one in newest_first:
        name = f"Inspection of {names.get(one.tank, '') or one.station}"
        yield Findable(
            name, "Inspection", f"/inspections/{quote(key)}", _day(visit, one.started_at),
            (key, one.by), one.is_closed,
        )  # fmt: skip


def _incidents(visit: Visit, names: Mapping[str, str]) -> Iterator[Findable]:
    for key, one in reversed(things(visit.session, visit.room_id, INCIDENT).items()):
        title = GUIDES[one.problem].title if one.problem in GUIDES else one.problem
        about = ", ".join(x for x in (names.get(one.tank, one.drum), _day(visit, one.at)) if x)
        yield Findable(
            title, "Problem", f"/incidents/{quote(key)}", about, (key, one.by, one.lot),
            one.is_closed,
        )  # fmt: skip


def _pickups(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for key, one in reversed(things(visit.session, visit.room_id, PICKUP).items()):
        day = one.pickup_on.strftime("%-d %b %Y") if one.pickup_on else ""
        name = f"Pickup {day}".strip()
        yield Findable(
            name, "Pickup", f"/waste/pickups/{quote(key)}", one.hauler,
            (key, one.document, *one.drums), one.shipped_at is not None,
        )  # fmt: skip


def _resins(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for key, name in visit.resin_names().items():
        path = f"/log?{urlencode({'resin': key})}"
        yield Findable(name, "Resin", path, "", (key,), leads_to="all washes")


def _solvents(visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for one in own_solvents(visit.session, visit.room_id).solvents.values():
        yield Findable(one.name, "Own solvent", "/solvents")


def _pages(_visit: Visit, _names: Mapping[str, str]) -> Iterator[Findable]:
    for title, pages in GROUPS:
        for path, name in pages:
            yield Findable(name, "Page", path, title)


FINDERS: tuple[Finder, ...] = (
    _drums, _stations, _instruments, _shelf, _components, _people, _swaps, _inspections,
    _incidents, _pickups,
    _resins, _solvents, _pages,
)  # fmt: skip
"""What can be found besides the tanks; a new sort is one function here."""


def _day(visit: Visit, at: datetime | None) -> str:
    return "" if at is None else f"{moment(at, visit.zone)[:-6]} {at.astimezone(visit.zone):%Y}"
