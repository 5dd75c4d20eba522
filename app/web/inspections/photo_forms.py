"""Photos that come with a form: taken in from their files, each with what it shows."""

import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from app.domain.errors import FieldError, Unavailable
from app.domain.roomlog.kinds.inspection_data import VIEWS
from app.services.inspections.belonging import keeps_originals, receive
from app.services.inspections.photos import keep
from app.store.room_photos import has_photo
from app.web.deps import Visit
from app.web.people.agreeing import own_word

MOST_AT_ONCE = 12
USUAL_VIEW = "close"
KEPT = re.compile(r"[0-9a-f]{64}(,[0-9a-f]{64})*")
VIEW_WORDS = (
    ("close", "Close"), ("whole", "Whole"), ("scale", "With a scale"),
    ("before_cleaning", "Before cleaning"), ("after_cleaning", "After cleaning"),
)  # fmt: skip


@dataclass(frozen=True)
class PhotoForm:
    """A form with photos: its text fields and its files."""

    values: dict[str, str]
    files: list[UploadFile]


@dataclass(frozen=True)
class TakenIn:
    """What came of the photos of a form.

    Attributes:
        views: what each shows, by the photo, in the order given.
        problem: what is wrong with the others; empty where nothing is.
    """

    views: dict[str, str]
    problem: str


async def photo_form(request: Request) -> AsyncIterator[PhotoForm]:
    """The fields and files of a form. Files lie on disk, never whole in memory, until answered."""
    async with request.form(max_files=200, max_fields=200) as form:
        values = {name: value for name, value in form.items() if isinstance(value, str)}
        sent = form.getlist("photos")
        files = [one for one in sent if isinstance(one, UploadFile) and one.filename]
        yield PhotoForm(await own_word(request, values, has_files=bool(files)), files)


PhotoFormDep = Annotated[PhotoForm, Depends(photo_form)]


def take_in(visit: Visit, sent: PhotoForm) -> TakenIn:
    """Keep the photos of a form, each with its label: `view_0` for the first file, and so on.

    Photos that came with an earlier try of the same form are in `kept_photos`, their labels in
    `view_<photo>`.
    """
    folder = visit.photos
    before = sent.values.get("kept_photos", "")
    kept = before.split(",") if KEPT.fullmatch(before) else []
    try:
        views = {
            one: _view(sent, one)
            for one in kept
            if folder.has(one) and has_photo(visit.session, visit.room_id, one)
        }
    except Unavailable as trouble:
        return TakenIn({}, str(trouble))
    if len(sent.files) > MOST_AT_ONCE:
        message = f"At most {MOST_AT_ONCE} photos at once; these were {len(sent.files)}."
        return TakenIn(views, message)
    keeps = keeps_originals(visit.session, visit.room_id)
    problems = []
    for place, file in enumerate(sent.files):
        try:
            photo = keep(folder, file.file, file.filename or "", keep_original=keeps).photo
        except FieldError as error:
            problems.append(error.message)
        else:
            views.setdefault(photo, _view(sent, str(place)))
    receive(visit.store, visit.session, visit.room_id, views)
    return TakenIn(views, " ".join(problems))


def _view(sent: PhotoForm, name: str) -> str:
    said = sent.values.get(f"view_{name}") or sent.values.get("view")
    return said if said in VIEWS else USUAL_VIEW
