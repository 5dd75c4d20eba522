"""What is done in and to the baths, and the definitions that they need."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.lot_keys import PART_LOT, of_lot
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import HOLD, Entry
from app.domain.roomlog.life import Form, Page, Way
from app.domain.solvents.purity import of_own, said_twice

REJECT_FINDINGS = ("tacky", "white_film", "residue_in_detail", "cracked", "other")
REJECT_OUTCOMES = ("washed_again", "scrapped")
HEEL_BASES = ("seen", "assumed")
EXPLANATIONS = {
    "slip": "the last reading is a slip",
    "wrong_tank": "the last reading is of another tank",
    "washes_missing": "washes were not logged",
    "swap_missing": "a swap was not logged",
    "top_up_missing": "a top-up was not logged",
    "wrong_entry": "a wash in the log is wrong",
    "fill_not_fresh": "the fill was not fresh",
    "not_one_bath": "the readings do not belong to one bath",
    "instrument_off": "the instrument is off",
    "pair_untold": "what another bath washed is rinsed here",
}


@dataclass(frozen=True, kw_only=True)
class Limits(Entry):
    """The limits and lives that a tank carries; each limit is given in one basis."""

    limit_percent: float | None = number("Plan the swap at", "mass %", 0.1, 90)
    limit_volume_percent: float | None = number("Plan the swap at", "volume %", 0.1, 90)
    limit_g_l: float | None = number("Plan the swap at", "g/L", 1, 1200)
    stop_percent: float | None = number("Stop washing at", "mass %", 0.1, 95)
    stop_volume_percent: float | None = number("Stop washing at", "volume %", 0.1, 95)
    stop_g_l: float | None = number("Stop washing at", "g/L", 1, 1300)
    life_days: float | None = number("Longest life", "days", 1, 3650)
    life_washes: int | None = spec("whole", "Longest life", unit="washes", low=1, high=1_000_000)

    def problems(self) -> list[FieldError]:
        """Each limit in one basis only, and in the same basis the second above the first."""
        found = []
        for stem, label in (("limit", "first limit"), ("stop", "second limit")):
            names = [f"{stem}_{basis}" for basis in ("percent", "volume_percent", "g_l")]
            given = [name for name in names if getattr(self, name) is not None]
            if len(given) > 1:
                found.append(FieldError(given[1], f"Enter the {label} in one basis only."))
        for basis in ("percent", "volume_percent", "g_l"):
            first, second = getattr(self, f"limit_{basis}"), getattr(self, f"stop_{basis}")
            if first is not None and second is not None and second < first:
                found.append(FieldError(f"stop_{basis}", "The second limit is below the first."))
        return found


@dataclass(frozen=True, kw_only=True)
class Tank(Limits):
    """A tank comes into use, freshly filled unless `saturation_percent` says otherwise."""

    kind: ClassVar[str] = "tank"
    summary: ClassVar[str] = "Tank set up"
    is_correctable: ClassVar[bool] = False
    sentence: ClassVar[str] = "{by} set up {name}, {capacity_l} of {solvent}[, {rest}]"
    reached: ClassVar[Way] = Page("/tanks/new")

    tank: str = spec("key", "Tank", required=True)
    name: str = spec("text", "Name", required=True)
    capacity_l: float = number("Volume to the upper mark", "L", 0.1, 20_000, required=True)
    min_l: float | None = number("Volume to the lower mark", "L", 0, 20_000)
    solvent: str = spec("key", "Solvent", required=True)
    fresh_purity_percent: float | None = number("Purity of the fresh solvent", "mass %", 1, 100)
    fresh_purity_volume_percent: float | None = number(
        "Purity of the fresh solvent", "volume %", 1, 100, help="As on the label of an alcohol."
    )
    saturation_percent: float | None = number("Resin already in the bath", "mass %", 0, 95)
    pair: str | None = spec(
        "key", "Clean bath of this dirty bath", names="tank", help="Key of the second tank."
    )

    def problems(self) -> list[FieldError]:
        found = super().problems()
        if self.min_l is not None and self.min_l > self.capacity_l:
            found.append(FieldError("min_l", "The lower mark is above the upper mark."))
        return found + _purity_problems(self)


@dataclass(frozen=True, kw_only=True)
class TankChange(Limits):
    """A tank's name, marks, limits or lives change; its bath goes on as it is."""

    kind: ClassVar[str] = "tank_change"
    summary: ClassVar[str] = "Tank settings changed"
    sentence: ClassVar[str] = "{by} changed the settings of {tank}[: {rest}]"
    reached: ClassVar[Way] = Page("/tanks/{tank}/settings")

    tank: str = spec("key", "Tank", required=True)
    name: str | None = spec("text", "Name")
    capacity_l: float | None = number("Volume to the upper mark", "L", 0.1, 20_000)
    min_l: float | None = number("Volume to the lower mark", "L", 0, 20_000)
    is_retired: bool | None = spec("flag", "Out of use")
    pair: str | None = spec(
        "key", "Clean bath of this dirty bath", names="tank", help="Key of the second tank."
    )
    is_unpaired: bool | None = spec("flag", "No clean bath any more")

    def problems(self) -> list[FieldError]:
        found = super().problems()
        if self.pair is not None and self.pair == self.tank:
            found.append(FieldError("pair", "A tank cannot be its own clean bath."))
        if self.pair is not None and self.is_unpaired:
            found.append(FieldError("is_unpaired", "Name a clean bath, or none: not both."))
        return found


