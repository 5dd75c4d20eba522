"""Who may do what: people as rows, acts as columns, and the two forms of a lead."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.people.qualifications import TOLD_DAYS, QualificationState, Word
from app.domain.planning.days import day_of
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.qualifications import (
    ACT_WORDS,
    ACTS_QUALIFIED,
    QUALIFICATIONS,
    QualificationEnded,
    Qualified,
)
from app.domain.roomlog.sentences import beside
from app.services.qualifications import qualifications
from app.store.site import crew
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/qualified")
TEMPLATE = "site/qualified.html"
ACT = "act+"
"""Begins the names of the boxes for acts: one form may qualify somebody for several."""


@dataclass(frozen=True)
class Cell:
    """A person and an act.

    Attributes:
        state: `may`, `soon` where it ends within the month, `past`, or empty; one that a lead
            ended looks like one that nobody entered.
    """

    state: str = ""
    word: Word | None = None
    left: int = 0

    @property
    def basis(self) -> str:
        """What it rests on, in words."""
        times = self.word.supervised_times if self.word is not None else None
        return f"{beside(str(times), 'times')} under supervision" if times else ""


@router.get("")
def matrix_page(visit: VisitDep) -> Response:
    """The people and what each may do."""
    return _page(visit, FormState(), FormState())


@router.post("")
def qualify(visit: VisitDep, typed: FormDep) -> Response:
    """Qualify somebody for one or several acts."""
    return _store(visit, typed, Qualified.kind, _chosen(typed))


@router.post("/end")
def end(visit: VisitDep, typed: FormDep) -> Response:
    """Take somebody off the list of who may do something."""
    return _store(visit, typed, QualificationEnded.kind, _chosen(typed))


def _chosen(typed: dict[str, str]) -> list[str]:
    return [act for act in ACTS_QUALIFIED if typed.get(ACT + act)]


def _store(visit: Visit, typed: dict[str, str], kind: str, acts: Sequence[str]) -> Response:
    sent = {**typed, "qualifications": QUALIFICATIONS, "by": visit.person}

    def again(form: FormState) -> Response:
        is_end = kind == QualificationEnded.kind
        return _page(visit, FormState() if is_end else form, form if is_end else FormState(), 422)

    try:
        entries: list[Entry] = [
            read_entry(kind, {**sent, "act": act}, visit.room, visit.person, visit.now)
            for act in acts or ("",)
        ]
        enter(visit, typed, entries)
    except SENT_BACK as back:
        return again(form_of(back, typed, _about_acts))
    return RedirectResponse(f"{visit.address('qualified')}?saved=1", 303)


def _about_acts(messages: dict[str, str]) -> dict[str, str]:
    """The form has a box for each act, and none was ticked."""
    return messages | ({"act": "Choose at least one act."} if "act" in messages else {})


def _page(visit: Visit, form: FormState, end_form: FormState, status: int = 200) -> Response:
    people = crew(visit.session, visit.room_id)
    said = qualifications(visit.session, visit.room_id)
    today = day_of(visit.now, visit.zone)
    here = [one for one in people.people if not one.has_left]
    context: dict[str, Any] = {
        "acts": [(act, ACT_WORDS[act]) for act in ACTS_QUALIFIED],
        "asked": {act for act in ACTS_QUALIFIED if said.is_asked((act,), visit.now)},
        "rows": [
            (one, [_cell(said, one.name, act, today) for act in ACTS_QUALIFIED]) for one in here
        ],
        "here": [(one.name, one.name) for one in here],
        "leads": [(name, name) for name in people.leads],
        "specs": Qualified.specs(),
        "today": today,
        "is_saved": "saved" in visit.request.query_params,
        "form": form,
        "end_form": end_form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        "end_submission": end_form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)


def _cell(said: QualificationState, person: str, act: str, today: date) -> Cell:
    word = said.word(person, act)
    if word is None or word.until_on is None:
        return Cell()
    left = (word.until_on - today).days
    state = "past" if left < 0 else "soon" if left <= TOLD_DAYS else "may"
    return Cell(state, word, left)
