"""Part lots: what a batch of parts is printed from, and who releases or rejects it.

A part lot is the parts of one build or job that go through post-processing together. *Part*,
*build* and *post-processing* are words of ISO/ASTM 52900, *lot* and *release* of ISO 9000, where a
*concession* is the leave to release what does not conform (all from memory).
"""

from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.lot_keys import PART_LOT, RESIN_LOT, of_lot
from app.domain.roomlog.fields import spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Form, Way

FINDINGS = (
    "no wash logged", "bath over limit", "bath not known", "tank on hold",
    "no cure logged", "cured before wash", "dried too short", "drying not known",
    "dose too low", "dose not known", "light reading set aside", "check overdue",
    "rejects noted", "two resins", "two resin lots",
)  # fmt: skip
"""What may be wrong in the chain of a part lot, in the words in which a release accepts it."""
BETWEEN = "; "


@dataclass(frozen=True, kw_only=True)
class PartLotEntry(LedgerEntry):
    """What is said of a whole part lot."""

    lot: str = spec("text", "Part lot", required=True)

    def things(self) -> list[tuple[str, str]]:
        """It is found by its lot."""
        return [*super().things(), *of_lot(PART_LOT, self.lot)]


@dataclass(frozen=True, kw_only=True)
class PartLot(PartLotEntry):
    """A part lot: which resin and lot of resin its parts are printed from, in which build."""

    kind: ClassVar[str] = "part_lot"
    summary: ClassVar[str] = "Part lot"
    sentence: ClassVar[str] = (
        "{by} entered part lot {lot}: [{parts} of ]{resin}[, resin lot {resin_lot}]"
        "[, build {build}][, job {job}]"
    )
    reached: ClassVar[Way] = Form(
        at="room", task="part-lot", title="Part lot", heading="Enter a part lot",
        about="Type or scan the lot once. Washes and cures then offer it with one touch.",
        rows=(("lot",), ("resin",), ("resin_lot",), ("parts",), ("build", "job")),
        save="Save the part lot",
    )  # fmt: skip

    resin: str = spec("key", "Resin", required=True)
    resin_lot: str | None = spec("text", "Lot of the resin", help="As on the bottle.")
    parts: int | None = spec("whole", "Parts", unit="parts", low=1, high=100_000)
    build: str | None = spec("text", "Build")
    job: str | None = spec("text", "Job")

    def things(self) -> list[tuple[str, str]]:
        """It is found by the lot of its resin too."""
        return [*super().things(), *of_lot(RESIN_LOT, self.resin_lot)]


@dataclass(frozen=True, kw_only=True)
class PartLotReleased(PartLotEntry):
    """A lead released a part lot; what is wrong in its chain is accepted by name, with a reason.

    Attributes:
        accepted: of `FINDINGS`, with semicolons between them.
    """

    kind: ClassVar[str] = "part_lot_released"
    summary: ClassVar[str] = "Part lot released"
    sentence: ClassVar[str] = (
        "{lead} released part lot {lot}[, accepting {accepted}][, because {reason}]"
    )
    reached: ClassVar[Way] = Form(
        at="room", task="part-lot-release", title="Release a part lot",
        heading="Release a part lot", save="Release the part lot",
    )  # fmt: skip

    lead: str = spec("text", "Released by", required=True)
    accepted: str | None = spec("text", "Accepted")
    reason: str | None = spec("text", "Why it is released anyway")

    @property
    def concessions(self) -> tuple[str, ...]:
        """What is accepted."""
        named = (one.strip() for one in (self.accepted or "").split(BETWEEN.strip()))
        return tuple(one for one in named if one)

    def problems(self) -> list[FieldError]:
        """What is accepted is named as it is found, with a reason."""
        unknown = [one for one in self.concessions if one not in FINDINGS]
        if unknown:
            message = f"“{unknown[0][:40]}” is not a finding. Use one of: {BETWEEN.join(FINDINGS)}."
            return [FieldError("accepted", message)]
        if self.concessions and not self.reason:
            return [FieldError("reason", "Enter why the lot is released anyway.")]
        return []


@dataclass(frozen=True, kw_only=True)
class PartLotRejected(PartLotEntry):
    """A part lot is not used."""

    kind: ClassVar[str] = "part_lot_rejected"
    summary: ClassVar[str] = "Part lot rejected"
    sentence: ClassVar[str] = "{by} rejected part lot {lot}[, {parts}]: {reason}"
    reached: ClassVar[Way] = Form(
        at="room", task="part-lot-reject", title="Reject a part lot", heading="Reject a part lot",
        about="Mark the parts and keep them apart. A lead can still release the lot later.",
        rows=(("lot",), ("reason",), ("parts",)), save="Reject the part lot",
    )  # fmt: skip

    reason: str = spec("text", "Reason", required=True)
    parts: int | None = spec("whole", "Parts", unit="parts", low=1, high=100_000)


KINDS_OF_PART_LOTS: tuple[type[LedgerEntry], ...] = (PartLot, PartLotReleased, PartLotRejected)