@dataclass(frozen=True, kw_only=True)
class Resin(Entry):
    """A resin the room prints with; a room has at most 200."""

    kind: ClassVar[str] = "resin"
    summary: ClassVar[str] = "Resin added"
    is_correctable: ClassVar[bool] = False
    sentence: ClassVar[str] = (
        "{by} added the resin {name}, {density_g_ml}[filled?, leaves settling solids][, {rest}]"
    )
    reached: ClassVar[Way] = Page("/resins")

    resin: str = spec("key", "Resin", required=True)
    name: str = spec("text", "Name", required=True)
    density_g_ml: float = number("Density", "g/mL", 0.8, 3.5, required=True)
    filled: bool | None = spec("flag", "Leaves settling solids")
    filler_percent: float | None = number("Filler on the label", "mass %", 0, 90)


@dataclass(frozen=True, kw_only=True)
class Load(Entry):
    """What goes through the bath: any of a part count, a surface, a mass."""

    tank: str = spec("key", "Tank", required=True)
    resin: str = spec("key", "Resin", required=True)
    parts: int | None = spec("whole", "Parts", unit="parts", low=1, high=100_000)
    area_cm2: float | None = number("Surface of the parts", "cm2", 0.1, 10_000_000)
    mass_g: float | None = number("Mass of the parts", "g", 0.01, 10_000_000)
    plan: str | None = spec("key", "Plan")

    def problems(self) -> list[FieldError]:
        """At least one way to size the load."""
        if self.parts is None and self.area_cm2 is None and self.mass_g is None:
            return [FieldError("parts", "Enter the number of parts, their surface or their mass.")]
        return []


@dataclass(frozen=True, kw_only=True)
class Wash(Load):
    """Parts were washed in the bath."""

    kind: ClassVar[str] = "wash"
    summary: ClassVar[str] = "Wash"
    sentence: ClassVar[str] = (
        "{by} washed {parts|area_cm2|mass_g} of {resin} in {tank}[, {minutes}][, lot {lot}]"
        "[plan?, as planned]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="wash", title="Log a wash, {at}", heading="Log a wash in {at}",
        save="Save the wash",
    )  # fmt: skip

    minutes: float | None = number("Time in the bath", "min", 0, 1440)
    lot: str | None = spec(
        "text", "Part lot", help="The cure of these parts asks for the same lot."
    )

    def things(self) -> list[tuple[str, str]]:
        """It is found by its part lot."""
        return [*super().things(), *of_lot(PART_LOT, self.lot)]


