"""The room page: every tank against its limit, what needs a person, which swap is next."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response, StreamingResponse

from app.domain.baths.explaining import Said
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.incidents import HOLD
from app.services.baths.explaining import said_of
from app.services.duties.due import overdue
from app.services.harm import overdue_looks, told
from app.services.incidents.doubts import with_doubts
from app.services.supplies.shelf import read_shelf
from app.store import queries
from app.store.acting import acting
from app.store.queries import Board, TankView
from app.store.things import things
from app.web import words
from app.web.curing.stations import shown_cards
from app.web.deps import NowDep, SessionDep, StoreDep, Visit, VisitDep, get_visit
from app.web.inspections.needs import parts_to_look_at
from app.web.planning.views import shortfall_text
from app.web.render import ASSETS, theme_of, wants_fragment
from app.web.rooms.gauge import Gauge, gauge_of
from app.web.supplies.advice import lack_words

router = APIRouter()
TEMPLATE = "rooms/board.html"
QUEUE_SHOWN = 6
RANK = 8  # vessels in one line


@dataclass(frozen=True)
class Vessel:
    """A tank as it stands on the board."""

    tank: TankView
    gauge: Gauge
    state: words.State
    tag: str
    days_left: words.DaysLeft
    last: str


@dataclass(frozen=True)
class NeedLine:
    """A line of what needs a person, and where it is done."""

    name: str
    text: str
    href: str


@dataclass(frozen=True)
class QueueLine:
    """A line of the list of next swaps."""

    tank: TankView
    when: str
    reason: str
    is_due: bool


@router.get("/")
def front(request: Request, store: StoreDep, session: SessionDep, now: NowDep) -> Response:
    """The room where there is one, else the list of rooms."""
    known = queries.rooms(session)
    if len(known) != 1:
        return RedirectResponse("/rooms", 303)
    visit = get_visit(request, store, session, now, known[0].key)
    return visit.page(TEMPLATE, context_of(visit))


@router.get("/rooms/{room}")
def room_page(visit: VisitDep) -> Response:
    """The room at a glance."""
    minute = int(visit.now.timestamp()) // 60
    # All that the page shows beside the room: a new style sheet makes it another page.
    role = actor.role if (actor := acting()) is not None else ""
    beside = (visit.person, role, theme_of(visit.request), ASSETS.version)
    shown = hash(beside) & 0xFFFF_FFFF
    headers = {"Vary": "HX-Request"}
    if wants_fragment(visit.request):
        answer = visit.fragment(TEMPLATE, "board", context_of(visit))
    else:
        headers["ETag"] = f'W/"{visit.room_id}-{visit.room.version}-{minute}-{shown}"'
        if visit.request.headers.get("if-none-match") == headers["ETag"]:
            return Response(status_code=304, headers=headers)
        answer = visit.page(TEMPLATE, context_of(visit))
    answer.headers.update(headers)
    return answer


@router.get("/rooms/{room}/live")
def live(visit: VisitDep) -> Response:
    """Server-sent events: a word whenever the room changes."""
    stream = visit.request.app.state.notices.stream(visit.room.key)
    return StreamingResponse(stream, media_type="text/event-stream")


def context_of(visit: Visit) -> dict[str, Any]:
    """What the room page is made from."""
    plain = queries.board(visit.session, visit.room_id, visit.now)
    board = with_doubts(visit.session, visit.room, plain)
    held: dict[str, HoldState] = things(visit.session, visit.room_id, HOLD, only_open=True)
    vessels = [_vessel(tank, visit, held.get(tank.key)) for tank in board.tanks]
    stations = shown_cards(visit, visit.now)
    said = said_of(visit.session, visit.room, board.tanks, visit.now)
    early = sum(tank.is_too_early for tank in board.tanks)
    return {
        "vessels": vessels,
        "ranks": ranked(vessels),
        "size": _size(len(vessels)),
        "verdict": words.verdict([vessel.state for vessel in vessels], early),
        "is_pressing": any(vessel.state in ("over", "stop", "held") for vessel in vessels),
        "needs": [
            *_needs_of_room(visit),
            *_needs_of_instruments(said, visit),
            *_needs_of_tanks(board, visit, held, said),
            *_needs_of_stations(stations, visit),
            *_needs_of_shelf(board, visit),
            *(NeedLine(*line) for line in parts_to_look_at(visit, board)),
            *_overdue_looks(visit),
        ],
        "queue": _queue(board, visit),
        "too_early": words.too_early(board.tanks),
        "shortfall": shortfall_text(visit, board),
        "stations": stations,
        "overdue": overdue(visit.session, visit.room, board.tanks, visit.now),
    }


def _needs_of_room(visit: Visit) -> list[NeedLine]:
    """What of the whole room was found not in order: hood, eyewash, spill kit."""
    href = visit.address("duties")
    found = told(visit.session, visit.room, visit.now)
    return [NeedLine(name, f"{detail.rstrip('.')}.", href) for name, detail in found]


def _needs_of_instruments(said: Mapping[str, Said], visit: Visit) -> list[NeedLine]:
    """An instrument that is off: once, however many tanks it is read in."""
    found = next((one for one in said.values() if one.name == "instrument_off"), None)
    return [NeedLine("Hydrometer", found.short, visit.address("instruments"))] if found else []


def _overdue_looks(visit: Visit) -> list[NeedLine]:
    """Tests and looks without which an act is asked about: interlocks, covers, hood, eyewash."""
    found = overdue_looks(visit.session, visit.room, visit.now)
    return [NeedLine(name, text, visit.address("duties")) for name, text in found]


def _needs_of_tanks(
    board: Board, visit: Visit, held: Mapping[str, HoldState], said: Mapping[str, Said]
) -> list[NeedLine]:
    needs = (
        need
        for tank in board.tanks
        for need in words.needs(tank, held.get(tank.key), said.get(tank.key))
    )
    return [
        NeedLine(
            f"{need.tank.place} {need.tank.name}", need.text,
            visit.address("tanks", need.tank.key, need.path),
        )
        for need in needs
    ]  # fmt: skip


def _needs_of_stations(cards: list[dict[str, Any]], visit: Visit) -> list[NeedLine]:
    """Stations that are held, and those whose last reading was set aside."""
    lines = []
    for card in cards:
        href = visit.address("stations", card["key"])
        if card["held"]:
            text = f"Held: {card['held'].rstrip('.')}. A lead releases it."
            lines.append(NeedLine(card["name"], text, href))
        if card["aside"]:
            text = "Measure again: the last reading is set aside."
            lines.append(NeedLine(card["name"], text, href))
    return lines


def _needs_of_shelf(board: Board, visit: Visit) -> list[NeedLine]:
    """What the shelf lacks for a queued swap."""
    shelf = read_shelf(visit.session, visit.room, visit.now, board)
    lines = []
    for plan in shelf.threats:
        tank = board.tank(plan.threat.tank) if plan.threat else None
        if tank is not None:
            text = lack_words(plan, shelf.today, visit.room)
            href = visit.address("shelf", "items", plan.state.key)
            lines.append(NeedLine(f"{tank.place} {tank.name}", text, href))
    return lines


def ranked(vessels: list[Vessel]) -> list[list[Vessel]]:
    """Vessels in ranks of about equal length, so that one line runs through each."""
    ranks = -(-len(vessels) // RANK) if vessels else 0
    length = -(-len(vessels) // ranks) if ranks else 0
    return [vessels[first : first + length] for first in range(0, len(vessels), length or 1)]


def _size(tanks: int) -> str:
    return "few" if tanks <= RANK else "some" if tanks <= 3 * RANK else "many"


def _vessel(tank: TankView, visit: Visit, hold: HoldState | None) -> Vessel:
    state = words.state_of(tank, hold is not None)
    last = ""
    if tank.last_entry_kind is not None:
        last = f"{KINDS[tank.last_entry_kind].summary} {words.ago(tank.last_entry_at, visit.now)}"
    left = words.days_left(tank, visit.now, visit.zone, hold)
    return Vessel(tank, gauge_of(tank), state, words.TAGS[state], left, last)


def _queue(board: Board, visit: Visit) -> list[QueueLine]:
    by_key = {tank.key: tank for tank in board.tanks}
    lines = []
    for swap in board.swaps[:QUEUE_SHOWN]:
        tank = by_key[swap.tank]
        is_due = swap.urgency in ("swapping", "stop_washing", "swap_now")
        when = "now" if is_due else words.when(tank, visit.zone, visit.now)
        lines.append(QueueLine(tank, when, words.reason(tank, visit.now, visit.zone), is_due))
    return lines
