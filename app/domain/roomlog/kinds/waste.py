"""Waste drums: what is poured into them, where they stand, when they are fetched.

An entry about a pickup stands in the books of its drums as well, so that one entry moves them all
and its withdrawal moves them all back.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.kinds.builds import MATERIALS
from app.domain.roomlog.kinds.waste_data import (
    STREAMS,
    check_drums,
    check_edits,
    check_marks,
    check_streams,
    is_stream,
)
from app.domain.roomlog.life import Page, Way

DRUM = "drum"
PICKUP = "pickup"
WASTE_RULES = "waste_rules"
AREAS = ("wash_station", "central")
AREA_WORDS = {"wash_station": "at the wash station", "central": "in the central area"}
MOST_L = 3000.0
MOST_KG = 4500.0
IN_ORDER = ("lid_closed", "label_complete", "date_visible", "no_leak", "aisle_free")
"""What a check of a drum says to be in order."""
THROUGH_PLASTIC = "Only for more than 5 L through plastic."


@dataclass(frozen=True, kw_only=True)
class Drum(LedgerEntry):
    """A waste drum comes into use, empty or with what it holds already."""

    kind: ClassVar[str] = "drum"
    summary: ClassVar[str] = "Waste drum set up"
    sentence: ClassVar[str] = (
        "{by} set up {name} as a waste drum for {stream}, {capacity_l}, {area}[, {rest}]"
    )
    reached: ClassVar[Way] = Page("/waste/new")

    drum: str = spec("key", "Drum", required=True, thing=DRUM)
    name: str = spec("text", "Name", required=True)
    capacity_l: float = number("Capacity", "L", 0.5, MOST_L, required=True)
    stream: str = spec(
        "choice", "Waste stream", choices=STREAMS, names="stream", also=is_stream, required=True
    )
    area: str = spec("choice", "Location", choices=AREAS, words=AREA_WORDS, required=True)
    fill_limit_percent: float | None = number("Fill limit", "% of the capacity", 10, 98)
    tare_kg: float | None = number("Empty weight", "kg", 0.05, MOST_KG)
    inner_height_cm: float | None = number("Inner height", "cm", 5, 300)
    material: str | None = spec("choice", "Material", choices=MATERIALS)
    volume_l: float | None = number("Already holds", "L", 0, MOST_L)
    waste_kg: float | None = number("Waste already in it", "kg", 0, MOST_KG)
    first_pour_at: datetime | None = spec("moment", "First pour")
    central_at: datetime | None = spec("moment", "Arrived in the central area")

    def problems(self) -> list[FieldError]:
        """What it holds must fit in, and dates need contents."""
        found = []
        if (self.volume_l or 0) > self.capacity_l:
            found.append(FieldError("volume_l", "This is more than the drum's capacity."))
        days = {"first_pour_at": self.first_pour_at, "central_at": self.central_at}
        for name, at in days.items():
            if at is not None and not self.volume_l:
                found.append(FieldError(name, "Only a drum with something in it has this day."))
            if at is not None and at > self.at:
                found.append(FieldError(name, "This is after the drum came into use here."))
        return found


@dataclass(frozen=True, kw_only=True)
class DrumEntry(LedgerEntry):
    """An entry about one drum."""

    drum: str = spec("key", "Drum", required=True, thing=DRUM)


@dataclass(frozen=True, kw_only=True)
class DrumChanged(DrumEntry):
    """A drum's name, size or stream is set right; what is left out stays as it was."""

    kind: ClassVar[str] = "drum_changed"
    summary: ClassVar[str] = "Waste drum changed"
    sentence: ClassVar[str] = "{by} changed {drum}[: {rest}]"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}/settings")

    name: str | None = spec("text", "Name")
    capacity_l: float | None = number("Capacity", "L", 0.5, MOST_L)
    fill_limit_percent: float | None = number("Fill limit", "% of the capacity", 10, 98)
    stream: str | None = spec(
        "choice", "Waste stream", choices=STREAMS, names="stream", also=is_stream
    )
    tare_kg: float | None = number("Empty weight", "kg", 0.05, MOST_KG)
    inner_height_cm: float | None = number("Inner height", "cm", 5, 300)
    material: str | None = spec("choice", "Material", choices=MATERIALS)