@dataclass(frozen=True, kw_only=True)
class PlannedWash(Load):
    """A wash is planned for `at`, known to the room from `known_from`."""

    kind: ClassVar[str] = "planned_wash"
    summary: ClassVar[str] = "Planned wash"
    sentence: ClassVar[str] = (
        "{by} planned a wash of {parts|area_cm2|mass_g} of {resin} in {tank}[, known since "
        "{known_from}]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="plan", link="Plan a wash", rank=70,
        title="Plan a wash, {at}", heading="Plan a wash in {at}",
        about="The forecast allows for it from now on. When it is done, log it as a wash.",
        save="Save the plan",
    )  # fmt: skip

    known_from: datetime | None = spec("moment", "Known from")

    @property
    def known_at(self) -> datetime:
        """A plan is known before it happens: from `known_from`, else from the start."""
        from_start = datetime.min.replace(tzinfo=self.at.tzinfo)
        return self.known_from or self.entered_at or from_start


@dataclass(frozen=True, kw_only=True)
class Reading(Entry):
    """The bath, or with `of_fresh` the fresh solvent that filled it, was measured.

    Attributes:
        values: what the instrument shows, by field name; the fields are the instrument's own.
        of_fresh: the sample is fresh solvent of this fill, the baseline of later readings.
    """

    kind: ClassVar[str] = "reading"
    summary: ClassVar[str] = "Reading"
    sentence: ClassVar[str] = (
        "{by} measured {tank} with the {method}[ ({instrument})]: {values}"
        "[of_fresh?, fresh solvent][, temperature by {thermometer}]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="reading", link="Reading", rank=10,
        title="Log a reading, {at}", heading="Log a reading of {at}", save="Save the reading",
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True)
    method: str = spec("key", "Method", required=True)
    values: Mapping[str, float] = field(default_factory=dict)
    of_fresh: bool | None = spec("flag", "Fresh solvent, before any wash")
    instrument: str | None = spec("key", "Instrument", thing="instrument")
    thermometer: str | None = spec("key", "Thermometer", thing="instrument")


@dataclass(frozen=True, kw_only=True)
class TopUp(Entry):
    """Fresh solvent was added."""

    kind: ClassVar[str] = "top_up"
    summary: ClassVar[str] = "Top-up"
    sentence: ClassVar[str] = "{by} topped up {tank}: {volume_l}[to_mark?, to the upper mark]"
    reached: ClassVar[Way] = Form(
        at="tank", task="top-up", link="Top-up", rank=20,
        title="Log a top-up, {at}", heading="Top up {at}",
        labels={"volume_l": "Fresh solvent added"},
        caution="{pouring} {solvent} only.",
        save="Save the top-up",
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True)
    volume_l: float = number("Volume", "L", 0.01, 20_000, required=True)
    to_mark: bool | None = spec("flag", "Filled to the upper mark")


@dataclass(frozen=True, kw_only=True)
class Removal(Entry):
    """Bath liquid was taken out, was lost in an incident, or went with a swap that was given up.

    With `left_l` what is left was seen: it sets the level, and the answer to what is in the tank.
    """

    kind: ClassVar[str] = "removal"
    summary: ClassVar[str] = "Removal"
    sentence: ClassVar[str] = (
        "{by} [incident!took {volume_l} out of {tank}][incident?entered {volume_l} lost from "
        "{tank}][, {left_l} left in it]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="removal", link="Removal", rank=50,
        title="Log a removal, {at}", heading="Take liquid out of {at}",
        caution=(
            "What comes out is waste, even if it is water. Put it in a separate closed, labelled "
            "drum, never down the drain. Local rules and your waste contractor decide the rest."
        ),
        rows=(("volume_l",),), labels={"volume_l": "Taken out"}, save="Save the removal",
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True)
    volume_l: float = number("Volume", "L", 0.01, 20_000, required=True)
    incident: str | None = spec("key", "Incident", thing="incident")
    swap: str | None = spec("key", "Swap it belongs to", thing="swap")
    left_l: float | None = number("Left in the tank", "L", 0, 20_000)

    def things(self) -> list[tuple[str, str]]:
        """With a swap it says what is in the tank, which lets go what waits for that."""
        return [*super().things(), *([(HOLD, self.tank)] if self.swap else [])]


