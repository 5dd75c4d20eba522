"""All that a room's estimate consists of, and the small questions its parts ask one another."""

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Any

import numpy as np

from app.domain.baths.estimator.bath import Bath
from app.domain.baths.estimator.facts import ResinFacts, TankFacts
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import CARRY_IN, Array, Shared
from app.domain.baths.estimator.transitions import Liquid
from app.domain.baths.estimator.wandering import wander
from app.domain.baths.habits import Habits
from app.domain.baths.record import Record
from app.domain.errors import NotFound
from app.domain.instruments import CalibrationPoint
from app.domain.roomlog.kinds import PlannedWash
from app.domain.solvents import solvent

DAY_S = 86_400.0
REFERENCE_C = 20.0
PLAN_GRACE = timedelta(days=1)
UNKNOWN_RESIN = ResinFacts()


def day_of(at: datetime) -> float:
    """Days since 1970."""
    return at.timestamp() / DAY_S


def moment_of(day: float) -> datetime:
    """The instant of a day since 1970, to the second."""
    return datetime.fromtimestamp(round(day * DAY_S), UTC)


@lru_cache(maxsize=256)
def fresh_density_g_ml(key: str, purity_percent: float | None) -> float:
    """Density of a fresh solvent at 20 C; without a purity that of the usual one."""
    liquid = solvent(key)
    return liquid.density_g_ml(REFERENCE_C, purity_percent or liquid.usual_purity_percent)


@dataclass
class RoomState:
    """The estimate of a room.

    Attributes:
        tanks, baths, habits: facts, belief and use of each tank.
        shared: what the baths share; `resins` what is known of each resin.
        washes: number of logged washes of each resin.
        points: the room's refractometer calibration by solvent.
        plans: open planned washes by their key.
        day: whole day since 1970 up to which the carry-in has wandered.
        last_at: instant of the last entry, plans left out.
        passports: what is kept of each instrument.
        record: what was forecast, and what came of it.
        instruments: what the certificates of the room's instruments say, by their keys.
        read_with: the instrument and certificate of the last reading of each slow error.
        stored: each tank's facts and habits as bytes, where nothing has changed since.
    """

    settings: Settings
    zone: tzinfo
    shared: Shared
    tanks: dict[str, TankFacts] = field(default_factory=dict)
    baths: dict[str, Bath] = field(default_factory=dict)
    habits: dict[str, Habits] = field(default_factory=dict)
    resins: dict[str, ResinFacts] = field(default_factory=dict)
    washes: dict[str, int] = field(default_factory=dict)
    points: dict[str, tuple[CalibrationPoint, ...]] = field(default_factory=dict)
    plans: dict[str, PlannedWash] = field(default_factory=dict)
    passports: dict[str, Any] = field(default_factory=dict)
    day: int | None = None
    last_at: datetime | None = None
    record: Record = field(default_factory=Record)
    instruments: dict[str, Any] = field(default_factory=dict)
    read_with: dict[str, str] = field(default_factory=dict)
    stored: dict[str, bytes] = field(default_factory=dict)

    def facts(self, tank: str) -> TankFacts:
        """What is known of a tank.

        Raises:
            NotFound: there is no such tank.
        """
        found = self.tanks.get(tank)
        if found is None:
            raise NotFound(f"There is no tank “{tank}”.")
        return found

    def pass_days(self, at: datetime) -> None:
        """Let the resins' carry-in wander, a whole day at a time, and drop plans long past."""
        day = math.floor(day_of(at))
        if self.day is not None and day > self.day:
            wander(list(self.baths.values()), self.shared, day - self.day, self.settings)
        self.day = day if self.day is None else max(day, self.day)
        self.last_at = at if self.last_at is None else max(self.last_at, at)
        if self.plans:
            self.plans = {k: plan for k, plan in self.plans.items() if plan.at + PLAN_GRACE >= at}

    def keep_plan(self, plan: PlannedWash) -> None:
        """An open plan, or a new version of one."""
        self.plans[plan.plan or plan.id or f"{plan.tank} {plan.at.isoformat()}"] = plan

    def add_column(self, resin: str, mean: float = 0.0, filler_ln_sd: float = 0.0) -> None:
        """Make room for a resin's carry-in, with its expected logarithm against the room's."""
        self.shared.add_resin(resin, mean, filler_ln_sd)
        for bath in self.baths.values():
            bath.grow()

    def direction(self, resin: str) -> Array:
        """The shared quantities whose sum is the logarithm of a resin's carry-in."""
        direction = np.zeros(self.shared.size)
        direction[[CARRY_IN, self.shared.column(resin)]] = 1.0
        return direction

    def liquid(self, facts: TankFacts) -> Liquid:
        """What a bath's liquid is made of."""
        density = fresh_density_g_ml(facts.solvent, facts.fresh_purity_percent)
        return Liquid(1000 * facts.capacity_l * density, density, self.resin_density_g_ml(facts))

    def resin_density_g_ml(self, facts: TankFacts) -> float:
        """Of the dissolved resins together; before the first wash, of the room's resins."""
        mix = facts.resin_mix_g
        total_g = sum(mix.values())
        if total_g <= 0:
            known = [resin.dissolved_density_g_ml for resin in self.resins.values()]
            return sum(known) / len(known) if known else UNKNOWN_RESIN.density_g_ml
        volume_ml = 0.0
        for resin, mass_g in mix.items():
            volume_ml += mass_g / self.resins.get(resin, UNKNOWN_RESIN).dissolved_density_g_ml
        return total_g / volume_ml

    def filler_lift_ml_g(self, facts: TankFacts) -> float:
        """Millilitres by which a gram of the dissolved resins is larger than the labels say."""
        mix = facts.resin_mix_g
        total_g = sum(mix.values())
        if total_g <= 0:
            return 0.0
        lifts = (
            mass_g * self.resins.get(resin, UNKNOWN_RESIN).filler_lift_ml_g
            for resin, mass_g in mix.items()
        )
        return sum(lifts) / total_g
