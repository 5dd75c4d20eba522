"""The record of a part lot: its washes, drying, cures and release, and what is wrong in them.

It is a device history in small: what was done to these parts, by whom, when, and whether each step
was as it should be (the thought of a device history record, 21 CFR 820.184, from memory). Nothing
of it is kept: it is read from the log each time, so late and corrected entries count at once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal

from app.domain.roomlog.kinds.part_lots import FINDINGS

SHORT_TOLERANCE = 0.02  # of a dose: the steps of a timer, as where a cure is entered
Standing = Literal["open", "released", "rejected"]


@dataclass(frozen=True)
class Step:
    """An entry of the chain: when, by whom, and which one it is."""

    at: datetime
    by: str
    entry: str


@dataclass(frozen=True)
class ResinStep(Step):
    """From what the parts are printed."""

    resin: str
    resin_lot: str = ""
    parts: int | None = None
    build: str = ""
    job: str = ""


@dataclass(frozen=True)
class WashStep(Step):
    """A wash, with its bath at that minute as the log now has it. Mass percent.

    Attributes:
        percent: the estimate when the parts went in; None where it is not worked out yet.
        after_percent, low_percent, high_percent: after the wash, with its 90 % band.
        limit_percent: the first limit of the tank as it was then.
        fill: which fill of the tank, the first is 0; `filled_at` when it began.
        held: why the tank was on hold; empty where it was not.
    """

    tank: str
    resin: str
    parts: int | None = None
    minutes: float | None = None
    percent: float | None = None
    after_percent: float | None = None
    low_percent: float | None = None
    high_percent: float | None = None
    limit_percent: float | None = None
    fill: int | None = None
    filled_at: datetime | None = None
    held: str = ""

    @property
    def is_above(self) -> bool:
        """The estimate was above the limit when the parts went in."""
        limit, percent = self.limit_percent, self.percent
        return limit is not None and percent is not None and percent > limit

    @property
    def is_perhaps_above(self) -> bool:
        """It was not, but its band reaches above."""
        limit, high = self.limit_percent, self.high_percent
        return not self.is_above and limit is not None and high is not None and high > limit


@dataclass(frozen=True)
class CureStep(Step):
    """A cure, with the light of its station then as the log now has it. Doses in mJ/cm2.

    Attributes:
        dose, least: on average, and at the weakest place at least; None where nobody knows.
        logged_least: the same as it was worked out when the cure was entered.
        asked: what the recipe asks for.
        dried_minutes, dry_asked_minutes: between the wash and the light.
        lamp_since_at: since when its lamp was in; lamp: its part or lot.
        reading, read_at: the light reading that the dose rests on; meter: the radiometer.
        set_aside: a reading of the station was set aside and not settled.
        overdue: since when the check of the instruments was overdue; None where it was not.
    """

    station: str
    resin: str
    minutes: float
    parts: int | None = None
    dose: float | None = None
    least: float | None = None
    logged_least: float | None = None
    asked: float | None = None
    dried_minutes: float | None = None
    dry_asked_minutes: float | None = None
    lamp_since_at: datetime | None = None
    lamp: str = ""
    reading: str = ""
    read_at: datetime | None = None
    meter: str = ""
    set_aside: bool = False
    overdue: datetime | None = None

    @property
    def is_wet(self) -> bool:
        """The parts went under the light before they had dried."""
        dried, asked = self.dried_minutes, self.dry_asked_minutes
        return dried is not None and asked is not None and dried < asked

    @property
    def is_short(self) -> bool:
        """The weakest place may have got less than the recipe asks for."""
        return (
            self.least is not None
            and self.asked is not None
            and self.least < (1 - SHORT_TOLERANCE) * self.asked
        )


@dataclass(frozen=True)
class RejectStep(Step):
    """Parts that came out of a wash bad."""

    tank: str
    finding: str
    parts: int | None = None
    outcome: str = ""


@dataclass(frozen=True)
class Decision(Step):
    """The lot was released, or rejected.

    Attributes:
        lead: who released it; accepted: what in spite of.
    """

    is_release: bool
    lead: str = ""
    accepted: tuple[str, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class Change(Step):
    """What came to the log after the decision: an entry, or that one no longer counts.

    Attributes:
        at: from when the room knew of it.
        what: the kind of the entry; is_gone: it was withdrawn or corrected.
    """

    what: str
    is_gone: bool = False


@dataclass(frozen=True)
class LotRecord:
    """All that the log has of a part lot, each in the order of time.

    Attributes:
        decision: the last one; None where the lot is open.
        changes: what came to the log after it.
    """

    lot: str
    resins: tuple[ResinStep, ...] = ()
    washes: tuple[WashStep, ...] = ()
    cures: tuple[CureStep, ...] = ()
    rejects: tuple[RejectStep, ...] = ()
    decision: Decision | None = None
    changes: tuple[Change, ...] = field(default=())

    @property
    def is_known(self) -> bool:
        """An entry that counts names it, or one did before the decision."""
        return bool(self.steps) or self.decision is not None

    @property
    def steps(self) -> tuple[Step, ...]:
        """What was done, in the order of time."""
        found: list[Step] = [*self.resins, *self.washes, *self.cures, *self.rejects]
        return tuple(sorted(found, key=lambda one: one.at))

    @property
    def standing(self) -> Standing:
        """Whether the lot may be used."""
        if self.decision is None:
            return "open"
        return "released" if self.decision.is_release else "rejected"

    @property
    def findings(self) -> tuple[str, ...]:
        """What is wrong in the chain, of `FINDINGS` and in their order."""
        found = {finding for finding, _ in _found(self)}
        return tuple(one for one in FINDINGS if one in found)

    @property
    def unaccepted(self) -> tuple[str, ...]:
        """What is wrong and was not accepted by the release: of a wash or cure that came to the log
        after it nothing was, though the same was accepted of another."""
        accepted = self.decision.accepted if self.decision is not None else ()
        known = _found(self._as_decided)
        left = {one[0] for one in _found(self) if one[0] not in accepted or one not in known}
        return tuple(one for one in FINDINGS if one in left)

    @property
    def _as_decided(self) -> "LotRecord":
        """Without what came to the log after the decision."""
        new = {one.entry for one in self.changes if not one.is_gone}
        return replace(
            self,
            resins=tuple(one for one in self.resins if one.entry not in new),
            washes=tuple(one for one in self.washes if one.entry not in new),
            cures=tuple(one for one in self.cures if one.entry not in new),
            rejects=tuple(one for one in self.rejects if one.entry not in new),
        )

    @property
    def is_flagged(self) -> bool:
        """It was released, and the log now says something else than it did then."""
        return self.standing == "released" and bool(self.changes or self.unaccepted)


def _found(record: LotRecord) -> set[tuple[str, str]]:
    """What is wrong, each with the entry it is of, or with the resin; of the whole lot with
    nothing."""
    return {*_of_washes(record), *_of_cures(record), *_of_lot(record)}


def _of_washes(record: LotRecord) -> Iterable[tuple[str, str]]:
    if not record.washes:
        yield "no wash logged", ""
    for wash in record.washes:
        if wash.percent is None:
            yield "bath not known", wash.entry
        if wash.is_above:
            yield "bath over limit", wash.entry
        if wash.held:
            yield "tank on hold", wash.entry


def _of_cures(record: LotRecord) -> Iterable[tuple[str, str]]:
    if not record.cures:
        yield "no cure logged", ""
    last = max(record.washes, key=lambda wash: wash.at, default=None)
    for cure in record.cures:
        if last is not None and cure.at < last.at:
            yield "cured before wash", cure.entry
            yield "cured before wash", last.entry
        for finding in _of_cure(cure):
            yield finding, cure.entry


def _of_cure(cure: CureStep) -> Iterable[str]:
    if cure.dried_minutes is None:
        yield "drying not known"
    if cure.is_wet:
        yield "dried too short"
    if cure.least is None or cure.asked is None:
        yield "dose not known"
    if cure.is_short:
        yield "dose too low"
    if cure.set_aside:
        yield "light reading set aside"
    if cure.overdue is not None:
        yield "check overdue"


def _of_lot(record: LotRecord) -> Iterable[tuple[str, str]]:
    for reject in record.rejects:
        yield "rejects noted", reject.entry
    some: Sequence[ResinStep | WashStep | CureStep] = (
        *record.resins, *record.washes, *record.cures,
    )  # fmt: skip
    resins = {one.resin for one in some}
    lots = {one.resin_lot for one in record.resins if one.resin_lot}
    if len(resins) > 1:
        yield from (("two resins", resin) for resin in resins)
    if len(lots) > 1:
        yield from (("two resin lots", lot) for lot in lots)
