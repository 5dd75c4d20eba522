"""An inspection as its entries leave it: for each position answers, verdict, photos."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from app.domain.inspections.part import EMPTY
from app.domain.inspections.rules import NEEDS_PHOTO, judge
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import (
    INSPECTION,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
)
from app.domain.things import Thing, step_by_type


@dataclass(frozen=True)
class Mark:
    """An arrow or ring on a photo, in percent of its width and height."""

    shape: str
    x_percent: float
    y_percent: float
    text: str = ""


@dataclass(frozen=True)
class PhotoTaken:
    """A photo of a position; `photo` is the SHA-256 of its file."""

    photo: str
    view: str
    at: datetime
    by: str = ""
    entry: str = ""
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class Look:
    """One position of an inspection.

    Attributes:
        verdict, reason: the rule's own; empty while nobody answered.
        overruled, overruled_by, overrule_reason: what a lead decided instead.
        by, at, given_entry: who gave the answers that stand, when and by which entry; a note or a
            reason that is added later is not a new look.
        people: all who gave answers that count, in their order.
        replaced_at, lot, replaced_entry: the new part that was fitted last.
        is_replaced: the answers are of the part before it: nobody looked at the new one since.
        when: at which look it is asked about.
    """

    component: str
    part: str
    name: str
    answers: Mapping[str, str] = field(default_factory=dict)
    verdict: str = ""
    reason: str = ""
    condition: str = ""
    at: datetime | None = None
    by: str = ""
    note: str = ""
    no_photo: str = ""
    entry: str = ""
    given_entry: str = ""
    people: tuple[str, ...] = ()
    photos: tuple[PhotoTaken, ...] = ()
    overruled: str = ""
    overruled_by: str = ""
    overrule_reason: str = ""
    overrule_entry: str = ""
    replaced_at: datetime | None = None
    lot: str = ""
    replaced_entry: str = ""
    is_replaced: bool = False
    when: str = EMPTY

    @property
    def decided(self) -> str:
        """What stands: the lead's decision, else the rule's verdict."""
        return self.overruled or self.verdict

    @property
    def last_entry(self) -> str:
        """What was said last: the answers, or that a new part was fitted because of them."""
        return self.replaced_entry if self.is_replaced else self.entry

    @property
    def lacks_photo(self) -> bool:
        """The verdict needs a photo, and there is neither one nor a reason why not."""
        return self.verdict in NEEDS_PHOTO and not self.photos and not self.no_photo

    @property
    def awaits_part(self) -> bool:
        """It is to be replaced and is not yet."""
        return self.decided in ("replace", "replace_with_mate") and not self.is_replaced

    @property
    def is_looked_at(self) -> bool:
        """Somebody saw it, or a lead decided over what nobody could see."""
        return self.decided not in ("", "not_seen")


@dataclass(frozen=True)
class InspectionState:
    """An inspection of a tank or station; one that was never started has no `started_at`."""

    key: str
    tank: str = ""
    station: str = ""
    swap: str = ""
    started_at: datetime | None = None
    by: str = ""
    entry: str = ""
    looks: tuple[Look, ...] = ()
    is_closed: bool = False
    closed_at: datetime | None = None
    closed_by: str = ""
    second: str = ""
    closed_note: str = ""
    when: str = EMPTY

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why the tank must not be filled again."""
        return tuple(
            f"{look.name}: {look.overrule_reason if look.overruled else look.reason}"
            for look in self.looks
            if look.decided == "take_out_of_service"
        )

    @property
    def blocks_refill(self) -> bool:
        """A finding takes the tank out of service."""
        return bool(self.reasons)

    @property
    def left(self) -> tuple[Look, ...]:
        """Positions that nobody answered for yet."""
        return tuple(look for look in self.looks if not look.verdict)

    @property
    def not_seen(self) -> tuple[Look, ...]:
        """Positions of which nothing could be seen: they were not looked at."""
        return tuple(look for look in self.looks if look.decided == "not_seen")

    def look(self, component: str) -> Look | None:
        """The look at a position."""
        return next((look for look in self.looks if look.component == component), None)


