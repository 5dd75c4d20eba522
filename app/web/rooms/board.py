"""The room page: every tank against its limit, what needs a person, which swap is next."""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response, StreamingResponse

from app.domain.baths.explaining import Said
from app.domain.calendar_words import moment_words
from app.domain.harm.faults import FAULTS
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.instruments import INSTRUMENT
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.baths.explaining import said_of
from app.services.duties.due import overdue
from app.services.harm import overdue_looks, told
from app.services.incidents.doubts import with_doubts
from app.services.late_marks import Used, used_though_held
from app.services.supplies.shelf import read_shelf
from app.services.waste import drums
from app.store import queries
from app.store.acting import acting
from app.store.queries import Board, TankView
from app.store.things import things
from app.web import words
from app.web.curing.stations import shown_cards
from app.web.deps import Visit, VisitDep, get_visit
from app.web.inspections.needs import parts_to_look_at
from app.web.planning.views import shortfall_text
from app.web.render import ASSETS, theme_of, wants_fragment
from app.web.rooms.by_need import Vessel, by_need, everything, laid_out
from app.web.rooms.gauge import gauge_of
from app.web.rooms.lamps import teeth
from app.web.rooms.problems import drum_words, open_problems
from app.web.supplies.advice import lack_words

router = APIRouter()
TEMPLATE = "rooms/board.html"
SHOWN_PROBLEMS = 3


@dataclass(frozen=True)
class NeedLine:
    """A line of what needs a person, and where it is done."""

    name: str
    text: str
    href: str


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
    shown = f"{zlib.crc32(repr(beside).encode()):x}"  # the same on every server
    headers = {"Vary": "HX-Request"}
    if wants_fragment(visit.request):
        answer = visit.fragment(TEMPLATE, "board", context_of(visit))
    else:
        headers["ETag"] = f'W/"{visit.room_id}-{visit.room.edition}-{minute}-{shown}"'
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
    board = board_of(visit)
    said = said_of(visit.session, visit.room, board.tanks, visit.now)
    vessels = _vessels(visit, board, said)
    stations, problems = teeth(visit), open_problems(visit, board)
    shown = problems[:SHOWN_PROBLEMS]
    others = [
        *_needs_of_room(visit),
        *_needs_of_drums(visit),
        *_needs_of_holds(board, visit),
        *_needs_of_instruments(said, visit),
        *_needs_of_stations(shown_cards(visit, visit.now), visit),
        *_needs_of_shelf(board, visit),
        *(NeedLine(*line) for line in parts_to_look_at(visit, board)),
        *_overdue_looks(visit),
        *_shortfall(visit, board),
    ]
    early = sum(tank.is_too_early for tank in board.tanks)
    is_whole = visit.request.query_params.get("show") == "all"
    layout = (
        everything(vessels)
        if is_whole
        else laid_out(
            vessels, len(others), len(stations), len(shown) + (len(problems) > len(shown))
        )
    )
    return {
        "vessels": vessels,
        "as_of": board.days_as_of,
        "layout": layout,
        "is_whole": is_whole,
        "headline": words.headline(
            [vessel.state for vessel in vessels if vessel.is_needy],
            len(vessels),
            early,
            len(problems),
        ),
        "verdict": words.verdict([vessel.state for vessel in vessels], early, len(problems)),
        "problems": shown,
        "more_problems": len(problems) - len(shown),
        "others": others,
        "too_early": words.too_early(board.tanks),
        "stations": stations,
        "overdue": overdue(visit.session, visit.room, board.tanks, visit.now),
    }


def vessels_of(visit: Visit, board: Board) -> list[Vessel]:
    """The room's tanks, those that need somebody first."""
    return _vessels(visit, board, said_of(visit.session, visit.room, board.tanks, visit.now))


def board_of(visit: Visit) -> Board:
    """The room's tanks with what is doubted of them."""
    plain = queries.board(visit.session, visit.room_id, visit.now)
    return with_doubts(visit.session, visit.room, plain)


def _vessels(visit: Visit, board: Board, said: Mapping[str, Said]) -> list[Vessel]:
    held: dict[str, HoldState] = things(visit.session, visit.room_id, HOLD, only_open=True)
    return by_need(
        [_vessel(tank, visit, held.get(tank.key), said.get(tank.key)) for tank in board.tanks]
    )


