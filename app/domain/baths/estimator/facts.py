"""What is simply known of tanks, resins and calibrations: no uncertainty, kept from the log."""

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from app.domain.baths.conventions import Basis
from app.domain.instruments import Baseline
from app.domain.roomlog.fields import EARLIEST
from app.domain.roomlog.kinds import Limits, TankChange

FIELDS: dict[str, Basis] = {
    "percent": "mass_percent",
    "volume_percent": "volume_percent",
    "g_l": "g_per_l",
}
FILLER_DENSITY_G_ML = 2.5  # glass, from memory
BINDER_DENSITY_G_ML = 1.12  # of acrylate resins without filler, from memory


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit as it was entered; value None where none was."""

    basis: Basis = "mass_percent"
    value: float | None = None


@dataclass(frozen=True, slots=True)
class ResinFacts:
    """A resin of the room; `filler_percent` is the mass share of settling filler, 0 where the
    label does not say."""

    density_g_ml: float = 1.10
    is_filled: bool = False
    filler_percent: float = 0.0

    @property
    def filler_fraction(self) -> float:
        """Mass share of the resin that settles instead of dissolving."""
        return self.filler_percent / 100

    @property
    def is_filler_guessed(self) -> bool:
        """It settles, is heavier than a binder, and the label says no more."""
        heavier = self.density_g_ml > BINDER_DENSITY_G_ML
        return self.is_filled and self.filler_percent == 0 and heavier

    @property
    def ln_dissolved_share(self) -> tuple[float, float]:
        """Logarithm of the share that dissolves, and its standard deviation.

        Where the filler is guessed the truth lies between none and all that the density allows.
        """
        if not self.is_filler_guessed:
            return math.log1p(-self.filler_fraction), 0.0
        binder_ml, filler_ml = 1 / BINDER_DENSITY_G_ML, 1 / FILLER_DENSITY_G_ML
        share = min((binder_ml - 1 / self.density_g_ml) / (binder_ml - filler_ml), 0.9)
        half_way = math.log1p(-share) / 2
        return half_way, -half_way

    @property
    def filler_lift_ml_g(self) -> float:
        """Millilitres by which a dissolved gram is larger than a gram of the label's density."""
        return max(1 / self.dissolved_density_g_ml - 1 / self.density_g_ml, 0.0)

    @property
    def dissolved_density_g_ml(self) -> float:
        """Density of what dissolves: the label's less the filler, volumes taken to add."""
        if self.is_filler_guessed:
            return BINDER_DENSITY_G_ML
        share = self.filler_fraction
        volume_ml = 1 / self.density_g_ml - share / FILLER_DENSITY_G_ML
        if share == 0 or volume_ml <= 0:
            return self.density_g_ml
        return min(max((1 - share) / volume_ml, 0.9), self.density_g_ml)


