"""Who is entering: a name chosen once on each tablet, kept until another is chosen."""

from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError
from app.domain.roomlog.fields import check_text
from app.store import queries
from app.web.deps import PersonDep, RoomDep, SessionDep, remember_person
from app.web.forms import FormDep, FormState
from app.web.render import page

router = APIRouter(prefix="/rooms/{room}/who")


@router.get("")
def who(
    request: Request, session: SessionDep, room: RoomDep, person: PersonDep, back: str = ""
) -> Response:
    """Choose a name."""
    context: dict[str, Any] = {
        "room": room,
        "people": queries.people(session, room.id or 0),
        "person": person,
        "form": FormState({"by": person}),
        "back": _local(back, room.key),
    }
    return page(request, "people/who.html", context)


@router.post("")
def choose(
    request: Request, session: SessionDep, room: RoomDep, person: PersonDep, typed: FormDep
) -> Response:
    """Keep the name on this tablet."""
    back = _local(typed.get("back", ""), room.key)
    try:
        name = check_text("by", typed.get("by", ""), 80)
    except FieldError as error:
        context = {
            "room": room,
            "people": queries.people(session, room.id or 0),
            "person": person,
            "form": FormState(typed, {"by": error.message}),
            "back": back,
        }
        answer = page(request, "people/who.html", context)
        answer.status_code = 422
        return answer
    response = RedirectResponse(back, 303)
    remember_person(response, name)
    return response


def _local(address: str, room: str) -> str:
    """The address to go back to, if it is one of ours."""
    parts = urlsplit(address)
    is_local = not parts.scheme and not parts.netloc and parts.path.startswith(f"/rooms/{room}")
    return address if is_local and "\\" not in address else f"/rooms/{room}"