def _after(state: InspectionState, entry: Entry) -> InspectionState:
    after: InspectionState = step_by_type(_STEPS, state, entry)
    return after


def _started(state: InspectionState, entry: InspectionStarted) -> InspectionState:
    when = entry.look or EMPTY
    looks = tuple(
        Look(one["component"], one["part"], one["name"], when=when) for one in entry.positions
    )
    return replace(
        state, tank=entry.tank or "", station=entry.station or "", swap=entry.swap or "",
        started_at=entry.at, by=entry.by, entry=entry.id, looks=looks, when=when,
    )  # fmt: skip


def _at_look(state: InspectionState, component: str, **changes: Any) -> InspectionState:
    looks = tuple(
        replace(look, **changes) if look.component == component else look for look in state.looks
    )
    return replace(state, looks=looks)


def _answered(state: InspectionState, entry: InspectionAnswered) -> InspectionState:
    look = state.look(entry.component)
    if look is None:
        return state
    judged = judge(look.part, entry.answers, look.when)
    after = replace(
        look, answers=dict(entry.answers),
        verdict=entry.verdict or judged.verdict, reason=judged.reason,
        condition=judged.condition.key if judged.condition else "",
        note=entry.note, no_photo=entry.no_photo or "", entry=entry.id,
    )  # fmt: skip
    is_new = after.answers != look.answers or look.is_replaced  # a new part, or other answers
    if is_new or not look.verdict:
        people = tuple(one for one in (*look.people, entry.by) if one)
        after = replace(
            after, at=entry.at, by=entry.by, given_entry=entry.id,
            people=tuple(dict.fromkeys(people)), is_replaced=False,
        )  # fmt: skip
    if is_new:  # a lead's word holds for the answers it was given to
        after = replace(after, overruled="", overruled_by="", overrule_reason="", overrule_entry="")
    looks = tuple(after if one is look else one for one in state.looks)
    return replace(state, looks=looks)


def _photographed(state: InspectionState, entry: InspectionPhoto) -> InspectionState:
    look = state.look(entry.component)
    if look is None or any(photo.photo == entry.photo for photo in look.photos):
        return state
    photo = PhotoTaken(entry.photo, entry.view, entry.at, entry.by, entry.id)
    return _at_look(state, entry.component, photos=(*look.photos, photo))


def _labelled(state: InspectionState, entry: PhotoLabelled) -> InspectionState:
    return _at_photo(state, entry, view=entry.view)


def _marked(state: InspectionState, entry: PhotoMarked) -> InspectionState:
    return _at_photo(state, entry, marks=tuple(Mark(**one) for one in entry.marks))


def _at_photo(
    state: InspectionState, entry: PhotoLabelled | PhotoMarked, **changes: Any
) -> InspectionState:
    look = state.look(entry.component)
    if look is None:
        return state
    photos = tuple(
        replace(photo, **changes) if photo.photo == entry.photo else photo for photo in look.photos
    )
    return _at_look(state, entry.component, photos=photos)


_STEPS: Mapping[type[Entry], Callable[[InspectionState, Any], InspectionState]] = {
    InspectionStarted: _started,
    InspectionAnswered: _answered,
    InspectionPhoto: _photographed,
    PhotoLabelled: _labelled,
    PhotoMarked: _marked,
    InspectionOverruled: lambda state, entry: _at_look(
        state, entry.component, overruled=entry.verdict, overruled_by=entry.lead,
        overrule_reason=entry.reason, overrule_entry=entry.id,
    ),
    ComponentReplaced: lambda state, entry: _at_look(
        state, entry.component, replaced_at=entry.at, lot=entry.lot or "", replaced_entry=entry.id,
        is_replaced=True,
    ),
    InspectionClosed: lambda state, entry: replace(
        state, is_closed=True, closed_at=entry.at, closed_by=entry.by,
        second=entry.second or "", closed_note=entry.note,
    ),
}  # fmt: skip

INSPECTION_BOOK = Thing(
    INSPECTION, InspectionState, InspectionState, _after,
    lambda state: state.started_at is not None and not state.is_closed, version=3,
)  # fmt: skip
