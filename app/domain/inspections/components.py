"""A position of a tank or station: the part that sits there now, and those before it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from app.domain.inspections.part import EMPTY
from app.domain.inspections.rules import judge, severity
from app.domain.life import Lifetime
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    Component,
    ComponentChanged,
    ComponentReplaced,
    InspectionAnswered,
    InspectionOverruled,
)
from app.domain.things import Thing

DAY_S = 86400.0
MOST_SEEN = 60
DOOR_INTERLOCK = "door_interlock"
LIGHT_PATH = ("lamp_window", "reflector")
"""Parts that the light takes on its way: a new one changes what reaches the parts."""
MOST_PAST = 100


@dataclass(frozen=True)
class Seen:
    """One look at the part: the verdict that stood in the end.

    Attributes:
        was_seen: false where a lead decided over a part that nobody could see.
        look: at which look; one that is not with the tank empty is of a part of it only.
    """

    at: datetime
    verdict: str
    inspection: str
    was_seen: bool = True
    look: str = EMPTY


@dataclass(frozen=True)
class PastItem:
    """A part that sat here before.

    Attributes:
        because: why it was replaced; only `finding` counts as worn out.
        last_good_at, found_at: between these it wore out; None where nobody had looked.
    """

    fitted_at: datetime | None
    replaced_at: datetime
    because: str
    last_good_at: datetime | None = None
    found_at: datetime | None = None
    lot: str = ""


@dataclass(frozen=True)
class ComponentState:
    """A position and the part in it.

    Attributes:
        fitted_at: None where nobody knows.
        lot: of the part that sits there.
        seen: looks at the part that sits there, the latest last.
        partial: the last word of each look at a full tank, of this part; such a look is none at the
            whole of it, and what it found stays until the same look finds it in order.
        missed: the last try at which nothing of it could be seen; None once it was looked at.
        past: parts that were replaced, the latest last.
    """

    key: str
    part: str = ""
    name: str = ""
    tank: str = ""
    station: str = ""
    mate: str = ""
    item: str = ""
    is_retired: bool = False
    fitted_at: datetime | None = None
    lot: str = ""
    seen: tuple[Seen, ...] = ()
    partial: tuple[Seen, ...] = ()
    missed: Seen | None = None
    past: tuple[PastItem, ...] = ()

    @property
    def standing(self) -> Seen | None:
        """The gravest of the last looks of each sort; None where nobody looked at the whole of it
        and the looks at the full tank found nothing."""
        bad = [one for one in self.partial if one.verdict != "serviceable"]
        return max((*self.seen[-1:], *bad), key=lambda one: severity(one.verdict), default=None)

    @property
    def is_watched(self) -> bool:
        """The last look asks for another soon, or for a part that is not yet replaced."""
        return self.standing is not None and self.standing.verdict != "serviceable"

    @property
    def verdict(self) -> str:
        """What stands now: not seen where the last try failed; empty where nobody ever looked."""
        if self.missed is not None:
            return self.missed.verdict
        return self.standing.verdict if self.standing is not None else ""

    @property
    def last_seen_at(self) -> datetime | None:
        """When somebody looked at this position last: at the part, or as a new one was fitted."""
        seen = self.seen[-1].at if self.seen else None
        fitted = self.past[-1].replaced_at if self.past else None
        return max((at for at in (seen, fitted) if at is not None), default=None)

    @property
    def wants_look(self) -> bool:
        """Somebody is to look at it again: it is watched, or could not be seen."""
        return self.is_watched or self.missed is not None


def _after(state: ComponentState, entry: Entry) -> ComponentState:
    if isinstance(entry, Component):
        return replace(
            state, part=entry.part, name=entry.name, tank=entry.tank or "",
            station=entry.station or "", mate=entry.mate or "", item=entry.item or "",
            fitted_at=entry.fitted_at or state.fitted_at,
        )  # fmt: skip
    if isinstance(entry, ComponentChanged):
        return replace(
            state, name=entry.name or state.name, mate=entry.mate or state.mate,
            item=entry.item or state.item,
            is_retired=state.is_retired if entry.is_retired is None else entry.is_retired,
        )  # fmt: skip
    if isinstance(entry, InspectionAnswered):
        return _answered(state, entry)
    if isinstance(entry, InspectionOverruled):
        return _overruled(state, entry)
    return _replaced(state, entry) if isinstance(entry, ComponentReplaced) else state


def _answered(state: ComponentState, entry: InspectionAnswered) -> ComponentState:
    when = entry.look or EMPTY
    verdict = entry.verdict
    if not verdict and state.part:
        verdict = judge(state.part, entry.answers, when).verdict
    look = Seen(entry.at, verdict or "watch", entry.inspection, look=when)
    if when != EMPTY:
        return _partly(state, look)
    before = tuple(one for one in state.seen if one.inspection != entry.inspection)
    if look.verdict == "not_seen":
        return replace(state, seen=before, missed=look)
    return replace(state, seen=(*before, look)[-MOST_SEEN:], missed=None)


def _partly(state: ComponentState, look: Seen) -> ComponentState:
    """A look at a full tank: it finds, and it clears what the same look found before."""
    others = tuple(one for one in state.partial if one.inspection != look.inspection)
    if look.verdict == "not_seen":
        return replace(state, partial=others)
    others = tuple(one for one in others if one.look != look.look)
    return replace(state, partial=(*others, look))


def _overruled(state: ComponentState, entry: InspectionOverruled) -> ComponentState:
    missed = state.missed
    if missed is not None and missed.inspection == entry.inspection:
        word = Seen(missed.at, entry.verdict, entry.inspection, was_seen=False)
        return replace(state, seen=(*state.seen, word)[-MOST_SEEN:], missed=None)
    seen = tuple(
        replace(one, verdict=entry.verdict) if one.inspection == entry.inspection else one
        for one in state.seen
    )
    partial = tuple(
        replace(one, verdict=entry.verdict) if one.inspection == entry.inspection else one
        for one in state.partial
    )
    return replace(state, seen=seen, partial=partial)


def _replaced(state: ComponentState, entry: ComponentReplaced) -> ComponentState:
    seen = [one for one in (*state.seen, *state.partial) if one.was_seen]
    seen.sort(key=lambda one: one.at)
    good = [one.at for one in seen if severity(one.verdict) < severity("replace")]
    bad = [one.at for one in seen if severity(one.verdict) >= severity("replace")]
    found_at = bad[0] if bad else None
    last_good = max((at for at in good if found_at is None or at < found_at), default=None)
    past = PastItem(state.fitted_at, entry.at, entry.because, last_good, found_at, state.lot)
    return replace(
        state, past=(*state.past, past)[-MOST_PAST:], seen=(), missed=None, partial=(),
        fitted_at=entry.at, lot=entry.lot or "", item=entry.item or state.item,
    )  # fmt: skip


def last_fitted(states: Iterable[ComponentState], *parts: str) -> dict[str, datetime]:
    """When a new part of some kinds was last fitted in place of another, by station or tank.

    What was tested or measured before says nothing of it.
    """
    found: dict[str, datetime] = {}
    for state in states:
        if state.part in parts and state.past and not state.is_retired:
            at, place = state.past[-1].replaced_at, state.station or state.tank
            found[place] = max(at, found.get(place, at))
    return found


def lifetimes(states: Iterable[ComponentState], part: str, now: datetime) -> list[Lifetime]:
    """How long parts of a kind lasted in this room, those still in service as censored.

    A part replaced as a mate or as planned did not wear out: it is censored too. One whose day of
    fitting nobody knows is left out.
    """
    found = []
    for state in states:
        if state.part != part:
            continue
        found += [
            _lifetime(past, past.fitted_at)
            for past in state.past
            if past.fitted_at is not None and past.replaced_at > past.fitted_at
        ]
        if state.fitted_at is not None and not state.is_retired and now > state.fitted_at:
            found.append(Lifetime((now - state.fitted_at).total_seconds() / DAY_S, False))
    return found


def _lifetime(past: PastItem, fitted_at: datetime) -> Lifetime:
    def days(at: datetime) -> float:
        return (at - fitted_at).total_seconds() / DAY_S

    if past.because != "finding":
        return Lifetime(days(past.replaced_at), False)
    found = max(days(past.found_at or past.replaced_at), 1 / 24)
    good = max(days(past.last_good_at), 0.0) if past.last_good_at else 0.0
    return Lifetime(found, True, min(good, found))


COMPONENT_BOOK = Thing(
    COMPONENT, ComponentState, ComponentState, _after, lambda state: not state.is_retired, version=2
)
