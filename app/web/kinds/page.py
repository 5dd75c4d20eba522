"""The one page of all kinds that have a form: at each place where forms hang, and its undo."""

from collections.abc import Callable

from fastapi import APIRouter
from starlette.responses import Response

from app.web.deps import VisitDep
from app.web.forms import FormDep
from app.web.kinds import body
from app.web.kinds.places import PLACES, Place

router = APIRouter(prefix="/rooms/{room}")


def _show(name: str) -> Callable[..., Response]:
    def show(visit: VisitDep, task: str) -> Response:
        """The form of a kind."""
        return body.form_page(visit, name, visit.request.path_params.get(name, ""), task)

    return show


def _store(name: str) -> Callable[..., Response]:
    def store(visit: VisitDep, task: str, typed: FormDep) -> Response:
        """Store what the form says, or show it again with what does not fit."""
        return body.store_form(visit, name, visit.request.path_params.get(name, ""), task, typed)

    return store


def _undo(place: Place) -> Callable[..., Response]:
    def undo(visit: VisitDep, entry_id: str) -> Response:
        """Take back what was just entered."""
        key = visit.request.path_params.get(place.key, "")
        return body.take_back(visit, place, key, entry_id)

    return undo


for _name, _place in PLACES.items():
    router.add_api_route(_place.forms, _show(_name), methods=["GET"], name=f"{_name}_form")
    router.add_api_route(_place.forms, _store(_name), methods=["POST"], name=f"{_name}_store")
    router.add_api_route(_place.undo, _undo(_place), methods=["POST"], name=f"{_name}_undo")
