"""A wash solvent: its figures, each with its source, and what follows from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from app.domain.errors import DomainError
from app.domain.solvents.density import DensityModel
from app.domain.solvents.vapour import Vapour
from app.domain.solvents.waste import SpentBath

Confidence = Literal["read", "computed", "from memory", "common practice", "data sheet"]

FLAMMABLE_BELOW_C = 60.0  # flash point; UN GHS chapter 2.6, and 40 CFR 261.21(a)(1) for waste
SLOW_ABOVE_C = 150.0  # boiling point above which a sample does not dry in the open; common practice


@dataclass(frozen=True)
class Source:
    """Where a figure comes from: the document, its section, and how sure that is."""

    document: str
    section: str
    confidence: Confidence


@dataclass(frozen=True)
class Solvent:
    """A wash solvent, with all that the program knows of it.

    Attributes:
        key: its key in room logs, never changed.
        density: its density with water, by temperature.
        boiling_point_c: at 101.325 kPa; not a number where nobody has said it.
        flash_point_c: closed cup; None where it has none.
        index_20c: refractive index at 589 nm and 20 C by purity, pairs of (mass percent, index);
            empty where nobody knows it.
        usual_purity_percent: mass percent of solvent as delivered.
        usual_limit_volume_percent: resin in percent by volume at which rooms swap; a starting
            value for a room's own limit, None where there is no custom.
        is_hygroscopic: takes up water from parts and air, which density alone mistakes for resin.
        drying_minutes: how long a part dries before it goes under the light.
        sources: source of each figure by field name.
        waste: what its spent bath is; of those that may share a drum it is the same.
        goes_into: further waste streams that its bath may end up in.
        fresh_varies: what it reads when it is fresh depends on how strong it was mixed: only a
            reading of the fill itself, or the room's calibration, tells resin in it.
        is_flash_unknown: nobody has said what its flash point is, or that it has none.
        is_watery: most of it is water, or by its data sheet it looks like that.
        is_own: entered by the site from a data sheet, as it is delivered.
        vapour: None where hardly any evaporates, or it is water, or nobody has measured it.
        aliases: what people and spreadsheets call it besides.
        place: on forms, the lowest first.
    """

    key: str
    name: str
    density: DensityModel
    boiling_point_c: float
    flash_point_c: float | None
    index_20c: tuple[tuple[float, float], ...]
    usual_purity_percent: float
    usual_limit_volume_percent: float | None
    is_hygroscopic: bool
    drying_minutes: float
    sources: Mapping[str, Source] = field(repr=False)
    waste: SpentBath = field(repr=False)
    goes_into: tuple[str, ...] = ()
    fresh_varies: bool = False
    is_flash_unknown: bool = False
    is_watery: bool = False
    is_own: bool = False
    vapour: Vapour | None = field(default=None, repr=False)
    aliases: tuple[str, ...] = ()
    place: int = 1000

    @property
    def is_flammable(self) -> bool:
        """The flash point lies below 60 C, or may do."""
        return self.is_flash_unknown or (
            self.flash_point_c is not None and self.flash_point_c < FLAMMABLE_BELOW_C
        )

    @property
    def dries_slowly(self) -> bool:
        """A sample does not evaporate in the open, so its residue cannot be weighed."""
        return self.boiling_point_c > SLOW_ABOVE_C

    @property
    def needs_fresh_index(self) -> bool:
        """What a refractometer shows of it fresh is not known before somebody has looked."""
        return self.fresh_varies or not self.index_20c

    @property
    def has_water_table(self) -> bool:
        """Its mixture with water follows measured data, not added volumes."""
        return bool(self.density.excess_cm3_mol)

    def density_g_ml(self, temperature_c: float, purity_percent: float) -> float:
        """Density in g/mL at a purity in mass percent, the rest water.

        Source: `sources["density"]`; the equation is in `DensityModel`.

        >>> from app.domain.solvents import solvent
        >>> round(solvent("isopropanol").density_g_ml(20.0, 99.0), 4)
        0.7883
        """
        return self.density.density_g_ml(temperature_c, purity_percent)

    def density_sd_g_ml(self, purity_percent: float) -> float:
        """Standard uncertainty in g/mL of `density_g_ml` at a known purity."""
        return self.density.sd(purity_percent)

    def index(self, purity_percent: float) -> float:
        """Refractive index at 589 nm and 20 C, linear between the handbook's rows.

        Raises:
            DomainError: nobody knows it.
        """
        rows = self.index_20c
        if not rows:
            raise DomainError(f"The refractive index of {self.name} is not known.")
        if len(rows) == 1:
            return rows[0][1]
        above = next((i for i, row in enumerate(rows) if purity_percent <= row[0]), len(rows) - 1)
        (low, n_low), (high, n_high) = rows[max(above, 1) - 1 : max(above, 1) + 1]
        return n_low + (n_high - n_low) * (purity_percent - low) / (high - low)