@dataclass(frozen=True, kw_only=True)
class Pour(DrumEntry):
    """Waste was poured into a drum: it counts in the month in which it left the process."""

    kind: ClassVar[str] = "pour"
    summary: ClassVar[str] = "Poured into a drum"
    sentence: ClassVar[str] = (
        "{by} poured {volume_l} [of {stream} ]into {drum}[ from {tank}][, resin {resin_percent}]"
        "[, agreed by {lead}]"
    )
    reached: ClassVar[Way] = Page("/waste/drums/{drum}/pour")

    volume_l: float = number("Volume", "L", 0.01, MOST_L, required=True)
    tank: str | None = spec("key", "From tank")
    swap: str | None = spec("key", "Swap", thing="swap")
    stream: str | None = spec(
        "choice", "What was poured", choices=STREAMS, names="stream", also=is_stream
    )
    resin_percent: float | None = number("Resin in it", "mass %", 0, 100)
    mass_before_kg: float | None = number("Drum on the scale before", "kg", 0, MOST_KG)
    mass_after_kg: float | None = number("Drum on the scale after", "kg", 0, MOST_KG)
    dip_before_cm: float | None = number("Dip before", "cm", 0, 300)
    dip_after_cm: float | None = number("Dip after", "cm", 0, 300)
    incident: str | None = spec("key", "Incident", help="Taken up where it was spilled.")
    lead: str | None = spec("text", "Lead who agrees", help=THROUGH_PLASTIC)

    def problems(self) -> list[FieldError]:
        """Before and after belong together, and after is more."""
        found = []
        for stem, unit in (("mass", "kg"), ("dip", "cm")):
            names = (f"{stem}_before_{unit}", f"{stem}_after_{unit}")
            before, after = (getattr(self, name) for name in names)
            if (before is None) != (after is None):
                missing = names[0] if before is None else names[1]
                found.append(FieldError(missing, "Enter the figure before and the figure after."))
            elif before is not None and after <= before:
                found.append(
                    FieldError(names[1], "The figure after a pour must be higher than before.")
                )
        return found


MOMENTS = ("before", "after")
SCALE_TANK = "A container is weighed for a tank, a drum for what goes into it: name one of them."


@dataclass(frozen=True, kw_only=True)
class ScaleWeight(LedgerEntry):
    """What a scale shows that sends its weights itself. It moves no litre: whoever stands at the
    step, pour or top-up looks at it, and takes it.

    With `drum` a waste drum stands on it; with `tank` alone the container from which that tank is
    filled or topped up. With both the drum that this tank is drained into.
    """

    kind: ClassVar[str] = "scale_weight"
    summary: ClassVar[str] = "Weight from a scale"
    sentence: ClassVar[str] = (
        "Scale {scale} showed {shown_kg}[ with {drum} on it][ for {tank}], {moment} it was poured"
    )
    reached: ClassVar[Way] = Page("/waste")

    scale: str = spec("text", "Scale", required=True)
    shown_kg: float = number("What it shows", "kg", 0, MOST_KG, required=True)
    moment: str = spec("choice", "Before or after it was poured", choices=MOMENTS, required=True)
    drum: str | None = spec("key", "Waste drum on it", names="drum")
    tank: str | None = spec("key", "Tank it is for")

    def problems(self) -> list[FieldError]:
        """A weight of nothing in particular helps nobody."""
        return [] if self.drum or self.tank else [FieldError("drum", SCALE_TANK)]


@dataclass(frozen=True, kw_only=True)
class DrumTransfer(DrumEntry):
    """Waste of a leaking drum was moved into another; the month counts it no second time."""

    kind: ClassVar[str] = "drum_transfer"
    summary: ClassVar[str] = "Moved from another drum"
    sentence: ClassVar[str] = (
        "{by} moved {volume_l}, {waste_kg}, from {from_drum} into {drum}[, agreed by {lead}]"
    )
    reached: ClassVar[Way] = Page("/waste/drums/{drum}/transfer")

    from_drum: str = spec("key", "From drum", required=True, thing=DRUM)
    volume_l: float = number("Volume", "L", 0.01, MOST_L, required=True)
    waste_kg: float = number("Mass", "kg", 0.001, MOST_KG, required=True)
    lead: str | None = spec("text", "Lead who agrees", help=THROUGH_PLASTIC)

    def problems(self) -> list[FieldError]:
        """A drum is not emptied into itself."""
        if self.drum == self.from_drum:
            return [FieldError("from_drum", "Choose another drum.")]
        return []


