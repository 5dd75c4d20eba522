"""A drum as its entries leave it: what it holds, where it stands, the days that count."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from app.domain.reasons import joined
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.waste import (
    DRUM,
    Drum,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    PickupBooked,
    PickupCancelled,
    PickupShipped,
    Pour,
)
from app.domain.things import Thing, step_by_type
from app.domain.waste.measures import mass_kg, poured_kg

FILL_LIMIT_PERCENT = 90.0  # common practice, no source; a drum's own limit comes with its entry
GONE = "gone"
DUST_L = 1e-6  # what floating-point sums leave of a drum that was emptied
NO_LEAK = DrumChecked.specs()["no_leak"].label
ONE_GO = timedelta(hours=1)
"""Pours of one person within it are one act, however it is shared out; common practice, no
source."""
WARM = "Warm, hissing or bulging at its check: keep away"


MIXED_UP = "mixed"
"""The flag of a drum that holds two streams by the log."""


@dataclass(frozen=True)
class Filling:
    """A pour as it stands in the drum.

    Attributes:
        entry: id of its entry.
        is_weighed: the mass is from a scale, not from the volume.
        is_new_waste: it counts in its month; what came out of another drum does not.
        is_taken_up: it was spilled, and taken up with absorbent.
    """

    entry: str
    at: datetime
    volume_l: float
    mass_kg: float
    is_weighed: bool
    is_new_waste: bool
    tank: str = ""
    swap: str = ""
    from_drum: str = ""
    by: str = ""
    is_taken_up: bool = False


@dataclass(frozen=True)
class Level:
    """What the drum held from an instant on, and where it stood; `gone` once it was shipped."""

    at: datetime
    area: str
    volume_l: float
    mass_kg: float


@dataclass(frozen=True)
class DrumState:
    """A drum.

    Attributes:
        name: empty while no entry has set it up.
        first_pour_at: the first drop since it was last empty; as given for one set up full.
        central_at: since when it holds waste in the central area.
        pickup: key of the pickup it is booked for or left with.
        checked_at, faults: the last weekly look, and what was not in order.
        levels: its course, for the counters of the site.
        is_warm: it was found warm, hissing or bulging, and is in quarantine since.
        tested_at: when its stream was last said after a test, or it was emptied.
        flags: what the log says that should not be: poured_while_closed, poured_while_quarantined,
            poured_after_shipping, over_fill_limit, over_capacity, mixed, shipped_in_quarantine.
    """

    key: str
    name: str = ""
    capacity_l: float = 0.0
    fill_limit_percent: float = FILL_LIMIT_PERCENT
    stream: str = "unknown"
    tare_kg: float | None = None
    inner_height_cm: float | None = None
    volume_l: float = 0.0
    mass_kg: float = 0.0
    area: str = "wash_station"
    is_closed: bool = False
    is_shipped: bool = False
    is_quarantined: bool = False
    quarantine_reason: str = ""
    set_up_at: datetime | None = None
    first_pour_at: datetime | None = None
    last_pour_at: datetime | None = None
    central_at: datetime | None = None
    closed_at: datetime | None = None
    shipped_at: datetime | None = None
    pickup: str = ""
    document: str = ""
    checked_at: datetime | None = None
    faults: tuple[str, ...] = ()
    fillings: tuple[Filling, ...] = ()
    levels: tuple[Level, ...] = ()
    flags: tuple[str, ...] = ()
    is_warm: bool = False
    material: str = ""
    tested_at: datetime | None = None

    @property
    def is_unsound(self) -> bool:
        """At its last check it leaked, rusted or bulged."""
        return NO_LEAK in self.faults

    @property
    def is_mixed(self) -> bool:
        """By the log it holds two streams: nobody knows what it is until it is tested."""
        return MIXED_UP in self.flags

    def in_small_l(self, by: str, at: datetime, most_l: float) -> float:
        """Litres that one person put in within an hour of an instant, up to `most_l` each time.

        Those of a swap are left out, and what was taken up where it was spilled.
        """
        return sum(
            one.volume_l
            for one in self.fillings
            if one.volume_l <= most_l
            and abs(one.at - at) <= ONE_GO
            and one.by.strip().casefold() == by.strip().casefold()
            and not (one.swap or one.is_taken_up)
        )

    @property
    def fill_limit_l(self) -> float:
        """What it may hold, the space for expansion left out."""
        return self.capacity_l * self.fill_limit_percent / 100

    @property
    def free_l(self) -> float:
        """Room under the fill limit."""
        return max(0.0, self.fill_limit_l - self.volume_l)

    @property
    def of_limit_percent(self) -> float:
        """What it holds in percent of the fill limit."""
        return 100 * self.volume_l / self.fill_limit_l if self.fill_limit_l else 0.0

    @property
    def takes_waste(self) -> bool:
        """Something may be poured into it still."""
        return self._is_open and self.stream != "unknown"

    @property
    def takes_unknown(self) -> bool:
        """A bath of which nobody knows what it holds may be kept apart in it."""
        return self._is_open and self.stream == "unknown"

    @property
    def _is_open(self) -> bool:
        is_shut = self.is_closed or self.is_shipped or self.is_quarantined or self.is_unsound
        return bool(self.name) and not is_shut and not self.is_mixed

    def is_apart_for(self, tank: str, since_at: datetime) -> bool:
        """It is for unknown waste, and holds nothing but the bath of a tank that was filled then.

        >>> from datetime import UTC
        >>> DrumState("d").is_apart_for("t", datetime(2026, 3, 2, tzinfo=UTC))
        True
        """
        of_it = (one for one in self.fillings if one.tank == tank and one.at >= since_at)
        held_l = sum(one.volume_l for one in of_it)
        return self.stream == "unknown" and self.volume_l <= held_l + 1e-6

    @property
    def is_empty(self) -> bool:
        """It is empty."""
        return self.volume_l <= 0


def _after(state: DrumState, entry: Entry) -> DrumState:
    after: DrumState = step_by_type(_STEPS, state, entry)
    return after


def _set_up(state: DrumState, entry: Drum) -> DrumState:
    held_l = entry.volume_l or 0.0
    held_kg = mass_kg(held_l, entry.stream) if entry.waste_kg is None else entry.waste_kg
    limit, before = entry.fill_limit_percent, state
    state = replace(
        state, name=entry.name, capacity_l=entry.capacity_l, stream=entry.stream, area=entry.area,
        fill_limit_percent=FILL_LIMIT_PERCENT if limit is None else limit, tare_kg=entry.tare_kg,
        inner_height_cm=entry.inner_height_cm, set_up_at=entry.at, material=entry.material or "",
        volume_l=state.volume_l + held_l, mass_kg=state.mass_kg + (held_kg if held_l else 0.0),
    )  # fmt: skip
    if held_l:
        first = entry.first_pour_at or entry.at
        central = (entry.central_at or first) if entry.area == "central" else None
        poured = [one.at for one in before.fillings]
        state = replace(
            state, first_pour_at=min(first, *poured) if poured else first,
            last_pour_at=max(first, *poured) if poured else first, central_at=central,
        )  # fmt: skip
    if before.fillings and not before.name:
        # Only now is it known what it takes and how much: what came before is held against it.
        is_other = before.stream not in ("unknown", entry.stream)
        state = _flagged(state, [*([MIXED_UP] if is_other else []), *_too_much(state)])
    return _placed(state, entry.at)


def _poured(state: DrumState, entry: Pour) -> DrumState:
    filling = Filling(
        entry=entry.id, at=entry.at, volume_l=entry.volume_l,
        mass_kg=poured_kg(entry, state.stream), is_weighed=entry.mass_after_kg is not None,
        is_new_waste=True, tank=entry.tank or "", swap=entry.swap or "", by=entry.by,
        is_taken_up=bool(entry.incident),
    )  # fmt: skip
    flags = _trouble(state)
    if entry.stream is not None and entry.stream != state.stream:
        if state.name or state.stream != "unknown":
            flags.append(MIXED_UP)
        else:  # nothing has set it up yet: until then it is of what came first
            state = replace(state, stream=entry.stream)
    return _filled(_flagged(state, flags), filling)


def _transferred(state: DrumState, entry: DrumTransfer) -> DrumState:
    if entry.drum == state.key:
        filling = Filling(
            entry=entry.id, at=entry.at, volume_l=entry.volume_l, mass_kg=entry.waste_kg,
            is_weighed=False, is_new_waste=False, from_drum=entry.from_drum, by=entry.by,
        )  # fmt: skip
        return _filled(_flagged(state, _trouble(state)), filling)
    left_l = state.volume_l - entry.volume_l
    left_l = 0.0 if left_l <= DUST_L else left_l
    left_kg = max(0.0, state.mass_kg - entry.waste_kg) if left_l else 0.0
    state = replace(state, volume_l=left_l, mass_kg=left_kg)
    if state.is_empty:
        state = _known_again(replace(state, first_pour_at=None, central_at=None), entry.at)
    return _placed(state, entry.at)


def _filled(state: DrumState, filling: Filling) -> DrumState:
    state = replace(
        state,
        volume_l=state.volume_l + filling.volume_l,
        mass_kg=state.mass_kg + filling.mass_kg,
        first_pour_at=state.first_pour_at or filling.at,
        last_pour_at=filling.at,
        fillings=(*state.fillings, filling),
    )
    return _placed(_flagged(state, _too_much(state)), filling.at)


def _too_much(state: DrumState) -> list[str]:
    """Whether it holds more than it may; nothing while no entry says how much that is."""
    if not state.name:
        return []
    if state.volume_l > state.capacity_l + 1e-9:
        return ["over_capacity"]
    return ["over_fill_limit"] if state.volume_l > state.fill_limit_l + 1e-9 else []


def _placed(state: DrumState, at: datetime) -> DrumState:
    """The drum where it stands now: its level, and since when it is in the central area."""
    if state.area == "central" and not state.is_empty and state.central_at is None:
        state = replace(state, central_at=at)
    area = GONE if state.is_shipped else state.area
    return replace(state, levels=(*state.levels, Level(at, area, state.volume_l, state.mass_kg)))


def _shipped(state: DrumState, entry: PickupShipped) -> DrumState:
    if state.is_quarantined:
        state = _flagged(state, ["shipped_in_quarantine"])
    state = replace(
        state, is_shipped=True, is_closed=True, shipped_at=entry.at, document=entry.document,
        pickup=entry.pickup,
    )  # fmt: skip
    return _placed(state, entry.at)


def _trouble(state: DrumState) -> list[str]:
    """What is wrong with pouring into the drum as it stands."""
    found = {
        "poured_after_shipping": state.is_shipped,
        "poured_while_quarantined": state.is_quarantined,
        "poured_while_closed": state.is_closed and not state.is_shipped,
    }
    return [flag for flag, is_so in found.items() if is_so]


def _flagged(state: DrumState, flags: list[str]) -> DrumState:
    return replace(state, flags=tuple(dict.fromkeys((*state.flags, *flags)))) if flags else state


def _checked(state: DrumState, entry: DrumChecked) -> DrumState:
    state = replace(state, checked_at=entry.at, faults=entry.faults())
    return replace(_apart(state, WARM), is_warm=True) if entry.is_warm else state


def _reported(state: DrumState, entry: Incident) -> DrumState:
    """A report that it is warm is a warm drum, whatever else was entered with it."""
    return replace(_apart(state, WARM), is_warm=True) if entry.problem == "drum_warm" else state


def _quarantined(state: DrumState, entry: DrumQuarantined) -> DrumState:
    """What holds a drum for a report says in the report's own words that it is warm."""
    if entry.incident:
        known = state.quarantine_reason.removesuffix(WARM).removesuffix("; ")
        state = replace(state, quarantine_reason=known)
    return _apart(state, entry.reason)


