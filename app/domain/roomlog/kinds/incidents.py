"""When something goes wrong: what it was, what was done, what is out of use until when."""

from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds import base
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.life import Page, Way

INCIDENT = "incident"
HOLD = base.HOLD
PROBLEMS = (
    "fire", "exposure", "spill", "leak", "wrong_solvent", "drum_warm", "eye_light", "near_miss",
    "pickup_cancelled",
)  # fmt: skip
PROBLEM_WORDS = {
    "fire": "fire or smoke", "exposure": "somebody hurt", "spill": "a spill", "leak": "a leak",
    "wrong_solvent": "a wrong solvent", "drum_warm": "a warm drum",
    "eye_light": "light in the eyes", "near_miss": "a near miss",
    "pickup_cancelled": "a cancelled pickup",
}  # fmt: skip
MAY_STAY = ("leak", "wrong_solvent")
"""Problems after which a tank or drum may stay in use, where whoever reports says so."""
CAUSES = ("incident", "inspection", "lead")
MOST_L = 3000.0


@dataclass(frozen=True, kw_only=True)
class Incident(LedgerEntry):
    """Something went wrong: where, how much, what was done at once, who was there.

    The volume is what was spilled, leaked or wrongly poured. Holding the tank and quarantining the
    drum are entries of their own that name the incident and follow by themselves, unless this one
    says that the tank or drum stays in use; pouring the waste away is another entry.
    """

    kind: ClassVar[str] = "incident"
    summary: ClassVar[str] = "Problem reported"
    sentence: ClassVar[str] = (
        "{by} reported {problem}[ at {tank}][ at {station}][ at {drum}][, {volume_l}]"
        "[ of {solvent}][, lot {lot}]"
        "[, {wasted_l} of it into {waste_drum}][, with {people} there][, done at once: {done}]"
        "[keeps_tank?, the tank stays in use][keeps_drum?, the drum stays in use]"
    )
    reached: ClassVar[Way] = Page("/problem/{what}")

    incident: str = spec("key", "Incident", required=True, thing=INCIDENT)
    problem: str = spec(
        "choice", "What went wrong", choices=PROBLEMS, words=PROBLEM_WORDS, required=True
    )
    tank: str | None = spec("key", "Tank")
    station: str | None = spec("key", "Curing station")
    drum: str | None = spec("key", "Drum", thing="drum")
    pickup: str | None = spec("key", "Pickup")
    volume_l: float | None = number("Volume", "L", 0.001, MOST_L)
    solvent: str | None = spec("key", "Solvent")
    lot: str | None = spec("text", "Lot")
    wasted_l: float | None = number("Gone into a waste drum", "L", 0.001, MOST_L)
    waste_drum: str | None = spec("key", "Waste drum", names="drum")
    people: str | None = spec("text", "People")
    done: str | None = spec("text", "What was done")
    keeps_tank: bool | None = spec("flag", "The tank stays in use")
    keeps_drum: bool | None = spec("flag", "The drum stays in use")

    def problems(self) -> list[FieldError]:
        """A solvent poured into nothing is no record; waste is somewhere, and so much."""
        found = []
        if self.problem == "wrong_solvent" and self.tank is None and self.drum is None:
            found.append(FieldError("tank", "Choose the tank or drum it was poured into."))
        is_loss = self.problem in ("spill", "leak") and self.volume_l is not None
        if is_loss and (self.wasted_l or 0) > (self.volume_l or 0):
            message = "More went into the drum than was lost. Correct one of the two."
            found.append(FieldError("wasted_l", message))
        facts = (
            self.tank, self.station, self.drum, self.pickup, self.volume_l,
            self.wasted_l, self.waste_drum,
            self.people, self.done, self.note.strip(),
        )  # fmt: skip
        if self.problem != "wrong_solvent" and not any(facts):
            message = "Enter where it was, who was there, or what was done. One word is enough."
            found.append(FieldError("done", message))
        if self.wasted_l is not None and self.waste_drum is None:
            found.append(FieldError("waste_drum", "Choose the drum it went into."))
        if self.waste_drum is not None and self.wasted_l is None:
            found.append(FieldError("wasted_l", "Enter how much went into the drum."))
        for name in ("keeps_tank", "keeps_drum"):
            if getattr(self, name) and self.problem not in MAY_STAY:
                message = "After this problem nothing stays in use until a lead has checked it."
                found.append(FieldError(name, message))
        return found