def _needs_of_room(visit: Visit) -> list[NeedLine]:
    """What of the whole room was found not in order: hood, eyewash, spill kit."""
    href = visit.address("duties")
    found = told(visit.session, visit.room, visit.now)
    return [NeedLine(name, f"{detail.rstrip('.')}.", href) for name, detail in found]


def _needs_of_drums(visit: Visit) -> list[NeedLine]:
    """Drums whose last check found that they leak, rust or bulge: one that is warm is a problem."""
    here = drums(visit.session, visit.room_id, only_open=True).values()
    return [
        NeedLine(
            drum_words(drum.name or drum.key),
            f"{FAULTS['drum_unsound'].name}. {FAULTS['drum_unsound'].way}",
            visit.address("waste", "drums", drum.key),
        )
        for drum in here
        if drum.is_unsound and not drum.is_warm and not drum.is_empty and not drum.is_shipped
    ]


def _needs_of_holds(board: Board, visit: Visit) -> list[NeedLine]:
    """What is held and was used since, by what the log was told."""
    lines = []
    for one in used_though_held(visit.session, visit.room):
        tank = board.tank(one.key) if one.kind == HOLD else None
        name = f"{tank.place} {tank.name}" if tank else one.name or one.key
        what = f" lot {one.lot}" if one.lot else ""
        act, when = KINDS[one.act].summary.lower(), moment_words(one.at, visit.zone)
        more = f", and {one.count - 1} more" if one.count > 1 else ""
        text = f"{HELD_WORDS[one.kind]}{what}, but in the log since then: {act}, {when}{more}."
        lines.append(NeedLine(name, text, visit.address(*_place_of(one))))
    return lines


HELD_WORDS = {
    HOLD: "Held", STATION: "Held", DRUM: "In quarantine", INSTRUMENT: "Set aside", ITEM: "Held",
}  # fmt: skip


def _place_of(one: Used) -> tuple[str, ...]:
    """The page on which a lead settles it."""
    where = {
        HOLD: ("tanks", one.key, "hold"), STATION: ("stations", one.key, "hold"),
        DRUM: ("waste", "drums", one.key), INSTRUMENT: ("instruments", one.key),
        ITEM: ("shelf", "items", one.key),
    }  # fmt: skip
    return where[one.kind]


def _needs_of_instruments(said: Mapping[str, Said], visit: Visit) -> list[NeedLine]:
    """An instrument that is off: once, however many tanks it is read in."""
    found = next((one for one in said.values() if one.name == "instrument_off"), None)
    return [NeedLine("Hydrometer", found.short, visit.address("instruments"))] if found else []


def _overdue_looks(visit: Visit) -> list[NeedLine]:
    """Tests and looks without which an act is asked about: interlocks, covers, hood, eyewash."""
    found = overdue_looks(visit.session, visit.room, visit.now)
    return [NeedLine(name, text, visit.address("duties")) for name, text in found]


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
            lines.append(NeedLine(f"Shelf for {tank.place} {tank.name}", text, href))
    return lines


def _shortfall(visit: Visit, board: Board) -> list[NeedLine]:
    """The first swap to come that lacks something."""
    text = shortfall_text(visit, board)
    return [NeedLine("First shortage", f"{text}.", visit.address("plan"))] if text else []


def _vessel(tank: TankView, visit: Visit, hold: HoldState | None, said: Said | None) -> Vessel:
    state = words.state_of(tank, hold is not None)
    last = ""
    is_out = tank.swap.urgency == "swapping"
    if tank.last_entry_kind is not None and not is_out:  # what began the swap is its reason
        last = f"{KINDS[tank.last_entry_kind].summary} {words.ago(tank.last_entry_at, visit.now)}"
    left = words.days_left(tank, visit.now, visit.zone, hold)
    act, reason = words.first_need(tank, state, visit.now, visit.zone, hold, said)
    instead = {"?": "not known", "Empty": "empty"}.get(left.figure, "")
    if is_out:
        instead = "held, swap" if state == "held" else "out of use"
    return Vessel(
        tank, gauge_of(tank), state, words.TAGS[state], left, last, act, reason, instead,
        words.spoken(tank, instead, of_limit=round(tank.of_limit(tank.mean_percent))),
    )  # fmt: skip
