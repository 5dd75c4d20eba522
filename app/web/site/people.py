"""Who is entering: a name chosen once on each tablet, kept until another is chosen."""

from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError
from app.domain.roomlog.fields import check_text
from app.store import queries
from app.store.acting import acting
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState
from app.web.people.typed import sign_in_address

router = APIRouter(prefix="/rooms/{room}/who")


@router.get("")
def who(visit: VisitDep, back: str = "") -> Response:
    """Choose a name; where people sign in, their tile."""
    if acting() is not None:
        return RedirectResponse(sign_in_address(_local(visit, back)), 303)
    return _page(visit, FormState({"by": visit.person}), back)


@router.post("")
def choose(visit: VisitDep, typed: FormDep) -> Response:
    """Keep the name on this tablet."""
    if acting() is not None:
        return RedirectResponse(sign_in_address(_local(visit, typed.get("back", ""))), 303)
    try:
        name = check_text("by", typed.get("by", ""), 80)
    except FieldError as error:
        return _page(visit, FormState(typed, {"by": error.message}), typed.get("back", ""), 422)
    response = RedirectResponse(_local(visit, typed.get("back", "")), 303)
    remember_person(response, name)
    return response


def _page(visit: Visit, form: FormState, back: str, status: int = 200) -> Response:
    context = {
        "people": queries.people(visit.session, visit.room_id),
        "form": form,
        "back": _local(visit, back),
    }
    return visit.page("site/who.html", context, status)


def _local(visit: Visit, address: str) -> str:
    """The address to go back to, if it is one of this room's."""
    parts = urlsplit(address)
    is_local = not parts.scheme and not parts.netloc and parts.path.startswith(visit.address())
    return address if is_local and "\\" not in address else visit.address()
