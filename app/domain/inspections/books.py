"""Soak tests, and whether originals of photos are kept."""

from dataclasses import dataclass, replace
from datetime import datetime

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import (
    PHOTO_RULES,
    SOAK,
    PhotoRules,
    SoakEnded,
    SoakStarted,
)
from app.domain.things import Thing


@dataclass(frozen=True)
class SoakState:
    """A sample in the room's own bath, weighed before and after."""

    key: str
    name: str = ""
    tank: str = ""
    started_at: datetime | None = None
    mass_before_g: float = 0.0
    ended_at: datetime | None = None
    mass_after_g: float | None = None
    looks: str = ""
    by: str = ""

    @property
    def gain_percent(self) -> float | None:
        """Change of weight in percent of the weight before; None while it soaks."""
        if self.mass_after_g is None or not self.mass_before_g:
            return None
        return 100 * (self.mass_after_g / self.mass_before_g - 1)

    @property
    def days(self) -> float | None:
        """How long it soaked."""
        if self.ended_at is None or self.started_at is None:
            return None
        return (self.ended_at - self.started_at).total_seconds() / 86400


def _soak_after(state: SoakState, entry: Entry) -> SoakState:
    if isinstance(entry, SoakStarted):
        return replace(
            state, name=entry.name, tank=entry.tank, started_at=entry.at, by=entry.by,
            mass_before_g=entry.mass_before_g,
        )  # fmt: skip
    if isinstance(entry, SoakEnded):
        return replace(
            state, ended_at=entry.at, mass_after_g=entry.mass_after_g, looks=entry.looks or ""
        )
    return state


@dataclass(frozen=True)
class PhotoRulesState:
    """Whether originals are kept, and who said so."""

    keep_originals: bool = True
    lead: str = ""
    since_at: datetime | None = None


def _rules_after(state: PhotoRulesState, entry: Entry) -> PhotoRulesState:
    if isinstance(entry, PhotoRules):
        return PhotoRulesState(entry.keep_originals, entry.lead, entry.at)
    return state


SOAK_BOOK = Thing(SOAK, SoakState, SoakState, _soak_after, lambda state: state.ended_at is None)
PHOTO_RULES_BOOK = Thing(PHOTO_RULES, PhotoRulesState, lambda _: PhotoRulesState(), _rules_after)
