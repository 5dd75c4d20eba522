"""An incident as its entries leave it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import (
    INCIDENT,
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
    StationHeld,
    TankHeld,
)
from app.domain.roomlog.kinds.waste import DrumQuarantined
from app.domain.things import Thing, step_by_type


@dataclass(frozen=True)
class StepDone:
    """A follow-up that is settled."""

    step: str
    at: datetime
    by: str = ""
    note: str = ""
    not_needed: bool = False
    entry: str = ""


@dataclass(frozen=True)
class IncidentState:
    """An incident.

    Attributes:
        problem: its kind, as the guides name it; empty while no entry has reported it.
        held, stations, quarantined: tanks, curing stations, drums put out of use because of it.
        wasted_l, waste_drum: what went into which drum when it was reported.
        before: follow-ups settled before it was opened again; they settle nothing now.
    """

    key: str
    problem: str = ""
    at: datetime | None = None
    by: str = ""
    tank: str = ""
    station: str = ""
    drum: str = ""
    pickup: str = ""
    volume_l: float | None = None
    solvent: str = ""
    lot: str = ""
    people: str = ""
    done: str = ""
    note: str = ""
    held: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()
    quarantined: tuple[str, ...] = ()
    wasted_l: float | None = None
    waste_drum: str = ""
    steps: tuple[StepDone, ...] = ()
    before: tuple[StepDone, ...] = ()
    is_closed: bool = False
    closed_at: datetime | None = None
    closed_by: str = ""
    outcome: str = ""

    def step_before(self, key: str) -> StepDone | None:
        """How a follow-up was settled before it was opened again; None where it was not."""
        return next((step for step in self.before if step.step == key), None)

    def step(self, key: str) -> StepDone | None:
        """How a follow-up was settled; None while it is open."""
        return next((step for step in self.steps if step.step == key), None)


def _after(state: IncidentState, entry: Entry) -> IncidentState:
    after: IncidentState = step_by_type(_STEPS, state, entry)
    return after


def _reported(state: IncidentState, entry: Incident) -> IncidentState:
    return replace(
        state, problem=entry.problem, at=entry.at, by=entry.by, tank=entry.tank or "",
        station=entry.station or "", drum=entry.drum or "", pickup=entry.pickup or "",
        volume_l=entry.volume_l,
        solvent=entry.solvent or "", lot=entry.lot or "", people=entry.people or "",
        wasted_l=entry.wasted_l, waste_drum=entry.waste_drum or "", done=entry.done or "",
        note=entry.note,
    )  # fmt: skip


def _settled(state: IncidentState, entry: IncidentStep) -> IncidentState:
    done = StepDone(entry.step, entry.at, entry.by, entry.note, bool(entry.not_needed), entry.id)
    others = tuple(step for step in state.steps if step.step != entry.step)
    return replace(state, steps=(*others, done))


def _closed(state: IncidentState, entry: IncidentClosed) -> IncidentState:
    return replace(
        state, is_closed=True, closed_at=entry.at, closed_by=entry.lead, outcome=entry.reason
    )


def _reopened(state: IncidentState, _: IncidentReopened) -> IncidentState:
    """Each follow-up is to be done again: what was done before did not last."""
    before = tuple(one for one in state.before if state.step(one.step) is None)
    return replace(
        state, is_closed=False, closed_at=None, closed_by="", steps=(),
        before=(*before, *state.steps),
    )  # fmt: skip


def _also(keys: tuple[str, ...], key: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*keys, key)))


_STEPS: Mapping[type[Entry], Callable[[IncidentState, Any], IncidentState]] = {
    Incident: _reported,
    IncidentStep: _settled,
    IncidentClosed: _closed,
    IncidentReopened: _reopened,
    StationHeld: lambda state, entry: replace(state, stations=_also(state.stations, entry.station)),
    TankHeld: lambda state, entry: replace(state, held=_also(state.held, entry.tank)),
    DrumQuarantined: lambda state, entry: replace(
        state, quarantined=_also(state.quarantined, entry.drum)
    ),
}

INCIDENT_BOOK = Thing(
    INCIDENT, IncidentState, IncidentState, _after, lambda state: not state.is_closed, version=4
)
