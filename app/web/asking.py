"""Doubts about what was typed: asked once, with two answers, before anything is stored.

An answer settles the doubts that were shown, for the values they were shown with. Another value, or
another doubt, is asked about anew.
"""

from collections.abc import Callable, Mapping, Sequence

from app.domain.roomlog.checks import misfits
from app.domain.roomlog.kinds import Entry
from app.services.definitions import context as definitions
from app.services.questions import doubts
from app.services.refusals import problems_of
from app.web.deps import Visit
from app.web.forms import ANSWER, FormState

CHANGE = "change"


def to_ask(
    visit: Visit,
    typed: Mapping[str, str],
    find: Callable[[], Sequence[str]],
    values: Mapping[str, str] | None = None,
    entries: Sequence[Entry] = (),
) -> FormState | None:
    """The form with what is to be asked about it; None where it can be stored.

    `find` gives the doubts in sentences. They are not asked of a form that was carried out before:
    its entry would be taken for another one's double. `values` are shown instead of what was typed.
    Of `entries` is asked what every door asks of them.
    Whoever chose to change something gets the form without the question.
    """
    shown = typed if values is None else values
    if typed.get(ANSWER) == CHANGE:
        return FormState(shown)
    if visit.is_repeated(typed):
        return None
    asked = doubts(visit.session, visit.room, entries, visit.now)
    if len(entries) == 1 and asked and _is_refused(visit, entries[0]):
        return None  # the door says why: what cannot be stored is not asked about
    odd = [one for one in find() if not any(one in other for other in asked)]
    form = FormState(shown, doubts=(*odd, *asked))
    return form if form.doubts and not form.is_answered else None


def _is_refused(visit: Visit, entry: Entry) -> bool:
    known = definitions(visit.session, visit.room_id)
    return bool(
        misfits(entry, known, visit.now) or problems_of(visit.session, visit.room, entry, visit.now)
    )


def nothing() -> tuple[str, ...]:
    """No question but those of every door."""
    return ()


def confirmed(typed: Mapping[str, str]) -> frozenset[str]:
    """The names of the questions that a form's answer settles."""
    return frozenset(typed.get(ANSWER, "").split()[1:])