def _apart(state: DrumState, reason: str) -> DrumState:
    """In quarantine for a reason, beside those it is there for."""
    reason = joined(state.quarantine_reason, reason)
    return replace(state, is_quarantined=True, quarantine_reason=reason)


def _changed(state: DrumState, entry: DrumChanged) -> DrumState:
    names = (
        "name",
        "capacity_l",
        "fill_limit_percent",
        "stream",
        "tare_kg",
        "inner_height_cm",
        "material",
    )
    given = {name: value for name in names if (value := getattr(entry, name)) is not None}
    is_said = entry.stream is not None and (state.is_quarantined or state.is_empty)
    state = replace(state, **given)
    return _known_again(state, entry.at) if is_said else state


def _known_again(state: DrumState, at: datetime) -> DrumState:
    """What is in it is known: it was tested, or there is nothing in it."""
    flags = tuple(flag for flag in state.flags if flag != MIXED_UP)
    return replace(state, flags=flags, tested_at=at)


def _cancelled(state: DrumState, entry: PickupCancelled) -> DrumState:
    is_ours = state.pickup == entry.pickup and not state.is_shipped
    return replace(state, pickup="") if is_ours else state


_STEPS: Mapping[type[Entry], Callable[[DrumState, Any], DrumState]] = {
    Drum: _set_up,
    DrumChanged: _changed,
    Pour: _poured,
    DrumTransfer: _transferred,
    DrumMoved: lambda state, entry: _placed(replace(state, area=entry.area), entry.at),
    DrumClosed: lambda state, entry: replace(state, is_closed=True, closed_at=entry.at),
    DrumOpened: lambda state, _: replace(state, is_closed=False, closed_at=None),
    DrumChecked: _checked,
    Incident: _reported,
    DrumQuarantined: _quarantined,
    DrumReleased: lambda state, _: replace(
        state, is_quarantined=False, quarantine_reason="", is_warm=False
    ),
    PickupBooked: lambda state, entry: replace(state, pickup=entry.pickup),
    PickupCancelled: _cancelled,
    PickupShipped: _shipped,
}

DRUM_BOOK = Thing(DRUM, DrumState, DrumState, _after, lambda state: not state.is_shipped, version=6)
