"""Tanks that nothing is washed in, and curing stations that nothing is cured in, until a lead
releases them. A tank's holds are a book of their own; a station carries its in its state.

A tank of which nobody has said what is in it, since its swap stopped on the way, is held as well:
the answer lifts that by itself, and nothing else does.
"""

from dataclasses import dataclass, replace
from datetime import datetime

from app.domain.roomlog.kinds import Entry, Removal, SwapAbandoned
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.things import Thing

CONTENTS = "contents"
GUARD = "guard"
"""Cause of a hold by a duty that found an interlock not in order."""
ASKS = "Nobody has said what is in it since its swap stopped"


@dataclass(frozen=True)
class Hold:
    """One reason for which a tank or station is held."""

    reason: str
    cause: str
    since_at: datetime
    by: str = ""
    incident: str = ""
    inspection: str = ""


@dataclass(frozen=True)
class HoldState:
    """Whether a tank or station is held, and why.

    Attributes:
        tank: its key; empty in the state of a station.
        reason, cause, since_at, incident: of the first of its holds; empty where there is none.
        holds: all that hold it; one release settles them all but what waits for its contents.
        released_at, released_by, release_reason: of the last release.
        given_up, given_up_at: the last swap that was given up with its liquid moved, and when.
    """

    tank: str = ""
    is_held: bool = False
    reason: str = ""
    cause: str = ""
    since_at: datetime | None = None
    incident: str = ""
    holds: tuple[Hold, ...] = ()
    released_at: datetime | None = None
    released_by: str = ""
    release_reason: str = ""
    given_up: str = ""
    given_up_at: datetime | None = None

    @property
    def asks_contents(self) -> bool:
        """It waits for somebody to say what is in it."""
        return any(hold.cause == CONTENTS for hold in self.holds)

    @property
    def is_for_a_lead(self) -> bool:
        """Something holds it that only a lead releases."""
        return any(hold.cause != CONTENTS for hold in self.holds)

    def is_held_at(self, at: datetime) -> bool:
        """It is held, and was by then: what was done before may still be entered."""
        return self.is_held and self.since_at is not None and at >= self.since_at


def hold_after(state: HoldState, entry: Entry) -> HoldState:
    """What is held after an entry; others change nothing."""
    if isinstance(entry, TankHeld | StationHeld):
        hold = Hold(
            reason=entry.reason, cause=entry.cause, since_at=entry.at, by=entry.by,
            incident=entry.incident or "", inspection=entry.inspection or "",
        )  # fmt: skip
        return _with(state, (*state.holds, hold))
    if isinstance(entry, DutyDone):
        found = Hold(entry.note or "Interlock not in order", GUARD, entry.at, entry.by)
        return _with(state, (*state.holds, found)) if entry.holds else state
    if isinstance(entry, TankReleased | StationReleased):
        return replace(
            _with(state, tuple(hold for hold in state.holds if hold.cause == CONTENTS)),
            released_at=entry.at, released_by=entry.lead, release_reason=entry.reason,
        )  # fmt: skip
    return _of_contents(state, entry)


def _of_contents(state: HoldState, entry: Entry) -> HoldState:
    """What is in the tank is asked, or said."""
    others = tuple(hold for hold in state.holds if hold.cause != CONTENTS)
    if isinstance(entry, SwapAbandoned):
        state = replace(state, given_up=entry.swap or "", given_up_at=entry.at)
    is_asked = isinstance(entry, TankContents) and entry.found == "asked"
    if is_asked or isinstance(entry, SwapAbandoned):
        return _with(state, (*others, Hold(ASKS, CONTENTS, entry.at, entry.by)))
    return _with(state, others) if isinstance(entry, TankContents | Removal) else state


def _with(state: HoldState, holds: tuple[Hold, ...]) -> HoldState:
    first = holds[0] if holds else None
    return replace(
        state,
        holds=holds,
        is_held=first is not None,
        reason=first.reason if first else "",
        cause=first.cause if first else "",
        since_at=first.since_at if first else None,
        incident=first.incident if first else "",
    )


HOLD_BOOK = Thing(HOLD, HoldState, HoldState, hold_after, lambda state: state.is_held, version=2)
