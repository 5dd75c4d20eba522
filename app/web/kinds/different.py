"""What a kind's form does in its own way: all else is the one body of all forms."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry
from app.services import door
from app.services.baths.plausibility import entry_doubts
from app.services.door import Recorded
from app.web.asking import confirmed
from app.web.deps import Visit
from app.web.forms import FormState, read_entry


@dataclass(frozen=True)
class Asked:
    """A form that is shown or sent: whose, by whom, with what in it.

    Attributes:
        thing: what the form hangs at.
    """

    visit: Visit
    kind: type[Entry]
    thing: Any
    form: FormState

    @property
    def typed(self) -> Mapping[str, str]:
        """The values in it, by field."""
        return self.form.values


def read(asked: Asked) -> Entry:
    """The entry that was typed."""
    visit = asked.visit
    return read_entry(asked.kind.kind, asked.typed, visit.room, visit.person, visit.now)


def usual_doubts(asked: Asked, entry: Entry) -> Sequence[str]:
    """What is odd about an entry of a bath."""
    visit = asked.visit
    return entry_doubts(visit.session, visit.room, entry, visit.now) if entry.concerns_bath else ()


def enter(asked: Asked, entry: Entry) -> Recorded:
    """Through the one door."""
    return enter_all(asked, [entry])


def enter_all(asked: Asked, entries: Sequence[Entry]) -> Recorded:
    """All of them through the one door, or none."""
    visit, key = asked.visit, asked.typed.get("submission")
    return door.enter(
        visit.store, visit.room.key, entries, visit.now, key, confirmed=confirmed(asked.typed)
    )


@dataclass(frozen=True)
class Different:
    """What a kind's form does in its own way; what is left out is done as everywhere.

    Attributes:
        template: its page; one of its own extends `kinds/form.html` and draws a block otherwise.
        start: what the form begins with, beside who is there.
        read: the entry typed; raises FieldErrors.
        ahead: what the same form stores before the entry, which may name it.
        problems: what is wrong beside what the room's rules say.
        doubts: what is asked about before it is stored, in sentences.
        enter: stores it, with what goes with it.
        context: what its template needs beside what every form has.
        beside: fields that the form has not, and at which of its fields their messages stand.
        to: the address to go to afterwards; None where that is the page of the thing.
    """

    template: str = "kinds/form.html"
    start: Callable[[Asked], dict[str, str]] = lambda _: {}
    read: Callable[[Asked], Entry] = read
    ahead: Callable[[Asked, Any], Sequence[Entry]] = lambda _asked, _entry: ()
    problems: Callable[[Asked, Any], list[FieldError]] = lambda _asked, _entry: []
    doubts: Callable[[Asked, Any], Sequence[str]] = usual_doubts
    enter: Callable[[Asked, Any], Recorded] = enter
    context: Callable[[Asked], dict[str, Any]] = lambda _: {}
    beside: Mapping[str, str] = field(default_factory=dict)
    to: Callable[[Asked, Any], str] | None = None