@dataclass(slots=True)
class TankFacts:
    """What is known of a tank and its present fill.

    Attributes:
        set_up_at: when the tank came into use.
        fill: number of swaps so far.
        baseline: the fresh solvent of this fill, where it was measured.
        resin_mix_g: expected dissolved mass of each resin in the bath.
        entry_of_day_before_at: the last entry on a day before that of `last_entry_at`.
        load_g_per_day: resin that logged washes brought in lately, fading from `load_since` on.
        wash_g: resin that a logged wash brings in, of late.
        missing_since: the reading after which washes seem to be missing from the log.
        pair: the clean bath of this dirty one; `is_pair_told` where the tank's settings say so.
        rinses, lone_washes: of a pair's clean bath, washes that followed one in the dirty bath,
            and those that did not.
        open_loads: day, resin and size of washes of late that no rinse followed.
        fed_at, fed_by: when parts last brought a film of a dirty bath over, and of which.
        moved_out_l: litres of this fill that another bath was filled with.
        followed: by tank, what speaks for this being the clean bath of that one though nobody has
            said so: log odds by the order of the washes, how many here followed its own, their
            resin as washes in grams since the last reading that counted, log odds by readings.
            `followed_of`: of how many washes.
        is_pair_found: the log tells of the pair; `is_pair_denied`: somebody said that it is none,
            `is_unpaired` of the dirty bath.
        in_lately_g: resin that logged washes brought in since the last reading that counted, and
            since the one before it.
        recent: the last readings of this fill: day since 1970, channel, mass percent, what the
            estimate was before it, chance of a slip, its noise, litres missing to the mark, id, by
            how much it missed what was foretold of it.
        is_contradicted: those do not belong to one bath.
        other_tank: the tank that the last reading fits, with the chance if it is not of this one.
        dismissed: by explanation, day since 1970 on which a person dismissed it, how many readings
            spoke for it then, id of the entry that it was about.
        is_fill_dirty: the fill's fresh reading shows more than fresh solvent.
        wrong_entry: id and instant of a wash that seems to be wrong, and how many times too large.
        has_told_resin: a reading of this fill tells resin from water.
        density_reading: when, g/mL and degrees C of the last one, the liquid unchanged since;
            likewise `residue_reading` (mass percent) and `index_reading` (at 20 C).
    """

    capacity_l: float
    solvent: str
    min_l: float | None = None
    fresh_purity_percent: float | None = None
    pair: str | None = None
    is_retired: bool = False
    limit: Limit = Limit()
    stop: Limit = Limit()
    life_days: float | None = None
    life_washes: int | None = None
    set_up_at: datetime | None = None
    fill: int = 0
    fill_started_at: datetime = EARLIEST
    swap_started_at: datetime | None = None
    washes_since_fill: int = 0
    last_wash_at: datetime | None = None
    last_reading_at: datetime | None = None
    last_entry_at: datetime | None = None
    entry_of_day_before_at: datetime | None = None
    baseline: Baseline | None = None
    load_g_per_day: float = 0.0
    load_since: datetime | None = None
    wash_g: float = 0.0
    is_apparent: bool = False
    is_water_suspected: bool = False
    missing_since: datetime | None = None
    resin_mix_g: dict[str, float] = field(default_factory=dict)
    is_pair_told: bool = False
    rinses: int = 0
    lone_washes: int = 0
    open_loads: list[list[Any]] = field(default_factory=list)
    fed_at: datetime | None = None
    fed_by: str | None = None
    moved_out_l: float = 0.0
    followed: dict[str, list[float]] = field(default_factory=dict)
    followed_of: int = 0
    is_pair_found: bool = False
    is_pair_denied: bool = False
    is_unpaired: bool = False
    in_lately_g: list[float] = field(default_factory=lambda: [0.0, 0.0])
    recent: list[list[Any]] = field(default_factory=list)
    is_contradicted: bool = False
    dismissed: dict[str, list[Any]] = field(default_factory=dict)
    other_tank: str | None = None
    other_tank_chance: float = 0.0
    is_fill_dirty: bool = False
    wrong_entry: list[Any] | None = None
    has_told_resin: bool = False
    density_reading: tuple[datetime, float, float] | None = None
    residue_reading: tuple[datetime, float] | None = None
    index_reading: tuple[datetime, float] | None = None

    def take_limits(self, entry: Limits) -> None:
        """Take over the limits and lives that an entry gives; what it leaves out stays."""
        for name in ("limit", "stop"):
            for field_name, basis in FIELDS.items():
                value = getattr(entry, f"{name}_{field_name}")
                if value is not None:
                    setattr(self, name, Limit(basis, value))
        if entry.life_days is not None:
            self.life_days = entry.life_days
        if entry.life_washes is not None:
            self.life_washes = entry.life_washes

    def change(self, entry: TankChange) -> None:
        """Marks, limits or lives change; what the entry leaves out stays."""
        self.take_limits(entry)
        for name in ("capacity_l", "min_l", "is_retired"):
            if getattr(entry, name) is not None:
                setattr(self, name, getattr(entry, name))
        if entry.pair is not None or entry.is_unpaired:
            self.pair, self.is_pair_told = entry.pair, entry.pair is not None
            self.is_pair_found, self.is_unpaired = False, entry.pair is None

    def keep_of_mix(self, share: float) -> None:
        """Of every resin in the bath this share stays."""
        self.resin_mix_g = {resin: share * mass for resin, mass in self.resin_mix_g.items()}

    def start_fill(self, at: datetime) -> None:
        """A fresh fill: what belonged to the old one is forgotten."""
        self.fill_started_at = at
        self.swap_started_at = None
        self.washes_since_fill = 0
        self.moved_out_l = 0.0
        self.baseline = None
        self.is_apparent = self.is_water_suspected = self.has_told_resin = False
        self.missing_since = self.wrong_entry = self.other_tank = None
        self.in_lately_g, self.recent, self.dismissed = [0.0, 0.0], [], {}
        self.is_fill_dirty = self.is_contradicted = False
        self.density_reading = self.residue_reading = self.index_reading = None
        for followed in self.followed.values():
            followed[2] = 0.0
