"""Labels with codes: a printable sheet of the room's items, tanks, stations and drums, and files.

A code holds the short address of the thing's page, so that scanning it opens the page on which the
usual action waits.
"""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

import segno
from fastapi import APIRouter, Path
from markupsafe import Markup
from starlette.responses import Response

from app.domain.errors import NotFound
from app.domain.roomlog.kinds.supplies import ITEM
from app.store import queries
from app.store.things import things
from app.web.codes.qr import PLACES, QUIET_MODULES, qr_svg, short_address
from app.web.deps import Visit, VisitDep

router = APIRouter(prefix="/rooms/{room}/codes")
ACTS = {
    "l": "Wash as last", "w": "Another wash", "r": "Log a reading", "x": "Tacky or rejected parts",
    "h": "Hold the tank",
}  # fmt: skip
AT_TANKS = "acts"
SORTS = {
    "i": "Items on the shelf", "t": "Tanks", AT_TANKS: "One act at a tank",
    "s": "Curing stations", "d": "Waste drums",
}  # fmt: skip
SIDE_PX = 12
"""Pixels of a module in a picture file: a code of 37 modules is 4.5 cm wide at 300 dots an inch."""
Key = Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.:-]*$")]


@dataclass(frozen=True)
class Sticker:
    """One code with what a person reads beside it."""

    sort: str
    key: str
    name: str
    place: str
    address: str
    code: Markup


@router.get("")
def sheet(visit: VisitDep) -> Response:
    """All codes of one sort, to print and cut apart."""
    asked = visit.request.query_params.get("sort", "i")
    sort = asked if asked in SORTS else "i"
    at = visit.address("codes")
    context = {
        "stickers": [
            _sticker(visit, one, *named)
            for one in (ACTS if sort == AT_TANKS else (sort,))
            for named in _named(visit, one)
        ],
        "sort": sort,
        "title": SORTS[sort],
        "own_machine": visit.own_machine,
        "switches": [(f"{at}?sort={key}", text, key == sort) for key, text in SORTS.items()],
    }
    return visit.page("supplies/codes.html", context)


@router.get("/{sort}/{key}.svg")
def drawing(visit: VisitDep, sort: str, key: Key) -> Response:
    """One code as a drawing."""
    out = io.BytesIO()
    _code(visit, sort, key).save(out, kind="svg", border=QUIET_MODULES, light="#fff", scale=SIDE_PX)
    return _file(out, "image/svg+xml", f"{key}.svg")


@router.get("/{sort}/{key}.png")
def picture(visit: VisitDep, sort: str, key: Key) -> Response:
    """One code as a picture."""
    out = io.BytesIO()
    _code(visit, sort, key).save(out, kind="png", border=QUIET_MODULES, scale=SIDE_PX)
    return _file(out, "image/png", f"{key}.png")


def _code(visit: Visit, sort: str, key: str) -> segno.QRCode:
    if sort not in PLACES or key not in {named[0] for named in _named(visit, sort)}:
        raise NotFound("There is no code at this address.")
    return segno.make(short_address(visit, sort, key), error="m", micro=False)


def _file(out: io.BytesIO, kind: str, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(out.getvalue(), media_type=kind, headers=headers)


def _sticker(visit: Visit, sort: str, key: str, name: str, place: str) -> Sticker:
    address = short_address(visit, sort, key)
    return Sticker(sort, key, name, place, address, qr_svg(address))


def _named(visit: Visit, sort: str) -> Iterable[tuple[str, str, str]]:
    """Key, name and place of everything of a sort that is in use."""
    if sort == "t" or sort in ACTS:
        board = queries.board(visit.session, visit.room_id, visit.now)
        act = ACTS.get(sort, "")
        return [(tank.key, f"{tank.place} {tank.name}", act) for tank in board.tanks]
    kind = {"i": ITEM, "s": "station", "d": "drum"}.get(sort)
    if kind is None:
        return []
    found = things(visit.session, visit.room_id, kind, only_open=True)
    named = [
        (key, state.name, state.rules.location if sort == "i" else "")
        for key, state in found.items()
        if state.name
    ]
    return sorted(named, key=lambda one: (one[2].lower(), one[1].lower()))
