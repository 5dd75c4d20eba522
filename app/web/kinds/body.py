"""The body of every kind's form: show it, look at what was typed, ask, store, take back."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.checks import misfits
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import Entry, Resin
from app.domain.roomlog.kinds.instruments import INSTRUMENT
from app.domain.roomlog.life import Form
from app.domain.solvents import SOLVENTS
from app.domain.solvents.cautions import pouring
from app.services.acts.undoing import undo as undo_entries
from app.services.definitions import context as definitions
from app.services.harm import lowered_flash
from app.services.meters.book import instruments
from app.services.refusals import problems_of
from app.store import queries
from app.store.tables import RoomRow
from app.web.asking import SentBack, ask
from app.web.deps import Visit, go_on
from app.web.filters import solvent_name
from app.web.forms import FormState, unit_label
from app.web.kinds.different import Asked
from app.web.kinds.places import PLACES, Place, forms_at, name_of
from app.web.kinds.registry import different

NOT_TYPED = ("unit",)  # it only says which unit a sender meant


@dataclass(frozen=True)
class FormField:
    """A field as a form draws it; `choices` are pairs of word and text."""

    name: str
    spec: FieldSpec
    unit: str
    is_required: bool
    label: str = ""
    choices: tuple[tuple[str, str], ...] = ()


def kind_at(place: str, task: str) -> type[Entry]:
    """The kind whose form hangs there.

    Raises:
        NotFound: there is no such form.
    """
    found = forms_at(place).get(task)
    if found is None:
        raise NotFound("There is nothing at this address.")
    return found


def form_page(visit: Visit, place: str, key: str, task: str) -> Response:
    """The form, with what it begins with; what the address brings is kept."""
    kind = kind_at(place, task)
    thing = PLACES[place].find(visit, key)
    empty = Asked(visit, kind, thing, FormState())
    brought = dict(visit.request.query_params)
    begun = {"by": visit.person, **different(kind).start(empty), **brought, place: key}
    return _page(Asked(visit, kind, thing, FormState(begun)), key)


def store_form(visit: Visit, place: str, key: str, task: str, typed: dict[str, str]) -> Response:
    """Store what was typed, or show the form again with what does not fit or is asked about."""
    kind = kind_at(place, task)
    thing = PLACES[place].find(visit, key)
    asked = Asked(visit, kind, thing, FormState(typed))

    def show_again(form: FormState) -> Response:
        return _page(replace(asked, form=form), key, 422)

    return store_typed(asked, PLACES[place], key, show_again)


def store_typed(
    asked: Asked, place: Place, key: str, show_again: Callable[[FormState], Response]
) -> Response:
    """Store the entry that a form of a thing describes, then go to the page of the thing."""
    visit, how, typed = asked.visit, different(asked.kind), asked.typed
    values = {**typed, **({place.key: key} if place.key else {})}
    asked = replace(asked, form=FormState(values))
    try:
        entry = how.read(asked)
        if not visit.is_repeated(typed) and (errors := _problems(asked, entry)):
            raise FieldErrors(errors)
        ask(visit, typed, [entry], lambda: how.doubts(asked, entry), values)
        done = how.enter(asked, entry)
    except SentBack as back:
        return show_again(back.form)
    except (FieldErrors, FieldError) as error:
        found = error.by_field() if isinstance(error, FieldErrors) else {error.field: error.message}
        beside = {how.beside.get(name, name): message for name, message in found.items()}
        return show_again(FormState(values, beside))
    to = place.address(visit, key) if how.to is None else how.to(asked, entry)
    return go_on(f"{to}{'&' if '?' in to else '?'}saved={done.ids[0]}", entry.by)


def take_back(visit: Visit, place: Place, key: str, entry_id: str) -> Response:
    """Take back what was just entered at the thing."""

    def is_of_page(entry: Entry) -> bool:
        return place.stores(entry, key)

    undo_entries(visit.store, visit.room.key, [entry_id], visit.person, visit.now, is_of_page)
    return RedirectResponse(place.address(visit, key) + f"?undone={entry_id}", 303)


def form_context(asked: Asked, key: str) -> dict[str, Any]:
    """What the template of a form is drawn from; `key` is that of the thing it hangs at."""
    visit, kind, thing, form = asked.visit, asked.kind, asked.thing, asked.form
    layout = kind.reached
    assert isinstance(layout, Form)
    called = name_of(thing)
    solvent = solvent_name(getattr(thing, "solvent", None) or "")
    fields = fields_of(visit, kind, layout, getattr(thing, "unit", ""))
    by_default = tuple((name,) for name in fields if name not in (layout.at, *NOT_TYPED))
    context = {
        "title": (layout.title or f"{kind.summary}: {{at}}").format(at=called),
        "heading": (layout.heading or f"{kind.summary}: {{at}}").format(at=called),
        "about": layout.about,
        "caution": layout.caution.format(
            at=called, solvent=solvent, pouring=pouring_caution(visit, thing)
        ),
        "save": layout.save,
        "task": layout.task,
        "rows": [[fields[name] for name in row] for row in layout.rows or by_default],
        "fields": fields,
        "form": form,
        "back": PLACES[layout.at].address(visit, key),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
        **({layout.at: thing} if layout.at != "room" else {}),
    }
    return {**context, **different(kind).context(asked)}


def pouring_caution(visit: Visit, tank: Any) -> str:
    """What to take care of as something is poured into a bath, by what is in it."""
    key = getattr(tank, "key", "")
    is_lowered = bool(key) and lowered_flash(visit.session, visit.room, key) != ""
    return pouring(SOLVENTS.get(getattr(tank, "solvent", None) or ""), is_lowered)


def fields_of(
    visit: Visit, kind: type[Entry], layout: Form, counted_in: str = ""
) -> dict[str, FormField]:
    """The kind's fields by name, each with its unit, label and choices.

    `counted_in` is the unit of the thing at which the form hangs, for figures in it.
    """
    return {
        name: FormField(
            name,
            spec,
            unit_label(spec, visit.room)
            or _money_unit(spec, visit.room)
            or (counted_in if spec.counted_as == layout.at else ""),
            name in kind.required(),
            layout.labels.get(name, spec.label),
            _choices(visit, name, spec),
        )
        for name, spec in kind.specs().items()
    }


def _money_unit(spec: FieldSpec, room: RoomRow) -> str:
    return room.currency if spec.type == "money" else ""


def _choices(visit: Visit, name: str, spec: FieldSpec) -> tuple[tuple[str, str], ...]:
    """What a field is chosen from: its words, or the things of the room that it may name."""
    if spec.type == "choice":
        return tuple((word, spec.word_of(word)) for word in spec.choices)
    named = spec.named(name)
    if named == "resin":
        return tuple((one.key, one.name) for one in queries.resins(visit.session, visit.room_id))
    if named == "tank":
        board = queries.board(visit.session, visit.room_id, visit.now)
        return tuple((one.key, f"{one.place} {one.name}") for one in board.tanks)
    if named == INSTRUMENT:
        known = instruments(visit.session, visit.room_id).values()
        return tuple((one.key, one.name) for one in known if one.is_here)
    return ()


def _problems(asked: Asked, entry: Entry) -> list[FieldError]:
    """What does not fit, said before anything is asked; the door looks again."""
    visit = asked.visit
    known = definitions(visit.session, visit.room_id)
    known.resins |= {
        one.resin for one in different(asked.kind).ahead(asked, entry) if isinstance(one, Resin)
    }
    found = misfits(entry, known, visit.now)
    found += problems_of(visit.session, visit.room, entry, visit.now)
    own = different(asked.kind).problems(asked, entry)
    return own + [one for one in found if one.field not in {each.field for each in own}]


def _page(asked: Asked, key: str, status: int = 200) -> Response:
    return asked.visit.page(different(asked.kind).template, form_context(asked, key), status)