@dataclass(frozen=True, kw_only=True)
class DrumMoved(DrumEntry):
    """A drum was brought to another area."""

    kind: ClassVar[str] = "drum_moved"
    summary: ClassVar[str] = "Drum moved"
    sentence: ClassVar[str] = "{by} moved {drum}: now {area}"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}")

    area: str = spec("choice", "Location", choices=AREAS, words=AREA_WORDS, required=True)


@dataclass(frozen=True, kw_only=True)
class DrumClosed(DrumEntry):
    """A drum takes no more and is closed for shipping."""

    kind: ClassVar[str] = "drum_closed"
    summary: ClassVar[str] = "Drum closed for shipping"
    sentence: ClassVar[str] = "{by} closed {drum} for shipping"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}")

    is_cool: bool | None = spec("flag", "Contents cool and quiet, not left in the light")


@dataclass(frozen=True, kw_only=True)
class DrumOpened(DrumEntry):
    """A closed drum is in use again."""

    kind: ClassVar[str] = "drum_opened"
    summary: ClassVar[str] = "Drum in use again"
    sentence: ClassVar[str] = "{by} put {drum} back in use"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}")


@dataclass(frozen=True, kw_only=True)
class DrumChecked(DrumEntry):
    """The weekly look at a drum; what is not said to be in order is not.

    One that is warm, hisses or bulges is in quarantine from then on.
    """

    kind: ClassVar[str] = "drum_checked"
    summary: ClassVar[str] = "Drum checked"
    sentence: ClassVar[str] = (
        "{by} checked {drum}[lid_closed!, lid or bungs open][label_complete!, label not "
        "complete][date_visible!, date not visible][no_leak!, leak, rust or bulge]"
        "[aisle_free!, aisle not free][is_warm?, warm, hissing or bulging: in quarantine]"
    )
    reached: ClassVar[Way] = Page("/waste/check")

    lid_closed: bool | None = spec("flag", "Lid and bungs closed")
    label_complete: bool | None = spec("flag", "Label complete and legible")
    date_visible: bool | None = spec("flag", "Date visible")
    no_leak: bool | None = spec("flag", "No leak, rust or bulge")
    aisle_free: bool | None = spec("flag", "Aisle free to reach it")
    is_warm: bool | None = spec("flag", "Warm, hissing or bulging")

    def faults(self) -> tuple[str, ...]:
        """Labels of what was not in order."""
        specs = self.specs()
        found = [specs[name].label for name in IN_ORDER if not getattr(self, name)]
        return (*found, specs["is_warm"].label) if self.is_warm else tuple(found)


@dataclass(frozen=True, kw_only=True)
class DrumQuarantined(DrumEntry):
    """Nothing may be poured into or shipped from a drum until a lead releases it."""

    kind: ClassVar[str] = "drum_quarantined"
    summary: ClassVar[str] = "Drum put in quarantine"
    sentence: ClassVar[str] = "{by} put {drum} in quarantine: {reason}"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}")

    reason: str = spec("text", "Reason", required=True)
    incident: str | None = spec("key", "Incident", thing="incident")


@dataclass(frozen=True, kw_only=True)
class DrumReleased(DrumEntry):
    """A lead released a drum from quarantine."""

    kind: ClassVar[str] = "drum_released"
    summary: ClassVar[str] = "Drum released"
    sentence: ClassVar[str] = "{lead} released {drum} from quarantine: {reason}"
    reached: ClassVar[Way] = Page("/waste/drums/{drum}")

    lead: str = spec("text", "Released by", required=True)
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class PickupEntry(LedgerEntry):
    """An entry about a pickup, and so about each of its drums."""

    pickup: str = spec("key", "Pickup", required=True, thing=PICKUP)
    drums: list[str] = spec(
        "data", "Drums", required=True, check=check_drums, names="drum", example=["d1", "d2"]
    )

    def things(self) -> list[tuple[str, str]]:
        """The pickup and each drum."""
        return [*super().things(), *((DRUM, key) for key in dict.fromkeys(self.drums))]