@dataclass(frozen=True, kw_only=True)
class IncidentEntry(LedgerEntry):
    """An entry about one incident."""

    incident: str = spec("key", "Incident", required=True, thing=INCIDENT)


@dataclass(frozen=True, kw_only=True)
class IncidentStep(IncidentEntry):
    """A follow-up of an incident is done, or is not needed for the reason in the note."""

    kind: ClassVar[str] = "incident_step"
    summary: ClassVar[str] = "Follow-up done"
    sentence: ClassVar[str] = "{by} [not_needed!did][not_needed?passed over] the follow-up “{step}”"
    reached: ClassVar[Way] = Page("/incidents/{incident}")

    step: str = spec("key", "Step", required=True, names="follow_up")
    not_needed: bool | None = spec("flag", "Not needed here")


@dataclass(frozen=True, kw_only=True)
class IncidentClosed(IncidentEntry):
    """A lead closed an incident. It releases no tank and no drum."""

    kind: ClassVar[str] = "incident_closed"
    summary: ClassVar[str] = "Problem closed"
    sentence: ClassVar[str] = "{lead} closed the problem: {reason}"
    reached: ClassVar[Way] = Page("/incidents/{incident}")

    lead: str = spec("text", "Closed by", required=True)
    reason: str = spec("text", "What was found, and what will change", required=True)


@dataclass(frozen=True, kw_only=True)
class IncidentReopened(IncidentEntry):
    """A closed incident is open again."""

    kind: ClassVar[str] = "incident_reopened"
    summary: ClassVar[str] = "Problem open again"
    sentence: ClassVar[str] = "{by} opened the problem again: {reason}"
    reached: ClassVar[Way] = Page("/incidents/{incident}")

    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class TankHeld(LedgerEntry):
    """Nothing is washed in a tank until a lead releases it."""

    kind: ClassVar[str] = "tank_held"
    summary: ClassVar[str] = "Tank held"
    sentence: ClassVar[str] = "{by} held {tank}: {reason}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/hold")

    tank: str = spec("key", "Tank", required=True, thing=HOLD)
    reason: str = spec("text", "Reason", required=True)
    cause: str = spec("choice", "Because of", choices=CAUSES, required=True)
    incident: str | None = spec("key", "Incident", thing=INCIDENT)
    inspection: str | None = spec("key", "Inspection")


@dataclass(frozen=True, kw_only=True)
class TankReleased(LedgerEntry):
    """A lead released a tank: everything that held it is settled."""

    kind: ClassVar[str] = "tank_released"
    summary: ClassVar[str] = "Tank released"
    sentence: ClassVar[str] = "{lead}[ and {second}] released {tank}: {reason}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/hold")

    tank: str = spec("key", "Tank", required=True, thing=HOLD)
    lead: str = spec("text", "Released by", required=True)
    second: str | None = spec(
        "text", "Second person", help="Who agrees, if a part out of service holds it."
    )
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class StationHeld(LedgerEntry):
    """Nothing is cured in a station until a lead releases it."""

    kind: ClassVar[str] = "station_held"
    summary: ClassVar[str] = "Curing station held"
    sentence: ClassVar[str] = "{by} held {station}: {reason}"
    reached: ClassVar[Way] = Page("/stations/{station}/hold")

    station: str = spec("key", "Curing station", required=True, thing=STATION)
    reason: str = spec("text", "Reason", required=True)
    cause: str = spec("choice", "Because of", choices=CAUSES, required=True)
    incident: str | None = spec("key", "Incident", thing=INCIDENT)
    inspection: str | None = spec("key", "Inspection")


@dataclass(frozen=True, kw_only=True)
class StationReleased(LedgerEntry):
    """A lead released a curing station: everything that held it is settled."""

    kind: ClassVar[str] = "station_released"
    summary: ClassVar[str] = "Curing station released"
    sentence: ClassVar[str] = "{lead}[ and {second}] released {station}: {reason}"
    reached: ClassVar[Way] = Page("/stations/{station}/hold")

    station: str = spec("key", "Curing station", required=True, thing=STATION)
    lead: str = spec("text", "Released by", required=True)
    second: str | None = spec(
        "text", "Second person", help="Who agrees, if a part out of service holds it."
    )
    reason: str = spec("text", "Reason", required=True)


KINDS_OF_INCIDENTS: tuple[type[LedgerEntry], ...] = (
    Incident, IncidentStep, IncidentClosed, IncidentReopened, TankHeld, TankReleased,
    StationHeld, StationReleased,
)  # fmt: skip
