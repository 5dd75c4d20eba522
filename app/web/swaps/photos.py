"""Photos that a step of a swap asks for: kept by content, answered by it."""

import re
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from app.domain.checklists.template import Step
from app.domain.errors import FieldError, FieldErrors
from app.services.inspections.belonging import keeps_originals, receive
from app.services.inspections.photos import keep
from app.store.room_photos import has_photo
from app.web.deps import Visit
from app.web.people.agreeing import own_word

MARK = "photo:"
ANSWER = re.compile(r"photo:[0-9a-f]{64}")
MOST_FILES = 6


@dataclass(frozen=True)
class StepForm:
    """The form of a step: its text fields, and its files by the name of their question."""

    values: dict[str, str]
    files: dict[str, UploadFile]


async def step_form(request: Request) -> AsyncIterator[StepForm]:
    """The fields and files of a form. Files lie on disk, never whole in memory."""
    async with request.form(max_files=MOST_FILES, max_fields=200) as form:
        values = {name: value for name, value in form.items() if isinstance(value, str)}
        files = {
            name.removeprefix("file_"): value
            for name, value in form.items()
            if isinstance(value, UploadFile) and value.filename
        }
        yield StepForm(await own_word(request, values, has_files=bool(files)), files)


StepFormDep = Annotated[StepForm, Depends(step_form)]


def with_photos(visit: Visit, step: Step, sent: StepForm) -> dict[str, str]:
    """What was typed, with the photos that came along as answers.

    Raises:
        FieldErrors: a file is no photo that can be kept.
    """
    keeps = keeps_originals(visit.session, visit.room_id)
    values, errors, kept = dict(sent.values), [], list[str]()
    for ask in step.asks:
        file = sent.files.get(ask.key)
        if ask.kind != "photo":
            continue
        if file is None:
            if (said := photo_of(values.get(ask.key))) and not _is_ours(visit, said):
                del values[ask.key]
            continue
        try:
            photo = keep(visit.photos, file.file, file.filename or "", keep_original=keeps).photo
            values[ask.key] = MARK + photo
            kept.append(photo)
        except FieldError as error:
            errors.append(FieldError(ask.key, error.message))
    receive(visit.store, visit.session, visit.room_id, kept)
    if errors:
        raise FieldErrors(errors)
    return values


def _is_ours(visit: Visit, photo: str) -> bool:
    return has_photo(visit.session, visit.room_id, photo)


def photo_of(answer: object) -> str:
    """The name of the photo that an answer is; empty where it is none."""
    is_photo = isinstance(answer, str) and ANSWER.fullmatch(answer)
    return str(answer).removeprefix(MARK) if is_photo else ""
