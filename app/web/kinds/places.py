"""Where a kind's form may hang: the room, or a thing of it with its page, its name and its undo."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import KINDS, Entry, ExplanationDismissed, Swap
from app.domain.roomlog.kinds.curing import StationEntry
from app.domain.roomlog.kinds.instruments import InstrumentAdded
from app.domain.roomlog.kinds.supplies import ITEM, StockEntry
from app.domain.roomlog.life import Form
from app.domain.supplies.state import ItemState
from app.services.curing.stations import find_station
from app.services.meters.book import find_instrument
from app.services.waste import find_drum
from app.store.things import thing
from app.web.deps import Visit


@dataclass(frozen=True)
class Place:
    """A kind of thing at which entries are made.

    Attributes:
        key: the field that names it, also in addresses; empty for the room.
        path: the address of its page within the room.
        forms: where its forms lie, the task in braces.
        undo: where an entry made here is taken back.
        find: the thing by key, in whatever form its templates know it; raises NotFound.
        also: whether an entry without a form here is made on its page as well.
    """

    key: str
    path: str
    forms: str
    undo: str
    find: Callable[[Visit, str], Any]
    also: Callable[[Entry], bool] = lambda _: False

    def address(self, visit: Visit, key: str) -> str:
        """The address of the thing's page."""
        return visit.address() + self.path.format(**{self.key or "room": key})

    def stores(self, entry: Entry, key: str) -> bool:
        """Whether the thing's page stores such an entry, and it is about that thing."""
        is_here = isinstance(entry.reached, Form) and entry.reached.at == (self.key or "room")
        is_of_thing = not self.key or getattr(entry, self.key, None) == key
        return is_of_thing and (is_here or self.also(entry))


def name_of(thing: Any) -> str:
    """What the thing is called: of a tank with its place."""
    name = str(getattr(thing, "name", "") or getattr(thing, "key", ""))
    place = getattr(thing, "place", None)
    return f"{place} {name}" if place is not None else name


def item_of(visit: Visit, key: str) -> ItemState:
    """The item of that key.

    Raises:
        NotFound: there is none.
    """
    state: ItemState | None = thing(visit.session, visit.room_id, ITEM, key)
    if state is None:
        raise NotFound(f"There is no item “{key[:64]}” on this shelf.")
    return state


PLACES: Mapping[str, Place] = {
    "room": Place("", "", "/log/{task}", "/undo/{entry_id}", lambda visit, _: visit.room),
    "tank": Place(
        "tank", "/tanks/{tank}", "/tanks/{tank}/log/{task}", "/tanks/{tank}/undo/{entry_id}",
        lambda visit, key: visit.tank(key),
        lambda entry: isinstance(entry, Swap | ExplanationDismissed),
    ),
    "station": Place(
        "station", "/stations/{station}", "/stations/{station}/log/{task}",
        "/stations/{station}/undo/{entry_id}",
        lambda visit, key: find_station(visit.session, visit.room_id, key),
        lambda entry: isinstance(entry, StationEntry),
    ),
    "item": Place(
        "item", "/shelf/items/{item}", "/shelf/items/{item}/{task}",
        "/shelf/undo/{item}/{entry_id}", item_of,
        lambda entry: isinstance(entry, StockEntry),
    ),
    "drum": Place(
        "drum", "/waste/drums/{drum}", "/waste/drums/{drum}/log/{task}",
        "/waste/drums/{drum}/undo/{entry_id}",
        lambda visit, key: find_drum(visit.session, visit.room_id, key),
    ),
    "instrument": Place(
        "instrument", "/instruments/{instrument}", "/instruments/{instrument}/log/{task}",
        "/instruments/{instrument}/undo/{entry_id}",
        lambda visit, key: find_instrument(visit.session, visit.room_id, key),
        lambda entry: isinstance(entry, InstrumentAdded),
    ),
}  # fmt: skip


def forms_at(place: str) -> dict[str, type[Entry]]:
    """The kinds whose forms hang there, by task, in the order of their links."""
    found = [
        (kind.reached, kind)
        for kind in KINDS.values()
        if isinstance(kind.reached, Form) and kind.reached.at == place
    ]
    return {form.task: kind for form, kind in sorted(found, key=lambda one: one[0].rank)}


@dataclass(frozen=True)
class Link:
    """A link to a form, as a thing's page draws it."""

    href: str
    text: str
    rank: int


def links_at(visit: Visit, place: str, key: str = "") -> list[Link]:
    """The links to the forms that hang at a thing; a form that its page links to is left out."""
    where = visit.address() + PLACES[place].forms
    return [
        Link(where.format(**{place: key, "task": task}), kind.reached.link, kind.reached.rank)
        for task, kind in forms_at(place).items()
        if isinstance(kind.reached, Form) and kind.reached.link
    ]
