"""What an address of the spending pages asks for, and addresses that keep it."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any
from urllib.parse import quote_plus

from app.domain.errors import FieldError
from app.domain.solvents import SOLVENTS
from app.domain.spend.cost_lines import CATEGORIES, CATEGORY_WORDS
from app.domain.spend.weeks import IsoWeek
from app.services.spend.weekly_costs import Week
from app.store import queries
from app.web.deps import Visit

ASKED = ("category", "tank", "solvent", "resin", "side", "item")
SIDES = ("consumed", "bought")
SPANS = {13: "13 weeks", 52: "52 weeks"}
NONE = "none"  # of the whole room: tied to no tank, solvent or resin
LONGEST = 64


def asked_week(visit: Visit) -> IsoWeek:
    """The week in the address, else the last one that is over.

    Raises:
        FieldError: it is none.
    """
    text = visit.request.query_params.get("week", "")
    return IsoWeek.parsed(text) if text else IsoWeek.at(visit.now, visit.zone).plus(-1)


def asked_span(visit: Visit) -> int:
    """How many weeks the trend shows.

    Raises:
        FieldError: neither of the two.
    """
    text = visit.request.query_params.get("span", "13")
    if text not in {str(key) for key in SPANS}:
        raise FieldError("span", f"“{text[:20]}” is not a span. The trend shows 13 or 52 weeks.")
    return int(text)


def asked_filters(visit: Visit, read: Week, names: Mapping[str, Mapping[str, str]]) -> dict[
    str, str
]:  # fmt: skip
    """What the lines are to be filtered by; what is not asked for is left out.

    Raises:
        FieldError: a value that the room does not know: it would filter everything away.
    """
    given = visit.request.query_params
    asked = {name: text[:LONGEST] for name in ASKED if (text := given.get(name, ""))}
    known: dict[str, tuple[str, set[str]]] = {
        "category": ("a cause of costs", set(CATEGORIES)),
        "tank": ("a tank of this room", {*names["tank"], NONE}),
        "solvent": ("a solvent", {*SOLVENTS, *read.spend.solvents.values(), NONE}),
        "resin": ("a resin of this room", {*names["resin"], NONE}),
        "item": ("an item on the shelf", {*read.spend.shelf, NONE}),
        "side": ("a side: choose consumed or bought", set(SIDES)),
    }
    for name, text in asked.items():
        what, values = known[name]
        if text not in values:
            hint = f" There are: {', '.join(CATEGORY_WORDS)}." if name == "category" else ""
            raise FieldError(name, f"“{text}” is not {what}.{hint}")
    if asked.get("side") == "bought" and "category" in asked:
        raise FieldError("side", "Purchases have no cause. Leave the category out.")
    return asked


def names_of(visit: Visit) -> dict[str, dict[str, str]]:
    """The names of tanks, resins and solvents by key."""
    tanks = queries.tank_names(visit.session, visit.room_id)
    return {"tank": tanks, "resin": visit.resin_names(), "solvent": {}}


def at(visit: Visit, page: str = "", **asked: Any) -> str:
    """An address of the spending pages; a span of 13 weeks goes without saying."""
    parts = ("spend", page) if page else ("spend",)
    kept = {name: value for name, value in asked.items() if (name, value) != ("span", 13)}
    return visit.address(*parts) + ("?" if kept else "") + query_of(kept)


def query_of(asked: Mapping[str, Any]) -> str:
    """The part of an address that asks for something."""
    return "&".join(f"{name}={_quoted(str(value))}" for name, value in asked.items())


@lru_cache(maxsize=2_000)  # a page asks for the same tanks and causes in hundreds of addresses
def _quoted(text: str) -> str:
    return quote_plus(text)
