"""Inspection and wear: positions of a tank or station, what was seen there, what was replaced."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.inspections.part import EMPTY, LOOKS
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.kinds.inspection_data import (
    DECISIONS,
    PARTS,
    REPLACED_BECAUSE,
    VERDICTS,
    VIEWS,
    check_answers,
    check_marks,
    check_positions,
    photo_problems,
)
from app.domain.roomlog.life import Page, Way

COMPONENT = "component"
BECAUSE_WORDS = {
    "finding": "for what was found", "mate": "with its mate", "planned": "as planned",
    "other": "for another reason",
}  # fmt: skip
LOOK_WORDS = {
    "full": "while full", "empty": "with the tank empty", "refilled": "after the refill",
}  # fmt: skip
INSPECTION = "inspection"
SOAK = "soak"
PHOTO_RULES = "photo_rules"


@dataclass(frozen=True, kw_only=True)
class Component(LedgerEntry):
    """A position of a tank or a curing station: what part sits there, and since when."""

    kind: ClassVar[str] = "component"
    summary: ClassVar[str] = "Part position set up"
    sentence: ClassVar[str] = (
        "{by} set up the position {name} ({part})[ in {tank}][ in {station}][, fitted "
        "{fitted_at}][, {rest}]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/parts")

    component: str = spec("key", "Position", required=True, thing=COMPONENT)
    part: str = spec("choice", "Part", choices=PARTS, words={"o_ring": "O-ring"}, required=True)
    name: str = spec("text", "Name", required=True, help="As people call it: impeller 1.")
    tank: str | None = spec("key", "Tank")
    station: str | None = spec("key", "Curing station")
    mate: str | None = spec(
        "key", "Works with", names="component", help="The position that is replaced with it."
    )
    item: str | None = spec("key", "Item on the shelf", help="What it is replaced with.")
    fitted_at: datetime | None = spec("moment", "Fitted", help="If empty: not known.")

    def problems(self) -> list[FieldError]:
        """A part sits in one tank or one station; nothing is its own mate."""
        found = []
        if (self.tank is None) == (self.station is None):
            found.append(FieldError("tank", "Choose the tank or the station it sits in."))
        if self.mate is not None and self.mate == self.component:
            found.append(FieldError("mate", "A position is not its own mate."))
        if self.fitted_at is not None and self.fitted_at > self.at:
            found.append(FieldError("fitted_at", "It was fitted before this entry, not after."))
        return found


@dataclass(frozen=True, kw_only=True)
class ComponentChanged(LedgerEntry):
    """A position's name, mate or item changes; what is left out stays as it was."""

    kind: ClassVar[str] = "component_changed"
    summary: ClassVar[str] = "Part position changed"
    sentence: ClassVar[str] = "{by} changed the position {component}[: {rest}]"
    reached: ClassVar[Way] = Page("/parts/{component}")

    component: str = spec("key", "Position", required=True, thing=COMPONENT)
    name: str | None = spec("text", "Name")
    mate: str | None = spec("key", "Works with", names="component")
    item: str | None = spec("key", "Item on the shelf")
    is_retired: bool | None = spec("flag", "No longer there")


@dataclass(frozen=True, kw_only=True)
class ComponentReplaced(LedgerEntry):
    """A new part was fitted at a position: its history starts again."""

    kind: ClassVar[str] = "component_replaced"
    summary: ClassVar[str] = "Part replaced"
    sentence: ClassVar[str] = (
        "{by} fitted a new part at {component}, {because}[, {item}][, lot {lot}]"
    )
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}")

    component: str = spec("key", "Position", required=True, thing=COMPONENT)
    because: str = spec(
        "choice", "Because of", choices=REPLACED_BECAUSE, words=BECAUSE_WORDS, required=True
    )
    inspection: str | None = spec("key", "Inspection", thing=INSPECTION)
    item: str | None = spec("key", "Item on the shelf")
    lot: str | None = spec("text", "Lot")


