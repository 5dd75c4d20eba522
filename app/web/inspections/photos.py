"""Photos: taken in with a form, served by their content, looked at large, marked."""

import re
import uuid
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import UploadFile
from starlette.responses import FileResponse, RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.inspections.inspection import PhotoTaken
from app.domain.roomlog.kinds.inspections import (
    PHOTO_PATTERN,
    PHOTO_RULES,
    PhotoMarked,
)
from app.services.inspections.inspections import find_inspection, find_look, mark
from app.services.inspections.photos import keep, shape
from app.store.photos import SIZES, PhotoFolder
from app.store.things import thing
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}")
TEMPLATE = "inspections/photo.html"
MOST_AT_ONCE = 12
SHOWN_PX = 720
KEPT = re.compile(r"[0-9a-f]{64}(,[0-9a-f]{64})*")
VIEWS = (
    ("close", "Close"), ("whole", "Whole"), ("scale", "With a scale"),
    ("before_cleaning", "Before cleaning"), ("after_cleaning", "After cleaning"),
)  # fmt: skip


@dataclass(frozen=True)
class PhotoForm:
    """A form with photos: its text fields and its files."""

    values: dict[str, str]
    files: list[UploadFile]


async def photo_form(request: Request) -> AsyncIterator[PhotoForm]:
    """The fields and files of a form. Files lie on disk, never whole in memory, until answered."""
    async with request.form(max_files=200, max_fields=200) as form:
        values = {name: value for name, value in form.items() if isinstance(value, str)}
        sent = form.getlist("photos")
        files = [one for one in sent if isinstance(one, UploadFile) and one.filename]
        yield PhotoForm(values, files)


PhotoFormDep = Annotated[PhotoForm, Depends(photo_form)]


def folder_of(visit: Visit) -> PhotoFolder:
    """Where the photos lie."""
    return PhotoFolder(visit.request.app.state.settings.data_dir)


def take_in(visit: Visit, sent: PhotoForm) -> tuple[list[str], str]:
    """Keep the photos of a form: those kept, and what is wrong with the others.

    Photos that came with an earlier try of the same form are in `kept_photos`.
    """
    folder = folder_of(visit)
    before = sent.values.get("kept_photos", "")
    found = before.split(",") if KEPT.fullmatch(before) else []
    found = [one for one in found if folder.has(one)]
    if len(sent.files) > MOST_AT_ONCE:
        return found, f"At most {MOST_AT_ONCE} photos at once; these were {len(sent.files)}."
    rules = thing(visit.session, visit.room_id, PHOTO_RULES, PHOTO_RULES)
    keeps = rules is None or rules.keep_originals
    problems = []
    for file in sent.files:
        try:
            found.append(keep(folder, file.file, file.filename or "", keep_original=keeps).photo)
        except FieldError as error:
            problems.append(error.message)
    return list(dict.fromkeys(found)), " ".join(problems)


@router.get("/photos/{photo}/{size}")
def photo_file(visit: VisitDep, photo: str, size: str) -> Response:
    """A photo as it is shown; its name is its content, so it never changes."""
    if size not in SIZES or not PHOTO_PATTERN.fullmatch(photo):
        raise NotFound("There is no such photo.")
    path = folder_of(visit).path(photo, size)
    if not path.is_file():
        raise NotFound("This photo is not in the data folder of this installation.")
    headers = {
        "Cache-Control": "private, max-age=31536000, immutable",
        "Content-Disposition": "inline",
    }
    return FileResponse(path, media_type="image/jpeg", headers=headers)


@router.get("/inspections/{inspection}/parts/{component}/photos/{photo}")
def photo_page(visit: VisitDep, inspection: str, component: str, photo: str) -> Response:
    """A photo large, with its marks; a touch on it sets a new one."""
    return _page(visit, inspection, component, photo, FormState())


@router.post("/inspections/{inspection}/parts/{component}/photos/{photo}")
def mark_photo(
    visit: VisitDep, inspection: str, component: str, photo: str, typed: FormDep
) -> Response:
    """Set a mark where the photo was touched, or take the last one away."""
    taken = _taken(visit, inspection, component, photo)
    try:
        marks = _marks_after(visit, taken, typed)
        sent = {"inspection": inspection, "component": component, "photo": photo}
        kept = {"marks": marks}
        entry = read_entry(PhotoMarked.kind, sent, visit.room, visit.person, visit.now, kept)
        assert isinstance(entry, PhotoMarked)
        mark(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, inspection, component, photo, FormState(typed, error.by_field()), 422)
    to = visit.address("inspections", inspection, "parts", component, "photos", photo)
    return RedirectResponse(to, 303)


def _marks_after(visit: Visit, taken: PhotoTaken, typed: dict[str, str]) -> list[dict[str, Any]]:
    marks: list[dict[str, Any]] = [
        {"shape": m.shape, "x_percent": m.x_percent, "y_percent": m.y_percent, "text": m.text}
        for m in taken.marks
    ]
    if "undo" in typed:
        return marks[:-1]
    width, height = _shown(visit, taken.photo)
    try:
        x, y = float(typed.get("at.x", "")), float(typed.get("at.y", ""))
    except ValueError:
        raise FieldErrors([FieldError("marks", "Touch the photo where the mark goes.")]) from None
    place = {"x_percent": round(100 * x / width, 1), "y_percent": round(100 * y / height, 1)}
    return [*marks, {"shape": typed.get("shape", "ring"), **place, "text": typed.get("text", "")}]


def _shown(visit: Visit, photo: str) -> tuple[int, int]:
    """The size at which the photo stands on the page, in pixels."""
    width, height = shape(folder_of(visit), photo)
    shown_px = min(SHOWN_PX, round(SHOWN_PX * width / height))
    return shown_px, max(1, round(shown_px * height / width))


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
    width, height = _shown(visit, photo) if folder_of(visit).has(photo) else (SHOWN_PX, SHOWN_PX)
    context = {
        "inspection": state,
        "look": find_look(state, component),
        "taken": _taken(visit, inspection, component, photo),
        "views": dict(VIEWS),
        "width": width,
        "height": height,
        "form": form,
        "shapes": [("arrow", "Arrow"), ("ring", "Ring")],
        "submission": uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)
