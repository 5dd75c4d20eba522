"""The room page: every tank against its limit, what needs a person, which swap is next."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response, StreamingResponse

from app.domain.roomlog.kinds import KINDS
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.queries import Board, TankView, board, rooms
from app.store.tables import RoomRow
from app.web import words
from app.web.deps import NowDep, RoomDep, SessionDep
from app.web.render import fragment, page, wants_fragment

router = APIRouter()
TEMPLATE = "rooms/board.html"
QUEUE_SHOWN = 6


@dataclass(frozen=True)
class Vessel:
    """A tank as it stands on the board."""

    tank: TankView
    state: words.State
    tag: str
    days_left: words.DaysLeft
    last: str


@dataclass(frozen=True)
class QueueLine:
    """A line of the list of next swaps."""

    tank: TankView
    when: str
    reason: str
    is_due: bool


@router.get("/")
def front(request: Request, session: SessionDep, now: NowDep) -> Response:
    """The room where there is one, else the list of rooms."""
    known = rooms(session)
    if len(known) == 1:
        return page(request, TEMPLATE, _context(session, known[0], now))
    return RedirectResponse("/rooms", 303)


@router.get("/rooms/{room}")
def room_page(request: Request, session: SessionDep, room: RoomDep, now: NowDep) -> Response:
    """The room at a glance."""
    etag = f'"{room.id}-{room.version}-{int(now.timestamp()) // 60}"'
    if request.headers.get("if-none-match") == etag:
        return Response(status_code=304, headers={"ETag": etag})
    context = _context(session, room, now)
    if wants_fragment(request):
        return fragment(request, TEMPLATE, "board", context)
    answer = page(request, TEMPLATE, context)
    answer.headers["ETag"] = etag
    return answer


@router.get("/rooms/{room}/live")
def live(request: Request, room: RoomDep) -> Response:
    """Server-sent events: a word whenever the room changes."""
    stream = request.app.state.notices.stream(room.key)
    return StreamingResponse(stream, media_type="text/event-stream")


def context_of(request: Request, room: str) -> dict[str, Any]:
    """The context that the page of a room is made from."""
    store: Store = request.app.state.store
    with Session(store.reader) as session:
        return _context(session, find_room(session, room), request.app.state.clock())


def _context(session: Session, room: RoomRow, now: datetime) -> dict[str, Any]:
    assert room.id is not None
    zone = ZoneInfo(room.time_zone)
    view = board(session, room.id, now)
    vessels = [_vessel(tank, now, zone) for tank in view.tanks]
    needs = [need for tank in view.tanks for need in words.needs(tank)]
    return {
        "room": room,
        "now": now,
        "zone": zone,
        "vessels": vessels,
        "verdict": words.verdict([vessel.state for vessel in vessels]),
        "is_pressing": any(vessel.state in ("over", "stop") for vessel in vessels),
        "needs": needs,
        "queue": _queue(view, now, zone),
    }


def _vessel(tank: TankView, now: datetime, zone: ZoneInfo) -> Vessel:
    state = words.state_of(tank)
    last = ""
    if tank.last_entry_kind is not None:
        last = f"{KINDS[tank.last_entry_kind].summary} {words.ago(tank.last_entry_at, now)}"
    return Vessel(tank, state, words.TAGS[state], words.days_left(tank, now, zone), last)


def _queue(view: Board, now: datetime, zone: ZoneInfo) -> list[QueueLine]:
    lines = []
    for swap in view.swaps[:QUEUE_SHOWN]:
        tank = view.tank(swap.tank)
        if tank is None:
            continue
        is_due = swap.urgency in ("swapping", "stop_washing", "swap_now")
        when = "now" if is_due else words.span(swap, zone)
        lines.append(QueueLine(tank, when, words.reason(tank, now, zone), is_due))
    return lines