def _look() -> Any:
    return spec(
        "choice", "Look", choices=LOOKS, words=LOOK_WORDS,
        help="If empty: at an empty tank, or at a station.",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class InspectionStarted(LedgerEntry):
    """Somebody looks at the parts of a tank or station; as a step of a swap or on its own."""

    kind: ClassVar[str] = "inspection_started"
    summary: ClassVar[str] = "Inspection started"
    sentence: ClassVar[str] = (
        "{by} started to inspect [{tank}][{station}][, {look}][swap?, as part of a swap]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/inspection")

    inspection: str = spec("key", "Inspection", required=True, thing=INSPECTION)
    positions: list[dict[str, str]] = spec(
        "data", "Positions", required=True, check=check_positions,
        example=[{"component": "alder-impeller-1", "part": "impeller", "name": "Impeller 1"}],
    )  # fmt: skip
    tank: str | None = spec("key", "Tank")
    station: str | None = spec("key", "Curing station")
    swap: str | None = spec("key", "Swap")
    look: str | None = _look()

    def problems(self) -> list[FieldError]:
        """An inspection is of one tank or one station; a station is never full."""
        if (self.tank is None) == (self.station is None):
            return [FieldError("tank", "An inspection covers one tank or one station.")]
        if self.station is not None and self.look not in (None, EMPTY):
            return [FieldError("look", "A station is not filled. Leave the look out.")]
        return []


@dataclass(frozen=True, kw_only=True)
class PositionEntry(LedgerEntry):
    """An entry about one position within an inspection."""

    inspection: str = spec("key", "Inspection", required=True, thing=INSPECTION)
    component: str = spec("key", "Position", required=True, thing=COMPONENT)


@dataclass(frozen=True, kw_only=True)
class InspectionAnswered(PositionEntry):
    """What was seen at a position. Answering again replaces the answers before.

    `verdict` is the rule's at that time; left out, it is worked out from the answers.
    """

    kind: ClassVar[str] = "inspection_answered"
    summary: ClassVar[str] = "Part inspected"
    sentence: ClassVar[str] = (
        "{by} inspected {component}[, {look}][: {verdict}][, no photo: {no_photo}]"
        "[, next look: {next_look}]"
    )
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}")

    answers: dict[str, str] = spec(
        "data", "Answers", required=True, check=check_answers, example={"blades_worn": "no"}
    )
    verdict: str | None = spec("choice", "Verdict of the rule", choices=VERDICTS)
    look: str | None = _look()
    no_photo: str | None = spec("text", "Why there is no photo")
    next_look: str | None = spec("text", "Next look")


@dataclass(frozen=True, kw_only=True)
class InspectionPhoto(PositionEntry):
    """A photo of a part, named by the SHA-256 of its file in the room's photo folder."""

    kind: ClassVar[str] = "inspection_photo"
    summary: ClassVar[str] = "Photo taken"
    sentence: ClassVar[str] = "{by} took a photo of {component}, {view}[, {look}]"
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}")

    photo: str = spec("text", "Photo", required=True)
    view: str = spec("choice", "View", choices=VIEWS, required=True)
    look: str | None = _look()

    def problems(self) -> list[FieldError]:
        """The name is that of a file's content."""
        return photo_problems(self.photo)


@dataclass(frozen=True, kw_only=True)
class PhotoLabelled(PositionEntry):
    """What a photo shows, said anew. The label before stays in the history."""

    kind: ClassVar[str] = "photo_labelled"
    summary: ClassVar[str] = "Photo labelled"
    sentence: ClassVar[str] = "{by} labelled a photo of {component}: {view}"
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}/photos/{photo}")

    photo: str = spec("text", "Photo", required=True)
    view: str = spec("choice", "View", choices=VIEWS, required=True)

    def problems(self) -> list[FieldError]:
        """The name is that of a file's content."""
        return photo_problems(self.photo)


@dataclass(frozen=True, kw_only=True)
class PhotoMarked(PositionEntry):
    """Arrows and rings drawn on a photo. Marks given later replace those before."""

    kind: ClassVar[str] = "photo_marked"
    summary: ClassVar[str] = "Photo marked"
    sentence: ClassVar[str] = "{by} marked a photo of {component}"
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}/photos/{photo}")

    photo: str = spec("text", "Photo", required=True)
    marks: list[dict[str, Any]] = spec(
        "data", "Marks", required=True, check=check_marks,
        example=[{"shape": "arrow", "x_percent": 40, "y_percent": 55, "text": "crack"}],
    )  # fmt: skip

    def problems(self) -> list[FieldError]:
        """The name is that of a file's content."""
        return photo_problems(self.photo)


