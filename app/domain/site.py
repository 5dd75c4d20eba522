"""What the site works by, and who its people are.

The defaults are common practice without a published source, except where a comment names one; each
is the site's own to set. Limits that only the site can know have no default.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.site import (
    ARCHIVE,
    CREW,
    SITE,
    CrewMember,
    RoomArchived,
    RoomRestored,
    SiteRules,
)
from app.domain.things import Thing
from app.domain.workdays import closures


@dataclass(frozen=True)
class SiteState:
    """The settings of a site.

    Attributes:
        working_days: days of the week on which swaps are done, deliveries and pickups come, as
            numbers after ISO 8601: Monday is 1.
        country, subdivision: whose public holidays are no working days; `none` where they are
            worked, empty while nobody has said.
        closed_days: the site's own closed days as entered.
        rinse_percent, heel_percent, loss_tolerance_percent: of the bath's volume to the upper mark.
        waste_month_limit_kg, waste_on_site_limit_kg, flammable_limit_l, cabinet_limit_l: None where
            the site has entered none.
    """

    working_days: str = "1,2,3,4,5"
    country: str = ""
    subdivision: str = ""
    closed_days: str = ""
    swaps_per_day: int = 2
    swap_minutes: float = 90
    solvent_lead_days: int = 5
    pickup_lead_days: int = 15
    drum_margin_days: int = 3
    rinse_percent: float = 7
    squirt_bottle_l: float = 1
    heel_percent: float = 2
    loss_tolerance_percent: float = 5
    waste_month_limit_kg: float | None = None
    waste_on_site_limit_kg: float | None = None
    flammable_limit_l: float | None = None
    cabinet_limit_l: float | None = None
    room_volume_m3: float | None = None
    air_changes_per_hour: float | None = None
    room_temperature_c: float = 20
    emergency_number: str = ""
    site_address: str = ""
    generator_id: str = ""

    @property
    def weekdays(self) -> frozenset[int]:
        """The working days as numbers, Monday is 1."""
        return frozenset(int(day) for day in self.working_days.split(","))

    @property
    def emergency_calls(self) -> tuple[tuple[str, str], ...]:
        """What was typed as the emergency number, in pieces, each with the number it dials."""
        return calls(self.emergency_number)

    def closures(self) -> dict[date, str]:
        """The site's own closed days, with their names."""
        return closures(self.closed_days)


NUMBER = re.compile(
    r"(?<![\w+.,#*-])(?<!24/)(?:0[1-9][0-9]{0,4} ?/ ?)?\+?\(?[0-9](?:[ .()-]{0,2}[0-9])*"
    r"(?![\w#*]|-\w|/7\b|\s*(?:h|hrs?|hours?)\b)",
    re.ASCII,
)
"""A slash belongs to a number behind an area code such as 089; between others it is an
“or”. Hours such as 24 h and 24/7 are none."""
NOT_DIALLED = re.compile(
    r"\b(?:ext|extension|ext\.|x|room|unit|door|floor|level|gate|bay|building|radio|channel|ch\.?)"
    r"\s*$",
    re.IGNORECASE,
)
FEWEST_DIGITS = 2


def calls(text: str) -> tuple[tuple[str, str], ...]:
    """A text in pieces, each with the number that it dials; empty where it dials none.

    Only what is a number is dialled, each number for itself: a phone turns letters into digits.

    >>> calls("112 or 9-911")
    (('112', '112'), (' or ', ''), ('9-911', '9911'))
    >>> calls("+44 1632 960 999 ext 5")
    (('+44 1632 960 999', '+441632960999'), (' ext 5', ''))
    """
    pieces: list[tuple[str, str]] = []
    end = 0
    for found in NUMBER.finditer(text):
        before = text[end : found.start()]
        if NOT_DIALLED.search(before) or len(re.sub(r"[^0-9]", "", found[0])) < FEWEST_DIGITS:
            continue
        pieces += [(before, "")] if before else []
        shown = found[0]
        abroad = re.sub(r"\(0\)", "", shown) if shown.startswith("+") else shown
        pieces.append((shown, re.sub(r"[^+0-9]", "", abroad)))
        end = found.end()
    return (*pieces, (text[end:], "")) if end < len(text) else tuple(pieces)


FIELDS = frozenset(f.name for f in fields(SiteState))


def _site_after(state: SiteState, entry: Entry) -> SiteState:
    if not isinstance(entry, SiteRules):
        return state
    defaults, gone = SiteState(), (entry.unset or "").split(",")
    known = {name: getattr(defaults, name) for name in map(str.strip, gone) if name in FIELDS}
    changes: Mapping[str, object] = known | entry.given()
    return replace(state, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Person:
    """Someone of the room."""

    name: str
    role: str
    has_left: bool = False


@dataclass(frozen=True)
class CrewState:
    """The people of the room, in the order in which they were entered."""

    people: tuple[Person, ...] = ()

    @property
    def here(self) -> list[tuple[str, str]]:
        """Who is here, as choices of a form."""
        return [(p.name, p.name) for p in self.people if not p.has_left]

    @property
    def leads(self) -> tuple[str, ...]:
        """Who may overrule a gate or release a tank: leads who are here."""
        return tuple(p.name for p in self.people if p.role == "lead" and not p.has_left)


def _crew_after(state: CrewState, entry: Entry) -> CrewState:
    if not isinstance(entry, CrewMember):
        return state
    person = Person(entry.name, entry.role, bool(entry.has_left))
    if any(known.name == person.name for known in state.people):
        people = tuple(person if known.name == person.name else known for known in state.people)
    else:
        people = (*state.people, person)
    return CrewState(people)


@dataclass(frozen=True)
class ArchiveState:
    """Whether the room is out of use.

    Attributes:
        at, by, reason: of the last word on it.
    """

    is_archived: bool = False
    at: datetime | None = None
    by: str = ""
    reason: str = ""


def _archive_after(state: ArchiveState, entry: Entry) -> ArchiveState:
    if isinstance(entry, RoomArchived):
        return ArchiveState(True, entry.at, entry.lead or entry.by, entry.reason or "")
    if isinstance(entry, RoomRestored):
        return ArchiveState(False, entry.at, entry.lead or entry.by)
    return state


SITE_BOOK = Thing(SITE, SiteState, lambda _: SiteState(), _site_after)
CREW_BOOK = Thing(CREW, CrewState, lambda _: CrewState(), _crew_after)
ARCHIVE_BOOK = Thing(
    ARCHIVE,
    ArchiveState,
    lambda _: ArchiveState(),
    _archive_after,
    is_open=lambda state: state.is_archived,
)