@dataclass(frozen=True, kw_only=True)
class SolidsRemoved(Entry):
    """Settled solids were taken out; the liquid stays."""

    kind: ClassVar[str] = "solids_removed"
    summary: ClassVar[str] = "Settled solids removed"
    sentence: ClassVar[str] = "{by} took settled solids out of {tank}[: {mass_g}]"
    reached: ClassVar[Way] = Form(
        at="tank", task="solids", link="Solids out", rank=60,
        title="Log solids taken out, {at}", heading="Take settled solids out of {at}",
        caution="Solids wet with solvent are flammable and irritate the skin. "
        "Wear gloves and glasses, use a closed container.",
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True)
    mass_g: float | None = number("Mass of the solids", "g", 0.01, 1_000_000)


@dataclass(frozen=True, kw_only=True)
class Swap(Entry):
    """The bath was changed; without volumes it was drained fully and filled to the mark.

    With `from_tank` it was filled with what another bath held, not with fresh solvent.
    `heel_l` is what stayed behind of the old bath, seen by somebody or assumed.
    """

    kind: ClassVar[str] = "swap"
    summary: ClassVar[str] = "Swap"
    sentence: ClassVar[str] = (
        "{by} swapped the bath of {tank}[, {drained_l} drained][, {filled_l} filled][ with "
        "{solvent}][, purity {fresh_purity_percent|fresh_purity_volume_percent}][, with the bath "
        "of {from_tank}][, {heel_l} left in it][ ({heel_basis})]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    tank: str = spec("key", "Tank", required=True)
    drained_l: float | None = number("Drained", "L", 0, 20_000)
    filled_l: float | None = number("Filled", "L", 0.01, 20_000)
    solvent: str | None = spec("key", "Solvent")
    fresh_purity_percent: float | None = number("Purity of the fresh solvent", "mass %", 1, 100)
    fresh_purity_volume_percent: float | None = number(
        "Purity of the fresh solvent", "volume %", 1, 100, help="As on the label of an alcohol."
    )
    from_tank: str | None = spec(
        "key",
        "Filled with the bath of",
        names="tank",
        help="Key of the clean bath whose liquid was moved here.",
    )
    swap: str | None = spec("key", "Swap", thing="swap")
    heel_l: float | None = number("Left in the tank", "L", 0, 20_000)
    heel_basis: str | None = spec("choice", "How that is known", choices=HEEL_BASES)

    def problems(self) -> list[FieldError]:
        """A bath is not filled from itself, and its purity is said once."""
        found = _purity_problems(self)
        if self.from_tank == self.tank:
            found.append(FieldError("from_tank", "A bath cannot be filled from itself."))
        return found


def _purity_problems(entry: Tank | Swap) -> list[FieldError]:
    given = entry.fresh_purity_percent, entry.fresh_purity_volume_percent
    found = said_twice("fresh_purity_volume_percent", *given)
    for name in ("fresh_purity_percent", "fresh_purity_volume_percent"):
        found += of_own(name, entry.solvent, getattr(entry, name))
    return found


@dataclass(frozen=True, kw_only=True)
class SwapStarted(Entry):
    """A swap is under way: the tank is not washed in."""

    kind: ClassVar[str] = "swap_started"
    summary: ClassVar[str] = "Swap started"
    sentence: ClassVar[str] = "{by} started the swap of {tank}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    tank: str = spec("key", "Tank", required=True)
    swap: str | None = spec("key", "Swap", thing="swap")


@dataclass(frozen=True, kw_only=True)
class SwapAbandoned(Entry):
    """A started swap was given up. What it moved is said by entries of their own.

    With `asks_contents` nobody has said yet what is in the tank: it is held until somebody does.
    """

    kind: ClassVar[str] = "swap_abandoned"
    summary: ClassVar[str] = "Swap given up"
    sentence: ClassVar[str] = (
        "{by} gave up the swap of {tank}[asks_contents?, and was asked what is in it]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/swap")

    tank: str = spec("key", "Tank", required=True)
    swap: str | None = spec("key", "Swap", thing="swap")
    asks_contents: bool | None = spec("flag", "Contents of the tank not entered yet")

    def things(self) -> list[tuple[str, str]]:
        """The tank is held where nobody has said what is in it."""
        return [*super().things(), *([(HOLD, self.tank)] if self.asks_contents else [])]


@dataclass(frozen=True, kw_only=True)
class Reject(Entry):
    """Parts came out of the wash bad."""

    kind: ClassVar[str] = "reject"
    summary: ClassVar[str] = "Rejected parts"
    sentence: ClassVar[str] = (
        "{by} rejected [parts!parts][{parts}][ of {resin}] from {tank}: {finding}[, {outcome}]"
        "[, lot {lot}]"
    )
    reached: ClassVar[Way] = Form(
        at="tank", task="reject", link="Rejected parts", rank=30,
        title="Log rejected parts, {at}", heading="Rejected parts from {at}",
        about="One touch saves it. Wash the parts again in clean solvent before you cure them.",
    )  # fmt: skip

    tank: str = spec("key", "Tank", required=True)
    finding: str = spec("choice", "Finding", choices=REJECT_FINDINGS, required=True)
    resin: str | None = spec("key", "Resin")
    parts: int | None = spec("whole", "Parts", unit="parts", low=1, high=100_000)
    outcome: str | None = spec("choice", "What happened to them", choices=REJECT_OUTCOMES)
    lot: str | None = spec("text", "Part lot")

    def things(self) -> list[tuple[str, str]]:
        """It is found by its part lot."""
        return [*super().things(), *of_lot(PART_LOT, self.lot)]


@dataclass(frozen=True, kw_only=True)
class Calibration(Entry):
    """The room's own calibration of its refractometer for one solvent.

    Attributes:
        points: pairs of (scale value, resin in mass percent).
    """

    kind: ClassVar[str] = "calibration"
    summary: ClassVar[str] = "Refractometer calibration"
    sentence: ClassVar[str] = "{by} calibrated the refractometer for {solvent} by {scale}: {points}"
    reached: ClassVar[Way] = Page("/calibrations")

    solvent: str = spec("key", "Solvent", required=True)
    scale: str = spec(
        "choice",
        "Scale",
        choices=("brix_percent", "index"),
        required=True,
        words={"brix_percent": "Brix", "index": "refractive index"},
    )
    points: tuple[tuple[float, float], ...] = spec(
        "points", "Points", low=0, high=100, required=True
    )


@dataclass(frozen=True, kw_only=True)
class ExplanationDismissed(Entry):
    """A person leaves things as they are where the estimate named what may lie behind readings.

    It moves no figure: the explanation is not said again until new readings speak for it.

    Attributes:
        entry: the entry that the explanation is about, where it is about one.
    """

    kind: ClassVar[str] = "explanation_dismissed"
    summary: ClassVar[str] = "Explanation dismissed"
    sentence: ClassVar[str] = "{by} dismissed an explanation for {tank}: {explanation}"
    reached: ClassVar[Way] = Page("/tanks/{tank}/explanation")

    tank: str = spec("key", "Tank", required=True)
    explanation: str = spec(
        "choice", "Explanation", choices=tuple(EXPLANATIONS), words=EXPLANATIONS, required=True
    )
    entry: str | None = spec("key", "Entry it is about")


@dataclass(frozen=True, kw_only=True)
class Withdrawal(Entry):
    """An entry is withdrawn: it stays in the history and no longer counts."""

    kind: ClassVar[str] = "withdrawal"
    summary: ClassVar[str] = "Entry withdrawn"
    concerns_bath: ClassVar[bool] = False  # a bath is as if the entry had not been said
    is_correctable: ClassVar[bool] = False
    sentence: ClassVar[str] = "{by} withdrew an entry"
    reached: ClassVar[Way] = Page("/entries/{entry_id}")

    withdraws: str = spec("key", "Entry", required=True)


KINDS_OF_BATHS: tuple[type[Entry], ...] = (
    Tank, TankChange, Resin, Calibration, Wash, PlannedWash, Reading, TopUp, Removal,
    SolidsRemoved, Swap, SwapStarted, SwapAbandoned, Reject,
    ExplanationDismissed, Withdrawal,
)  # fmt: skip
