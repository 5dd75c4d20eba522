"""Solvents that the table does not have: the site enters what their data sheets say."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.life import Page, Way
from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import BOUNDS, LONGEST_KEY, Sheet, key_of

OWN_SOLVENTS = "own_solvents"
SOLVENT_LIMITS = "solvent_limits"
HOLDS_FOR = ("eight_hours", "fifteen_minutes", "danger_to_life")
LONGEST_NAME = 30
TAKEN = "The list already has a solvent of this name. Give yours another name."
_KNOWN_NAMES = frozenset(
    called.casefold().strip()
    for one in SOLVENTS.values()
    for called in (
        one.name,
        one.name.split("(")[0],
        one.key,
        one.key.replace("_", " "),
        *one.aliases,
    )
)
"""What the solvents of the list are called: an own one of that name would pass for it with another
flash point."""


@dataclass(frozen=True, kw_only=True)
class OwnSolvent(LedgerEntry):
    """A solvent of the site's own, from its data sheet; one of the same name takes its place.

    Baths and lots that hold it keep the sheet by which they were entered.
    """

    kind: ClassVar[str] = "own_solvent"
    summary: ClassVar[str] = "Own solvent entered"
    is_correctable: ClassVar[bool] = False
    sentence: ClassVar[str] = (
        "{by} entered the solvent {name}[is_gone?, no longer used], {density_g_ml}[, {rest}]"
    )
    reached: ClassVar[Way] = Page("/solvents")

    own_solvents: str = spec("key", "Own solvents", required=True, thing=OWN_SOLVENTS)
    name: str = spec("text", "Name", required=True, help="As on its label.")
    density_g_ml: float = number("Density", "g/mL", *BOUNDS["density_g_ml"], required=True)
    density_at_c: float | None = number(
        "At a temperature of", "C", *BOUNDS["density_at_c"], help="If empty: 20 °C."
    )
    flash_point_c: float | None = number(
        "Flash point", "C", *BOUNDS["flash_point_c"], help="Closed cup, as a figure."
    )
    has_no_flash: bool | None = spec("flag", "The sheet says it has no flash point")
    boiling_point_c: float | None = number(
        "Boiling point", "C", *BOUNDS["boiling_point_c"], help="For a range, the lower end."
    )
    vapour_pressure_hpa: float | None = number(
        "Vapour pressure at 20 °C", "hPa", *BOUNDS["vapour_pressure_hpa"],
        help="1 kPa is 10 hPa, 1 mmHg is 1.333 hPa.",
    )  # fmt: skip
    limit_ppm: float | None = number(
        "Exposure limit, 8 hours", "ppm", *BOUNDS["limit_ppm"], help="Section 8 of the sheet."
    )
    molar_mass_g_mol: float | None = number(
        "Molar mass", "g/mol", *BOUNDS["molar_mass_g_mol"],
        help="Only needed to estimate its vapour. For a blend, use that of the main part.",
    )  # fmt: skip
    sheet_on: date | None = spec("day", "Date of the data sheet")
    is_gone: bool | None = spec("flag", "No longer used")

    @property
    def sheet(self) -> Sheet:
        """Its figures."""
        return Sheet(
            self.name, self.density_g_ml, 20.0 if self.density_at_c is None else self.density_at_c,
            self.flash_point_c, bool(self.has_no_flash), self.boiling_point_c,
            self.vapour_pressure_hpa, self.limit_ppm, self.molar_mass_g_mol, self.sheet_on,
        )  # fmt: skip

    def problems(self) -> list[FieldError]:
        """A name that is another's or too long; a flash point that is and is not; a sheet from
        tomorrow; a liquid that boils where it does not yet catch fire."""
        found = []
        if self.name.strip().casefold() in _KNOWN_NAMES:
            found.append(FieldError("name", TAKEN))
        elif len(self.name.strip()) > LONGEST_NAME or len(key_of(self.sheet)) > LONGEST_KEY:
            found.append(FieldError("name", "This name is too long. Shorten it."))
        if self.has_no_flash and self.flash_point_c is not None:
            found.append(
                FieldError("flash_point_c", "Enter a flash point, or tick that it has none.")
            )
        if self.sheet_on is not None and (self.sheet_on - self.at.date()).days > 1:
            found.append(FieldError("sheet_on", "This day is in the future."))
        flash, boiling = self.flash_point_c, self.boiling_point_c
        if flash is not None and boiling is not None and flash >= boiling:
            message = "A liquid boils above its flash point. Check both figures, and °C or °F."
            found.append(FieldError("flash_point_c", message))
        return found


@dataclass(frozen=True, kw_only=True)
class SolventLimit(LedgerEntry):
    """A lead sets an exposure limit of a listed solvent, or goes back to the one that is carried.

    Attributes:
        limit_ppm: None for the carried limit.
    """

    kind: ClassVar[str] = "solvent_limit"
    summary: ClassVar[str] = "Exposure limit set"
    is_correctable: ClassVar[bool] = False
    sentence: ClassVar[str] = (
        "{lead} set the limit of {solvent}, {holds_for}[: {limit_ppm}][, by {source}]: {reason}"
    )
    reached: ClassVar[Way] = Page("/solvents/limits")

    solvent_limits: str = spec("key", "Limits", required=True, thing=SOLVENT_LIMITS)
    solvent: str = spec("key", "Solvent", required=True)
    holds_for: str = spec("choice", "Applies to", choices=HOLDS_FOR, required=True)
    limit_ppm: float | None = number(
        "Limit", "ppm", 0.01, 100_000, help="If empty: back to the limit of the rules."
    )
    source: str | None = spec(
        "text",
        "Source of the limit",
        help="Such as a permit, a list of your authority, its section.",
    )
    reason: str = spec("text", "Why it applies here", required=True)
    lead: str = spec("text", "Set by", required=True)

    def problems(self) -> list[FieldError]:
        """A figure without a source."""
        if self.limit_ppm is None or (self.source or "").strip():
            return []
        return [FieldError("source", "Enter where this figure comes from.")]


KINDS_OF_SOLVENTS: tuple[type[Entry], ...] = (OwnSolvent, SolventLimit)
