"""Doubts about what was typed: asked once, with two answers, before anything is stored.

An answer settles the doubts that were shown, for the values they were shown with. Another value, or
another doubt, is asked about anew.
"""

from collections.abc import Callable, Mapping, Sequence

from app.web.deps import Visit
from app.web.forms import ANSWER, FormState

CHANGE = "change"


def to_ask(
    visit: Visit,
    typed: Mapping[str, str],
    find: Callable[[], Sequence[str]],
    values: Mapping[str, str] | None = None,
) -> FormState | None:
    """The form with what is to be asked about it; None where it can be stored.

    `find` gives the doubts in sentences. They are not asked of a form that was carried out before:
    its entry would be taken for another one's double. `values` are shown instead of what was typed.
    Whoever chose to change something gets the form without the question.
    """
    shown = typed if values is None else values
    if typed.get(ANSWER) == CHANGE:
        return FormState(shown)
    if visit.is_repeated(typed):
        return None
    form = FormState(shown, doubts=tuple(find()))
    return form if form.doubts and not form.is_answered else None