@dataclass(frozen=True, kw_only=True)
class PickupBooked(PickupEntry):
    """A licensed contractor was booked to fetch drums on a day."""

    kind: ClassVar[str] = "pickup_booked"
    summary: ClassVar[str] = "Pickup booked"
    sentence: ClassVar[str] = "{by} booked {hauler} to collect {drums} on {pickup_on}"
    reached: ClassVar[Way] = Page("/waste/pickups")

    pickup_on: date = spec("day", "Day", required=True)
    hauler: str = spec("text", "Contractor", required=True)


@dataclass(frozen=True, kw_only=True)
class PickupCancelled(PickupEntry):
    """A booked pickup does not come."""

    kind: ClassVar[str] = "pickup_cancelled"
    summary: ClassVar[str] = "Pickup cancelled"
    sentence: ClassVar[str] = "{by} cancelled the pickup of {drums}: {reason}"
    reached: ClassVar[Way] = Page("/waste/pickups/{pickup}")

    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class PickupShipped(PickupEntry):
    """The drums left the site."""

    kind: ClassVar[str] = "pickup_shipped"
    summary: ClassVar[str] = "Drums shipped"
    sentence: ClassVar[str] = (
        "{by} shipped {drums}, document {document}[, {cost_cents}][, {shipped_kg} by the "
        "contractor's scale]"
    )
    reached: ClassVar[Way] = Page("/waste/pickups/{pickup}")

    document: str = spec("text", "Document number", required=True)
    cost_cents: int | None = spec("money", "Cost", low=0, high=100_000_000_000)
    shipped_kg: float | None = number("Weighed by the contractor", "kg", 0.01, 1_000_000)


@dataclass(frozen=True, kw_only=True)
class PickupCopyReceived(PickupEntry):
    """The copy signed by the receiving facility is there."""

    kind: ClassVar[str] = "pickup_copy_received"
    summary: ClassVar[str] = "Signed copy received"
    sentence: ClassVar[str] = "{by} received the signed copy for {drums}"
    reached: ClassVar[Way] = Page("/waste/pickups/{pickup}")


@dataclass(frozen=True, kw_only=True)
class WasteRules(LedgerEntry):
    """The site chooses its set of waste rules, or enters values of its own.

    The category is one of the set; `edits` and `marks` replace all earlier ones.
    """

    kind: ClassVar[str] = "waste_rules"
    summary: ClassVar[str] = "Waste rules changed"
    sentence: ClassVar[str] = "{by} changed the waste rules[: {rest}]"
    reached: ClassVar[Way] = Page("/waste/rules")

    waste_rules: str = spec("key", "Rules", required=True, thing=WASTE_RULES)
    rule_set: str | None = spec("key", "Rule set", names="rule_set")
    category: str | None = spec("key", "Category of the site", names="waste_category")
    edits: Mapping[str, Any] | None = spec(
        "data", "Values of the site", check=check_edits,
        example={"warn_days": {"value": 21, "source": "Site procedure 4", "as_of": "2026-03-02"}},
    )  # fmt: skip
    uncounted: list[str] | None = spec(
        "data",
        "Streams that do not count",
        check=check_streams,
        names="stream",
        example=["water_wash"],
    )
    marks: Mapping[str, Any] | None = spec(
        "data", "Codes for labels and papers", check=check_marks,
        example={"isopropanol_resin": {"codes": "D001", "un_number": "UN1993"}},
    )  # fmt: skip


KINDS_OF_WASTE: tuple[type[LedgerEntry], ...] = (
    Drum, DrumChanged, Pour, ScaleWeight, DrumTransfer, DrumMoved, DrumClosed, DrumOpened,
    DrumChecked, DrumQuarantined, DrumReleased, PickupBooked, PickupCancelled, PickupShipped,
    PickupCopyReceived, WasteRules,
)  # fmt: skip
