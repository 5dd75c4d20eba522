"""What a page is asked with: the room, and who is there."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Annotated, Any, cast
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.domain.clockwork import ClockDoubt, ClockWatch
from app.domain.errors import NotFound
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.authorship import entry_row
from app.services.caching import kept
from app.services.clockwork import doubt_of, require_clock
from app.services.door import recorded_before
from app.services.incidents.doubts import with_doubts
from app.services.rooms import find_room
from app.store import queries
from app.store.acting import acting
from app.store.drafts import DraftFolder
from app.store.engine import Store
from app.store.imports import UnderWay, noted
from app.store.photos import Photos
from app.store.queries import TankView
from app.store.site import archive
from app.store.tables import EntryRow, RoomRow
from app.web.render import fragment, page
from app.web.sending import TOUCHED_BY

PERSON_COOKIE = "person"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
OWN_MACHINE = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True)
class Visit:
    """A request to one of a room's pages.

    Attributes:
        person: who is signed in; where nobody is asked to, who said last, on this tablet, to be the
            one entering, empty where nobody has.
    """

    request: Request
    store: Store
    session: Session
    room: RoomRow
    now: datetime
    person: str

    @property
    def room_id(self) -> int:
        """The room's number in the database."""
        assert self.room.id is not None
        return self.room.id

    @property
    def photos(self) -> Photos:
        """Where the photos lie."""
        return cast(Photos, self.request.app.state.photos)

    @property
    def drafts(self) -> DraftFolder:
        """What was touched or begun, and is no entry yet."""
        return DraftFolder(self.request.app.state.settings.data_dir)

    @property
    def zone(self) -> ZoneInfo:
        """The room's time zone."""
        return ZoneInfo(self.room.time_zone)

    @property
    def today(self) -> date:
        """The day it is in the room."""
        return self.now.astimezone(self.zone).date()

    @property
    def own_machine(self) -> str:
        """The address the page was asked at where only this machine knows it; else empty."""
        host = self.request.url.hostname or ""
        return host if host in OWN_MACHINE else ""

    def tank(self, key: str) -> TankView:
        """The tank of that key.

        Raises:
            NotFound: there is none.
        """
        board = queries.board(self.session, self.room_id, self.now, with_retired=True)
        view = with_doubts(self.session, self.room, board).tank(key)
        if view is None:
            raise NotFound(f"There is no tank “{key[:64]}” in this room.")
        return view

    def resin_names(self) -> dict[str, str]:
        """The names of the room's resins by key."""
        return {resin.key: resin.name for resin in queries.resins(self.session, self.room_id)}

    def just_stored(self) -> EntryRow | None:
        """The entry that the page before it saved or took back, so that this one can say so."""
        asked = self.request.query_params
        uid = asked.get("saved") or asked.get("undone")
        return entry_row(self.session, self.room_id, uid[:64]) if uid else None

    def is_repeated(self, typed: Mapping[str, str]) -> bool:
        """Whether this form was carried out before: a retry of what was stored."""
        key = typed.get("submission", "")
        return bool(key) and recorded_before(self.store, self.room.key, key) is not None

    @property
    def clock_doubt(self) -> ClockDoubt | None:
        """Why the date of the server is doubted; None where it is believed."""
        return doubt_of(self.room, self.now, is_archived=self.is_archived)

    @property
    def clock_jump(self) -> timedelta:
        """By how much the server's clock was moved while it ran."""
        state = self.request.app.state
        return cast(ClockWatch, state.clock_watch).jump(self.now, state.steady_s())

    @property
    def under_way(self) -> UnderWay | None:
        """The import that goes on in the room, or stopped in the middle."""
        version = self.room.version
        found = kept(
            self.session, self.room_id, "import", version, lambda: noted(self.session, self.room_id)
        )
        return None if found is None else found.at(self.now)

    @property
    def is_archived(self) -> bool:
        """The room is out of use: it is only read."""
        version = self.room.version
        return kept(
            self.session, self.room_id, "archive", version,
            lambda: archive(self.session, self.room_id).is_archived,
        )  # fmt: skip

    def page(self, template: str, context: Mapping[str, Any], status: int = 200) -> Response:
        """A page of the room."""
        answer = page(self.request, template, self._context(context))
        answer.status_code = status
        return answer

    def fragment(self, template: str, block: str, context: Mapping[str, Any]) -> Response:
        """One block of a page of the room."""
        return fragment(self.request, template, block, self._context(context))

    def address(self, *parts: str) -> str:
        """An address within the room."""
        return "/".join(("/rooms", self.room.key, *parts))

    def _context(self, context: Mapping[str, Any]) -> dict[str, Any]:
        shared = {
            "room": self.room, "now": self.now, "zone": self.zone, "person": self.person,
            "clock_doubt": self.clock_doubt, "clock_jump": self.clock_jump,
            "under_way": self.under_way, "is_archived": self.is_archived,
            "has_photo": self.photos.seems_there,
        }  # fmt: skip
        return {**shared, **context}


def get_visit(
    request: Request, store: StoreDep, session: SessionDep, now: NowDep, room: str
) -> Visit:
    """The visit to the room that the address names."""
    actor = acting()
    cookie = request.cookies.get(PERSON_COOKIE, "")  # by now it may be another one's tablet
    touched_by = unquote(request.headers.get(TOUCHED_BY, cookie))[:80]
    person = actor.name if actor is not None else touched_by
    found = find_room(session, room)
    if request.method not in SAFE_METHODS and not _may_be_undated(request.url.path):
        require_clock(session, found, now)
    session.close()  # whoever waits for a form, or for a thread, holds no connection meanwhile
    return Visit(request, store, session, found, now, person)


def _may_be_undated(path: str) -> bool:
    """What cannot wait for somebody to look at the clock: a danger, a hold, and that look."""
    parts = path.split("/")[3:]
    return parts[:1] in (["problem"], ["clock"]) or parts[-1:] == ["hold"]


VisitDep = Annotated[Visit, Depends(get_visit)]


def remember_person(response: Response, name: str) -> None:
    """Offer this name next time on this tablet; where people sign in, it is asked for there."""
    if acting() is not None:
        return
    response.set_cookie(
        PERSON_COOKIE, quote(name), max_age=30 * 86400, httponly=True, samesite="strict"
    )


def go_on(address: str, by: str) -> Response:
    """The way on after storing: to a page, on which this tablet offers the name again."""
    answer = RedirectResponse(address, 303)
    if by:
        remember_person(answer, by)
    return answer
