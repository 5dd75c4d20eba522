"""What a form that stores goes through: its doubts, the door, and the way back.

Doubts about what was typed are asked once, with two answers, before anything is stored.

An answer settles the doubts that were shown, for the values they were shown with. Another value, or
another doubt, is asked about anew.
"""

from collections.abc import Callable, Mapping, Sequence

from app.domain.errors import Doubtful, FieldErrors
from app.domain.roomlog.checks import misfits
from app.domain.roomlog.kinds import Entry
from app.services import door
from app.services.definitions import context as definitions
from app.services.questions import doubts
from app.services.refusals import problems_of
from app.web.deps import Visit
from app.web.forms import ANSWER, FormState

CHANGE = "change"


class SentBack(Exception):
    """Nothing is stored yet: the form goes back to who filled it in, who answers or changes it.

    Attributes:
        form: what it shows.
    """

    def __init__(self, form: FormState) -> None:
        super().__init__(" ".join(form.doubts))
        self.form = form


SENT_BACK = (FieldErrors, SentBack, Doubtful)
"""What brings a form back instead of storing it; the last where only the door knows what to ask."""


def nothing() -> tuple[str, ...]:
    """No question but those of every door."""
    return ()


def ask(
    visit: Visit,
    typed: Mapping[str, str],
    entries: Sequence[Entry],
    find: Callable[[], Sequence[str]] = nothing,
    values: Mapping[str, str] | None = None,
) -> None:
    """Ask what is odd about what was typed, unless that was answered.

    Of `entries` is asked what every door asks of them; `find` gives the doubts of this form alone,
    in sentences. None are asked of a form that was carried out before: its entry would be taken for
    another one's double. `values` are shown instead of what was typed. Whoever chose to change
    something gets the form without the question.

    Raises:
        SentBack: it goes back.
    """
    shown = typed if values is None else values
    if typed.get(ANSWER) == CHANGE:
        raise SentBack(FormState(shown))
    if visit.is_repeated(typed):
        return
    asked = doubts(visit.session, visit.room, entries, visit.now)
    if len(entries) == 1 and asked and _is_refused(visit, entries[0]):
        return  # the door says why: what cannot be stored is not asked about
    odd = [one for one in find() if not any(one in other for other in asked)]
    form = FormState(shown, doubts=(*odd, *asked))
    if form.doubts and not form.is_answered:
        raise SentBack(form)


def enter(
    visit: Visit,
    typed: Mapping[str, str],
    entries: Sequence[Entry],
    find: Callable[[], Sequence[str]] = nothing,
    values: Mapping[str, str] | None = None,
) -> door.Recorded:
    """Store what a form says, once its doubts are answered (see `ask`).

    Raises:
        SentBack: it goes back with a question, or to be changed.
        FieldErrors: an entry does not fit, or a rule refuses it.
        Doubtful: the door asks what could not be asked here.
    """
    ask(visit, typed, entries, find, values)
    return door.enter(
        visit.store, visit.room.key, entries, visit.now, typed.get("submission"),
        confirmed=confirmed(typed),
    )  # fmt: skip


def as_they_are(messages: dict[str, str]) -> dict[str, str]:
    """Messages of fields whose names are those of the form."""
    return messages


def form_of(
    back: FieldErrors | SentBack | Doubtful,
    shown: Mapping[str, str],
    beside: Callable[[dict[str, str]], dict[str, str]] = as_they_are,
) -> FormState:
    """The form that goes back, with what was typed and its question or its messages.

    `beside` gives the messages, by field of the entry, by the fields of the form instead.
    """
    if isinstance(back, SentBack):
        return back.form
    if isinstance(back, Doubtful):
        return FormState(shown, doubts=back.doubts)
    return FormState(shown, beside(back.by_field()))


def _is_refused(visit: Visit, entry: Entry) -> bool:
    known = definitions(visit.session, visit.room_id)
    return bool(
        misfits(entry, known, visit.now) or problems_of(visit.session, visit.room, entry, visit.now)
    )


def confirmed(typed: Mapping[str, str]) -> frozenset[str]:
    """The names of the questions that a form's answer settles."""
    return frozenset(typed.get(ANSWER, "").split()[1:])
