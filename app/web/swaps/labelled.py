"""The photos of a swap, each with the step or the look that asked for it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.inspections import LOOK_WORDS, InspectionPhoto
from app.services.inspections.reading import find_inspection, find_look
from app.services.swaps.looks import LOOKS, looks_around
from app.services.swaps.under_way import swap_state
from app.web.deps import Visit
from app.web.inspections.photo_forms import VIEW_WORDS
from app.web.swaps.photos import photo_of


@dataclass(frozen=True)
class Labelled:
    """A photo.

    Attributes:
        photo: the name of its file.
        words: the step and what it asked for, or the look with part and view.
        address: of its page.
    """

    photo: str
    words: str
    at: datetime
    by: str
    address: str


def photos_of_swap(visit: Visit, state: SwapState, names: Mapping[str, str]) -> list[Labelled]:
    """All photos of a swap, the oldest first; `names` of its tanks by their keys."""
    of_steps = [one for step in state.steps for one in photos_of_step(visit, state, step)]
    return sorted((*of_steps, *photos_of_looks(visit, state, names)), key=lambda one: one.at)


def photos_of_step(visit: Visit, state: SwapState, step: Step) -> list[Labelled]:
    """The photos that a step asked for, where it is ticked."""
    tick = state.tick(step.key)
    if tick is None:
        return []
    return [
        _of_answer(visit, state, step, name, photo, tick.at, tick.by)
        for name, said in tick.answers.items()
        if (photo := photo_of(said))
    ]


def photos_of_looks(visit: Visit, state: SwapState, names: Mapping[str, str]) -> list[Labelled]:
    """The photos of the looks at the tanks of a swap: while full, empty, refilled."""
    return [
        Labelled(
            one.photo, f"{name}, {LOOK_WORDS[found.when]}: {look.name}, {_view(one.view)}", one.at,
            one.by, _of_look(visit, found.key, look.component, one.photo),
        )
        for found in looks_around(visit.session, visit.room_id, state, LOOKS)
        for name in (names.get(found.tank, found.tank),)
        for look in found.looks
        for one in look.photos
    ]  # fmt: skip


def photos_of_entry(visit: Visit, entry: Entry) -> list[Labelled]:
    """The photos that an entry of the log names."""
    if isinstance(entry, StepDone):
        state = swap_state(visit.session, visit.room_id, entry.swap)
        step = state.step(entry.step)
        said: Collection[tuple[str, object]] = dict(entry.answers or {}).items()
        return [
            _of_answer(visit, state, step, name, photo, entry.at, entry.by)
            for name, one in said
            if step is not None and (photo := photo_of(one))
        ]
    if isinstance(entry, InspectionPhoto):
        found = find_inspection(visit.session, visit.room_id, entry.inspection)
        look = find_look(found, entry.component)
        when = f", {LOOK_WORDS[found.when]}" if found.tank else ""
        words = f"{look.name}{when}: {_view(entry.view)}"
        address = _of_look(visit, entry.inspection, entry.component, entry.photo)
        return [Labelled(entry.photo, words, entry.at, entry.by, address)]
    return []


def _of_answer(
    visit: Visit, state: SwapState, step: Step, name: str, photo: str, at: datetime, by: str
) -> Labelled:
    asked = {ask.key: ask.label for ask in step.asks}
    query = urlencode({"swap": state.key, "step": step.key, "ask": name})
    address = f"{visit.address('tanks', state.tank, 'swap', 'photo')}?{query}"
    return Labelled(photo, f"{step.title}: {asked.get(name, name)}", at, by, address)


def _of_look(visit: Visit, inspection: str, component: str, photo: str) -> str:
    return visit.address("inspections", inspection, "parts", component, "photos", photo)


def _view(key: str) -> str:
    return dict(VIEW_WORDS).get(key, key).lower()
