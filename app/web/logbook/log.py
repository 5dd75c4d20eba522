"""The log of the room: what happened at all its tanks, newest first."""

from collections.abc import Mapping
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.roomlog.kinds import KINDS
from app.store import queries
from app.store.log import LogFilter, log_page
from app.web.deps import Visit, VisitDep
from app.web.render import wants_fragment
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}/log")
TEMPLATE = "logbook/log.html"
LABELS = {"tank": "Tank", "kind": "Kind", "resin": "Resin", "by": "Person"}
MOST_PEOPLE = 500


@router.get("")
def room_log(visit: VisitDep) -> Response:
    """A page of the log; what cannot be chosen in the filters is not filtered by."""
    asked, choices = visit.request.query_params, _choices(visit)
    chosen = {name: asked[name] for name in choices if asked.get(name) in choices[name]}
    shown = LogFilter(
        tank=chosen.get("tank"),
        kind=chosen.get("kind"),
        resin=chosen.get("resin"),
        by=chosen.get("by"),
    )
    found = log_page(visit.session, visit.room_id, shown, asked.get("cursor"))
    context = {
        "log": lines_of(visit.session, visit.room, found.entries),
        "labels": LABELS,
        "choices": choices,
        "chosen": chosen,
        "older": _address(chosen, found.older),
        "newer": _address(chosen, found.newer),
    }
    if wants_fragment(visit.request):
        return visit.fragment(TEMPLATE, "log", context)
    return visit.page(TEMPLATE, context)


def _choices(visit: Visit) -> Mapping[str, Mapping[str, str]]:
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    people = queries.people(visit.session, visit.room_id, MOST_PEOPLE)
    return {
        "tank": {tank.key: f"{tank.place} {tank.name}" for tank in board.tanks},
        "kind": {key: kind.summary for key, kind in KINDS.items()},
        "resin": visit.resin_names(),
        "by": {name: name for name in sorted(people, key=str.casefold)},
    }


def _address(chosen: Mapping[str, str], cursor: str | None) -> str:
    return f"?{urlencode({**chosen, 'cursor': cursor})}" if cursor else ""
