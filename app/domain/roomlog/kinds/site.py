"""What the site has decided for the room: limits, lead times, ways of working, people."""

import dataclasses
import re
from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.life import Page, Way
from app.domain.workdays import closures

SITE = "site"
CREW = "crew"
ARCHIVE = "archive"
NO_COUNTRY = "none"
"""Said of a site that works on public holidays."""
COUNTRY = re.compile(r"[A-Z]{2}")
ROLES = ("technician", "lead", "manager")


@dataclass(frozen=True, kw_only=True)
class SiteRules(LedgerEntry):
    """The site sets or changes what it works by; what is left out stays as it was."""

    kind: ClassVar[str] = "site_rules"
    summary: ClassVar[str] = "Site settings changed"
    sentence: ClassVar[str] = "{by} changed the site settings[: {rest}]"
    reached: ClassVar[Way] = Page("/site")

    site: str = spec("key", "Site", required=True, thing=SITE)
    working_days: str | None = spec(
        "text", "Working days", help="Days of the week as numbers. Monday is 1: 1,2,3,4,5."
    )
    country: str | None = spec(
        "text",
        "Public holidays of",
        help="Its two letters as in ISO 3166-1, such as DE. If empty: no public holidays.",
    )
    subdivision: str | None = spec(
        "text", "Part of the country", help="Its letters, such as BY. If empty: the whole country."
    )
    closed_days: str | None = spec(
        "text",
        "Other days the site is closed",
        help="Days or spans with a name, separated by semicolons: 2026-12-28 to 2026-12-31 Works "
        "holiday; 2027-05-07.",
    )
    swaps_per_day: int | None = spec("whole", "Swaps in a day", unit="swaps", low=1, high=50)
    swap_minutes: float | None = number("Time a swap takes", "min", 5, 1440)
    solvent_lead_days: int | None = spec(
        "whole", "Delivery of solvent takes", unit="working days", low=0, high=120
    )
    pickup_lead_days: int | None = spec(
        "whole", "A waste pickup takes", unit="working days", low=0, high=365
    )
    drum_margin_days: int | None = spec(
        "whole", "Drums leave before their last day by", unit="working days", low=0, high=60
    )
    rinse_percent: float | None = number("Solvent for rinsing", "% of the bath", 0, 100)
    squirt_bottle_l: float | None = number("Solvent for the squirt bottle", "L", 0, 20)
    heel_percent: float | None = number("Stays in the tank after draining", "% of the bath", 0, 50)
    loss_tolerance_percent: float | None = number(
        "Difference that needs a note", "% of the bath", 0.1, 100
    )
    waste_month_limit_kg: float | None = number("Waste allowed in a month", "kg", 1, 1_000_000)
    waste_on_site_limit_kg: float | None = number("Waste allowed on site", "kg", 1, 1_000_000)
    flammable_limit_l: float | None = number(
        "Flammable liquids allowed in the fire area", "L", 1, 1_000_000
    )
    cabinet_limit_l: float | None = number("Allowed in one cabinet", "L", 1, 10_000)
    room_volume_m3: float | None = number("Volume of the room", "m3", 1, 1_000_000)
    air_changes_per_hour: float | None = number("Air changes", "per hour", 0, 200)
    room_temperature_c: float | None = number("Temperature of the room", "C", -10, 60)
    emergency_number: str | None = spec("text", "Emergency number")
    site_address: str | None = spec("text", "Address for labels")
    generator_id: str | None = spec("text", "Waste generator number")
    unset: str | None = spec(
        "text",
        "No longer set",
        names="fields",
        help="Fields that go back to their default, separated by commas.",
    )

    def problems(self) -> list[FieldError]:
        """Working days are numbers from 1 to 7, each once; a country has two letters; closed days
        are days."""
        return [*self._working_days_problems(), *self._closed_problems()]

    def _closed_problems(self) -> list[FieldError]:
        found = []
        if self.country not in (None, NO_COUNTRY) and not COUNTRY.fullmatch(self.country or ""):
            message = f"Enter the two letters of the country, such as DE, or {NO_COUNTRY}."
            found.append(FieldError("country", message))
        try:
            closures(self.closed_days or "")
        except ValueError as error:
            found.append(FieldError("closed_days", str(error)))
        return found

    def _working_days_problems(self) -> list[FieldError]:
        if self.working_days is None:
            return []
        days = [part.strip() for part in self.working_days.split(",")]
        if not all(day in tuple("1234567") for day in days) or len(set(days)) != len(days):
            message = "Enter the days as numbers from 1 (Monday) to 7, such as 1,2,3,4,5."
            return [FieldError("working_days", message)]
        return []

    def given(self) -> dict[str, object]:
        """The settings that this entry sets."""
        own = (f.name for f in dataclasses.fields(self) if "spec" in f.metadata)
        return {
            name: value
            for name in own
            if name not in ("site", "unset") and (value := getattr(self, name)) is not None
        }


@dataclass(frozen=True, kw_only=True)
class CrewMember(LedgerEntry):
    """A person of the room and what they may do."""

    kind: ClassVar[str] = "crew_member"
    summary: ClassVar[str] = "Person entered"
    sentence: ClassVar[str] = "{by} entered {name} as {role}[has_left?, no longer here]"
    reached: ClassVar[Way] = Page("/crew")

    crew: str = spec("key", "Crew", required=True, thing=CREW)
    name: str = spec("text", "Name", required=True)
    role: str = spec("choice", "Role", choices=ROLES, required=True)
    has_left: bool | None = spec("flag", "No longer here")


@dataclass(frozen=True, kw_only=True)
class ClockConfirmed(LedgerEntry):
    """Somebody looked at the date and time of the server, and they are right."""

    kind: ClassVar[str] = "clock_confirmed"
    summary: ClassVar[str] = "Date and time confirmed"
    sentence: ClassVar[str] = "{by} confirmed the date and time"
    reached: ClassVar[Way] = Page(
        "/clock", only_where="the server's date is in doubt; every page then asks"
    )

    site: str = spec("key", "Site", required=True, thing=SITE)


@dataclass(frozen=True, kw_only=True)
class RoomArchived(LedgerEntry):
    """The room is out of use: it leaves the lists, and nothing is entered in it any more."""

    kind: ClassVar[str] = "room_archived"
    summary: ClassVar[str] = "Room archived"
    sentence: ClassVar[str] = "{by} archived the room[: {reason}][, decided by {lead}]"
    reached: ClassVar[Way] = Page("/archive")

    archive: str = spec("key", "Archive", required=True, thing=ARCHIVE)
    room_name: str = spec(
        "text", "Name of the room", required=True, help="Typed in full, as a safeguard."
    )
    lead: str | None = spec("text", "Lead")
    reason: str | None = spec("text", "Why")


@dataclass(frozen=True, kw_only=True)
class RoomRestored(LedgerEntry):
    """The room is in use again: it is in the lists, and entries are taken."""

    kind: ClassVar[str] = "room_restored"
    summary: ClassVar[str] = "Room restored"
    sentence: ClassVar[str] = "{by} restored the room[, decided by {lead}]"
    reached: ClassVar[Way] = Page("/archive")

    archive: str = spec("key", "Archive", required=True, thing=ARCHIVE)
    lead: str | None = spec("text", "Lead")


KINDS_OF_SITE: tuple[type[Entry], ...] = (
    SiteRules, CrewMember, ClockConfirmed, RoomArchived, RoomRestored,
)  # fmt: skip