@dataclass(frozen=True, kw_only=True)
class InspectionOverruled(PositionEntry):
    """A lead decides otherwise than the rule; the rule's own verdict stays beside it."""

    kind: ClassVar[str] = "inspection_overruled"
    summary: ClassVar[str] = "Verdict overruled"
    sentence: ClassVar[str] = (
        "{lead}[ and {second}] overruled the verdict on {component}: {verdict}, {reason}"
    )
    reached: ClassVar[Way] = Page("/inspections/{inspection}/parts/{component}")

    verdict: str = spec("choice", "Verdict", choices=DECISIONS, required=True)
    lead: str = spec("text", "Lead", required=True)
    second: str | None = spec(
        "text", "Second person", help="Who agrees, if the part was to be taken out of service."
    )
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class InspectionClosed(LedgerEntry):
    """Everything was looked at and signed for."""

    kind: ClassVar[str] = "inspection_closed"
    summary: ClassVar[str] = "Inspection closed"
    sentence: ClassVar[str] = "{by} closed the inspection[, {second} also looked]"
    reached: ClassVar[Way] = Page("/inspections/{inspection}")

    inspection: str = spec("key", "Inspection", required=True, thing=INSPECTION)
    second: str | None = spec("text", "Second person", help="Who else looked.")


@dataclass(frozen=True, kw_only=True)
class SoakStarted(LedgerEntry):
    """A sample of an elastomer goes into the room's own bath, weighed dry before."""

    kind: ClassVar[str] = "soak_started"
    summary: ClassVar[str] = "Soak test started"
    sentence: ClassVar[str] = (
        "{by} put {name} in the bath of {tank} to soak, {mass_before_g} before"
    )
    reached: ClassVar[Way] = Page("/soak")

    soak: str = spec("key", "Soak test", required=True, thing=SOAK)
    name: str = spec("text", "What is soaked", required=True)
    tank: str = spec("key", "In the bath of", required=True)
    mass_before_g: float = number("Weight before", "g", 0.001, 10_000, required=True)


@dataclass(frozen=True, kw_only=True)
class SoakEnded(LedgerEntry):
    """The sample was taken out, dabbed dry and weighed again."""

    kind: ClassVar[str] = "soak_ended"
    summary: ClassVar[str] = "Soak test ended"
    sentence: ClassVar[str] = "{by} took {soak} out of its bath: {mass_after_g}[, {looks}]"
    reached: ClassVar[Way] = Page("/soak")

    soak: str = spec("key", "Soak test", required=True, thing=SOAK)
    mass_after_g: float = number("Weight after", "g", 0.001, 10_000, required=True)
    looks: str | None = spec("text", "How it looks and feels")


@dataclass(frozen=True, kw_only=True)
class PhotoRules(LedgerEntry):
    """Whether the originals of photos, which hold where they were taken, are kept."""

    kind: ClassVar[str] = "photo_rules"
    summary: ClassVar[str] = "Rule for originals of photos"
    sentence: ClassVar[str] = (
        "{lead} decided that the originals of photos are [keep_originals?kept]"
        "[keep_originals!not kept]"
    )
    reached: ClassVar[Way] = Page("/parts/life")

    rules: str = spec("key", "Rules", required=True, thing=PHOTO_RULES)
    keep_originals: bool = spec("flag", "Keep the originals", required=True)
    lead: str = spec("text", "Lead", required=True)


KINDS_OF_INSPECTIONS: tuple[type[Entry], ...] = (
    Component, ComponentChanged, ComponentReplaced,
    InspectionStarted, InspectionAnswered, InspectionPhoto, PhotoLabelled, PhotoMarked,
    InspectionOverruled, InspectionClosed, SoakStarted, SoakEnded, PhotoRules,
)  # fmt: skip
