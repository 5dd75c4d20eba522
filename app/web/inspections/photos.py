"""Photos: served by their content, looked at large, labelled, marked."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound, Unavailable
from app.domain.inspections.inspection import PhotoTaken
from app.domain.roomlog.kinds.inspection_data import MOST_MARKS, PHOTO_PATTERN
from app.domain.roomlog.kinds.inspections import PhotoLabelled, PhotoMarked
from app.services.acts.inspections import touch_photo
from app.services.inspections.photos import GONE, mend, shape
from app.services.inspections.reading import find_inspection, find_look
from app.store.photos import SIZES
from app.store.room_photos import has_photo
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.photo_forms import VIEW_WORDS

router = APIRouter(prefix="/rooms/{room}")
AT = "/inspections/{inspection}/parts/{component}/photos/{photo}"
TEMPLATE = "inspections/photo.html"
NONE = "There is no such photo in this room."
SHOWN_PX = 720
HIGHEST_PX = 600


@router.get("/photos/{photo}/{size}")
def photo_file(visit: VisitDep, photo: str, size: str) -> Response:
    """A photo as it is shown; its name is its content, so it never changes."""
    if size not in SIZES or not PHOTO_PATTERN.fullmatch(photo):
        raise NotFound(NONE)
    if not has_photo(visit.session, visit.room_id, photo):
        raise NotFound(NONE)  # nor is it told whether another room has it
    folder = visit.photos
    content = folder.sound(photo, size)
    if content is None and mend(folder, photo):
        content = folder.sound(photo, size)
    if content is None:
        raise NotFound(GONE)
    headers = {
        "Cache-Control": "private, max-age=31536000, immutable",
        "Content-Disposition": "inline",
    }
    return Response(content, media_type="image/jpeg", headers=headers)


@router.get(AT)
def photo_page(visit: VisitDep, inspection: str, component: str, photo: str) -> Response:
    """A photo large, with its label and its marks; a touch on it sets a new one."""
    return _page(visit, inspection, component, photo, FormState())


@router.post(AT + "/label")
def label_photo(
    visit: VisitDep, inspection: str, component: str, photo: str, typed: FormDep
) -> Response:
    """Say anew what a photo shows."""
    return _store(visit, (inspection, component, photo), PhotoLabelled.kind, typed, {}, "")


@router.post(AT)
def mark_photo(
    visit: VisitDep, inspection: str, component: str, photo: str, typed: FormDep
) -> Response:
    """Set a mark where the photo was touched, put words to marks, or take one away."""
    taken = _taken(visit, inspection, component, photo)
    try:
        marks = _marks_after(visit, taken, typed)
    except FieldErrors as error:
        return _page(visit, inspection, component, photo, FormState(typed, error.by_field()), 422)
    is_new = len(marks) > len(taken.marks)
    place = (inspection, component, photo)
    after = "?new=1" if is_new else ""
    if typed.get("words") == "back" and marks == [vars(mark) for mark in taken.marks]:
        return RedirectResponse(visit.address("inspections", inspection, "parts", component), 303)
    return _store(visit, place, PhotoMarked.kind, typed, {"marks": marks}, after)


def _store(
    visit: Visit, place: tuple[str, str, str], kind: str, typed: dict[str, str],
    kept: dict[str, Any], after: str,
) -> Response:  # fmt: skip
    inspection, component, photo = place
    sent = {"inspection": inspection, "component": component, "photo": photo}
    sent |= {"view": typed["view"]} if "view" in typed else {}
    try:
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now, kept)
        assert isinstance(entry, PhotoLabelled | PhotoMarked)
        touch_photo(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, inspection, component, photo, FormState(typed, error.by_field()), 422)
    part = visit.address("inspections", inspection, "parts", component)
    is_done = typed.get("words") == "back"
    return RedirectResponse(part if is_done else f"{part}/photos/{photo}{after}", 303)


def _marks_after(visit: Visit, taken: PhotoTaken, typed: dict[str, str]) -> list[dict[str, Any]]:
    """The marks with their words as typed, and the one that is new or without the one taken away.

    Raises:
        FieldErrors: it lies beside the photo, or there are too many.
    """
    marks: list[dict[str, Any]] = [
        {
            "shape": m.shape, "x_percent": m.x_percent, "y_percent": m.y_percent,
            "text": typed.get(f"text_{place}", m.text).strip(),
        }
        for place, m in enumerate(taken.marks, 1)
    ]  # fmt: skip
    gone = typed.get("remove", "")
    if gone:
        return [mark for place, mark in enumerate(marks, 1) if str(place) != gone]
    if "words" in typed:
        return marks
    if len(marks) >= MOST_MARKS:
        raise FieldErrors([FieldError("marks", f"At most {MOST_MARKS} marks on a photo.")])
    x, y = _touched(visit, taken, typed)
    place = {"x_percent": round(x, 1), "y_percent": round(y, 1)}
    return [*marks, {"shape": typed.get("shape", "ring"), **place, "text": typed.get("text", "")}]


def _touched(visit: Visit, taken: PhotoTaken, typed: dict[str, str]) -> tuple[float, float]:
    """Where the photo was touched, in percent: said by the page, or from the browser's pixels."""
    width, height = _shown(visit, taken.photo)
    try:
        if typed.get("x_percent"):
            return float(typed["x_percent"]), float(typed.get("y_percent", ""))
        return 100 * float(typed["at.x"]) / width, 100 * float(typed["at.y"]) / height
    except (ValueError, KeyError):
        raise FieldErrors([FieldError("marks", "Touch the photo where the mark goes.")]) from None


def _shown(visit: Visit, photo: str) -> tuple[int, int]:
    """The size at which the photo stands on the page, in pixels."""
    width, height = shape(visit.photos, photo)
    scale = min(SHOWN_PX / width, HIGHEST_PX / height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def _taken(visit: Visit, inspection: str, component: str, photo: str) -> PhotoTaken:
    state = find_inspection(visit.session, visit.room_id, inspection)
    for one in find_look(state, component).photos:
        if one.photo == photo:
            return one
    raise NotFound("This part has no such photo in this inspection.")


def _page(
    visit: Visit, inspection: str, component: str, photo: str, form: FormState, status: int = 200
) -> Response:
    state = find_inspection(visit.session, visit.room_id, inspection)
    try:
        width, height = _shown(visit, photo)
    except (NotFound, Unavailable):
        width, height = SHOWN_PX, HIGHEST_PX
    taken = _taken(visit, inspection, component, photo)
    context = {
        "inspection": state,
        "look": find_look(state, component),
        "taken": taken,
        "views": dict(VIEW_WORDS),
        "width": width,
        "height": height,
        "form": form,
        "is_new": "new" in visit.request.query_params,
        "shapes": [("arrow", "Arrow"), ("ring", "Ring")],
        "shape": taken.marks[-1].shape if taken.marks else "arrow",
        "most_marks": MOST_MARKS,
        "submission": uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)
