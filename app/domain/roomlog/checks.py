"""Whether an entry fits the room it is meant for: its tanks, its resins, its time."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from app.domain.errors import DomainError, FieldError
from app.domain.roomlog.kinds import (
    Calibration,
    Entry,
    PlannedWash,
    Removal,
    Resin,
    Swap,
    SwapAbandoned,
    Tank,
    TankChange,
    TopUp,
    Withdrawal,
)
from app.domain.roomlog.kinds.builds import KINDS_OF_BUILDS
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, KINDS_OF_CONTENTS
from app.domain.roomlog.kinds.curing import KINDS_OF_CURING
from app.domain.roomlog.kinds.duties import KINDS_OF_DUTIES
from app.domain.roomlog.kinds.incidents import KINDS_OF_INCIDENTS
from app.domain.roomlog.kinds.inspections import KINDS_OF_INSPECTIONS
from app.domain.roomlog.kinds.instruments import KINDS_OF_INSTRUMENTS, Certified
from app.domain.roomlog.kinds.part_lots import KINDS_OF_PART_LOTS
from app.domain.roomlog.kinds.qualifications import KINDS_OF_QUALIFICATIONS
from app.domain.roomlog.kinds.shifts import KINDS_OF_SHIFTS
from app.domain.roomlog.kinds.site import KINDS_OF_SITE
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES
from app.domain.roomlog.kinds.waste import KINDS_OF_WASTE
from app.domain.solvents import SOLVENTS, solvent

CLOCK_TOLERANCE = timedelta(minutes=5)
NEVER_AHEAD: frozenset[type[Entry]] = frozenset({
    Tank, Removal, SwapAbandoned, *KINDS_OF_BUILDS, *KINDS_OF_CHECKLISTS, *KINDS_OF_CONTENTS,
    *KINDS_OF_CURING, *KINDS_OF_DUTIES, *KINDS_OF_INCIDENTS, *KINDS_OF_INSPECTIONS,
    *KINDS_OF_INSTRUMENTS, *KINDS_OF_PART_LOTS, *KINDS_OF_QUALIFICATIONS, *KINDS_OF_SHIFTS,
    *KINDS_OF_SITE, *KINDS_OF_SUPPLIES, *KINDS_OF_WASTE,
})  # fmt: skip
"""Kinds that hold something or let it go, and the others of their books, so that they keep their
order: by a clock that is fast, a release would cover the hold that is entered a minute later."""
MOST_RESINS = 200
"""What is known of each pair of them is a part of the state that every entry stores."""
MOST_OF_CAPACITY = 1.15  # a brim stands a little above the upper mark


@dataclass(frozen=True)
class TankSpan:
    """From when a tank is in use, and the largest volume to the upper mark that it had."""

    started_at: datetime
    capacity_l: float


@dataclass
class RoomContext:
    """What a room knows already."""

    tanks: dict[str, TankSpan] = field(default_factory=dict)
    resins: set[str] = field(default_factory=set)

    def add(self, other: "RoomContext") -> None:
        """Take in what another context knows besides."""
        for key, span in other.tanks.items():
            self.tanks.setdefault(key, span)
        self.resins |= other.resins

    def learn(self, entry: Entry) -> None:
        """Take in a tank, a change of its volume, or a resin."""
        if isinstance(entry, Tank):
            span = self.tanks.get(entry.tank, TankSpan(entry.at, entry.capacity_l))
            start, most_l = min(span.started_at, entry.at), max(span.capacity_l, entry.capacity_l)
            self.tanks[entry.tank] = TankSpan(start, most_l)
        elif isinstance(entry, TankChange) and entry.capacity_l and entry.tank in self.tanks:
            span = self.tanks[entry.tank]
            most_l = max(span.capacity_l, entry.capacity_l)
            self.tanks[entry.tank] = TankSpan(span.started_at, most_l)
        elif isinstance(entry, Resin):
            self.resins.add(entry.resin)


def not_ahead(entry: Entry, now: datetime) -> Entry:
    """The entry, at `now` where a clock that is a little fast put it later (`NEVER_AHEAD`).

    What lies further ahead than the tolerance is left as it is, and does not fit (`misfits`).
    """
    is_ahead = now < entry.at <= now + CLOCK_TOLERANCE
    return replace(entry, at=now) if is_ahead and type(entry) in NEVER_AHEAD else entry


def misfits(entry: Entry, room: RoomContext, now: datetime | None) -> list[FieldError]:
    """What does not fit the room; `now` None leaves the future unchecked."""
    found = _time_misfits(entry, now)
    if isinstance(entry, Tank | Calibration):
        return found + _solvent_misfits(entry.solvent)
    if isinstance(entry, Resin) and entry.resin not in room.resins:
        return found + _too_many_resins(room)
    if isinstance(entry, Resin | Withdrawal | Certified):
        return found
    if entry.concerns_bath or getattr(entry, "tank", None) is not None:
        found += _tank_misfits(entry, room)
    resin = getattr(entry, "resin", None)
    if resin is not None and resin not in room.resins:
        found.append(FieldError("resin", f"There is no resin “{resin}”. {_known(room.resins)}"))
    if isinstance(entry, TankChange) and entry.pair is not None and entry.pair not in room.tanks:
        known = _known(room.tanks)
        found.append(FieldError("pair", f"There is no tank “{entry.pair}”. {known}"))
    if isinstance(entry, Swap):
        if entry.solvent is not None:
            found += _solvent_misfits(entry.solvent)
        if entry.from_tank is not None and entry.from_tank not in room.tanks:
            known = _known(room.tanks)
            found.append(FieldError("from_tank", f"There is no tank “{entry.from_tank}”. {known}"))
    return found


def _too_many_resins(room: RoomContext) -> list[FieldError]:
    if len(room.resins) < MOST_RESINS:
        return []
    message = (
        f"This room has {MOST_RESINS} resins already, the most it can follow. Use one of them."
    )
    return [FieldError("name", message)]


def _time_misfits(entry: Entry, now: datetime | None) -> list[FieldError]:
    if now is None:
        return []
    if not isinstance(entry, PlannedWash) and entry.at > now + CLOCK_TOLERANCE:
        return [FieldError("at", "This time is in the future. Enter when it happened.")]
    if entry.entered_at is not None and entry.entered_at > now + CLOCK_TOLERANCE:
        return [FieldError("entered_at", "This time is in the future.")]
    return []


def _solvent_misfits(key: str) -> list[FieldError]:
    try:
        solvent(key)
    except DomainError:
        known = ", ".join(SOLVENTS)
        message = (
            f"“{key}” is not in the solvent table. Known: {known}. Enter any other under “Own "
            "solvents” first."
        )
        return [FieldError("solvent", message)]
    return []


def _tank_misfits(entry: Entry, room: RoomContext) -> list[FieldError]:
    key = getattr(entry, "tank", "")
    span = room.tanks.get(key)
    if span is None:
        return [FieldError("tank", f"There is no tank “{key}”. {_known(room.tanks)}")]
    if entry.at < span.started_at:
        start = span.started_at.isoformat(timespec="minutes")
        return [FieldError("at", f"Tank “{key}” only came into use at {start}.")]
    return _volume_misfits(entry, span.capacity_l)


def _volume_misfits(entry: Entry, capacity_l: float) -> list[FieldError]:
    volumes: Mapping[str, float | None] = {}
    if isinstance(entry, TopUp | Removal):
        volumes = {"volume_l": entry.volume_l}
    elif isinstance(entry, Swap):
        volumes = {"drained_l": entry.drained_l, "filled_l": entry.filled_l}
    most_l = capacity_l * MOST_OF_CAPACITY
    return [
        FieldError(name, "This is more than the tank holds up to its upper mark.")
        for name, value in volumes.items()
        if value is not None and value > most_l
    ]


def _known(keys: Iterable[str]) -> str:
    names = sorted(keys)
    if not names:
        return "None has been set up yet."
    shown = ", ".join(names[:12])
    return f"Known: {shown}{', …' if len(names) > 12 else ''}."
