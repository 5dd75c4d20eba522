"""The room filter: what is believed of every bath of a room, entry by entry."""

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.random import Generator

from app.domain.baths.conventions import to_mass_percent
from app.domain.baths.estimator import checkpoint, readings, transitions
from app.domain.baths.estimator.facts import Limit, ResinFacts, TankFacts
from app.domain.baths.estimator.mixture import Glance, glance
from app.domain.baths.estimator.readings import BIAS_ROWS, Sighting, saturation_percent
from app.domain.baths.estimator.results import BathBelief, CarryIn, Draws, Effect
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import (
    CARRY_IN,
    CM2_PER_G,
    CM2_PER_PART,
    FIRST_RESIN,
    Shared,
)
from app.domain.baths.estimator.state import EVAPORATION, RESIN, Bath, Joint, fresh_bath
from app.domain.baths.estimator.transitions import Heel, Liquid, Load
from app.domain.baths.habits import Habits
from app.domain.errors import DomainError, NotFound
from app.domain.instruments import BathLiquid, CalibrationPoint, Measured, baseline_of, measure
from app.domain.roomlog import kinds
from app.domain.solvents import solvent

DAY_S = 86_400.0
UNKNOWN_RESIN = ResinFacts()
USUAL_LIMIT_PERCENT = 10.0  # common practice, no source
STOP_ABOVE_LIMIT = 1.2
HIGHEST_LIMIT_PERCENT = 95.0
JUMP_MEMORY_DAYS = 10.0
MISSING_ABOVE, MISSING_UNTIL = 0.8, 0.5
SET_ASIDE_ABOVE = 0.5
PLAN_GRACE = timedelta(days=1)
Z90 = 1.6448536269514722


def day_of(at: datetime) -> float:
    """Days since 1970."""
    return at.timestamp() / DAY_S


@lru_cache(maxsize=256)
def _solvent_density_g_ml(key: str, purity_percent: float | None) -> float:
    liquid = solvent(key)
    return liquid.density_g_ml(20.0, purity_percent or liquid.usual_purity_percent)


class RoomFilter:
    """The joint estimate of a room's baths.

    Entries are applied in order of `at` (plans in order of `known_at`); the same entries in the
    same order give the same numbers, bit for bit, also from a checkpoint on.

    Attributes:
        tanks: what is known of each tank.
        resins: what is known of each resin.
        habits: how each tank is used.
        last_at: instant of the last entry, plans left out.
    """

    def __init__(self, settings: Settings | None = None, zone: tzinfo = UTC) -> None:
        self.settings = settings or Settings()
        self.zone = zone
        self.tanks: dict[str, TankFacts] = {}
        self.resins: dict[str, ResinFacts] = {}
        self.habits: dict[str, Habits] = {}
        self.last_at: datetime | None = None
        self._shared = Shared(self.settings)
        self._baths: dict[str, Bath] = {}
        self._washes: dict[str, int] = {}
        self._points: dict[str, tuple[CalibrationPoint, ...]] = {}
        self._plans: dict[str, kinds.PlannedWash] = {}
        self._day: float | None = None
        self._parts: dict[str, bytes] = {}
        self._entry_evaporated_g = 0.0

    # Reading the room

    @property
    def plans(self) -> tuple[kinds.PlannedWash, ...]:
        """Planned washes that were neither washed nor are past by more than a day."""
        return tuple(self._plans.values())

    def belief(self, tank: str, at: datetime) -> BathBelief:
        """What is believed of a bath at an instant not before its last entry.

        Raises:
            NotFound: there is no such tank.
        """
        facts = self._facts(tank)
        bath, joint = self._ahead(tank, at)
        return self._belief(tank, facts, bath, joint, at)

    def beliefs(self, at: datetime) -> dict[str, BathBelief]:
        """What is believed of all baths at an instant."""
        return {tank: self.belief(tank, at) for tank in self.tanks}

    def liquid(self, tank: str) -> BathLiquid:
        """What is known of a bath's liquid before it is measured.

        Raises:
            NotFound: there is no such tank.
        """
        facts = self._facts(tank)
        found = solvent(facts.solvent)
        return BathLiquid(
            found,
            facts.fresh_purity_percent or found.usual_purity_percent,
            self._resin_density_g_ml(facts),
            facts.baseline,
            self._points.get(found.key, ()),
        )

    def carry_in(self) -> tuple[CarryIn, ...]:
        """What was learned of each resin's carry-in."""
        mean, covariance = self._shared.moments()
        found = []
        for resin in self._shared.resins:
            direction = self._direction(resin)
            ln = float(direction @ mean)
            reach = Z90 * math.sqrt(float(direction @ covariance @ direction))
            figures = (math.exp(ln), math.exp(ln - reach), math.exp(ln + reach))
            found.append(CarryIn(resin, *figures, self._washes.get(resin, 0)))
        return tuple(found)

    def draw(self, tank: str, at: datetime, n: int, rng: Generator) -> Draws:
        """`n` joint samples of a bath and of what its washes will bring in.

        Raises:
            NotFound: there is no such tank.
        """
        self._facts(tank)
        bath, joint = self._ahead(tank, at)
        shared, state = _sample(bath, joint, n, rng)
        logged = 1 - self.settings.unlogged_share
        ln_mean = self.settings.wash_ln_sd**2 / 2 - math.log(logged)
        resins = self._shared.resins
        return Draws(
            resin_g=np.maximum(state[:, 0], 0.0),
            solvent_g=np.maximum(state[:, 1], 1.0),
            evaporation_per_day=np.exp(state[:, EVAPORATION]),
            ln_carry_in_g_cm2=shared[:, FIRST_RESIN:] + shared[:, [CARRY_IN]] + ln_mean,
            resins=tuple(resins),
            ln_cm2_per_g=shared[:, CM2_PER_G] + self.settings.mass_ln_sd**2 / 2,
            ln_cm2_per_part=shared[:, CM2_PER_PART] + self.settings.parts_ln_sd**2 / 2,
        )

    # Copies and checkpoints

    def copy(self) -> "RoomFilter":
        """A copy that goes its own way."""
        return self.from_bytes(self.to_bytes())

    def to_bytes(self) -> bytes:
        """The whole state, exactly."""
        shared = self._shared
        head = {
            "settings": asdict(self.settings),
            "zone": checkpoint.zone_name(self.zone),
            "resins": {key: asdict(facts) for key, facts in self.resins.items()},
            "columns": shared.resins,
            "washes": self._washes,
            "points": {key: [asdict(p) for p in points] for key, points in self._points.items()},
            "plans": [checkpoint.plan_json(plan) for plan in self._plans.values()],
            "last_at": self.last_at.isoformat() if self.last_at else None,
            "day": self._day,
            "tanks": list(self.tanks),
        }
        numbers = (shared.precision, shared.pull, shared.sizes_seen)
        parts = [checkpoint.packed(head), b"".join(part.tobytes() for part in numbers)]
        for tank in self.tanks:
            parts += [self._tank_part(tank), checkpoint.bath_bytes(self._baths[tank])]
        return checkpoint.join(parts)

    def _tank_part(self, tank: str) -> bytes:
        part = self._parts.get(tank)
        if part is None:
            facts = checkpoint.facts_json(self.tanks[tank])
            part = checkpoint.packed([facts, self.habits[tank].to_json()])
            self._parts[tank] = part
        return part

    @classmethod
    def from_bytes(cls, data: bytes) -> "RoomFilter":
        """The room filter that `to_bytes` wrote.

        Raises:
            DomainError: the bytes are not a room filter of this version.
        """
        parts = checkpoint.split(data)
        head = checkpoint.unpacked(parts[0])
        room = cls(Settings(**head["settings"]), checkpoint.zone_of(head["zone"]))
        room.resins = {key: ResinFacts(**values) for key, values in head["resins"].items()}
        room._washes = head["washes"]
        room._points = {
            key: tuple(CalibrationPoint(**p) for p in points)
            for key, points in head["points"].items()
        }
        for values in head["plans"]:
            room._keep_plan(checkpoint.plan_of(values))
        room.last_at = datetime.fromisoformat(head["last_at"]) if head["last_at"] else None
        room._day = head["day"]
        size = FIRST_RESIN + len(head["columns"])
        room._restore_shared(head["columns"], np.frombuffer(parts[1]), size)
        for i, tank in enumerate(head["tanks"]):
            part, numbers = parts[2 + 2 * i], parts[3 + 2 * i]
            facts, habits = checkpoint.unpacked(part)
            room.tanks[tank] = checkpoint.facts_of(facts)
            room.habits[tank] = Habits.from_json(habits, room.zone)
            room._baths[tank] = checkpoint.bath_of(numbers, size)
            room._parts[tank] = part
        return room

    def _restore_shared(self, columns: list[str], numbers: Any, size: int) -> None:
        self._shared.resins = list(columns)
        precision = numbers[: size * size].reshape(size, size).copy()
        self._shared.change(precision, numbers[size * size : size * size + size].copy())
        self._shared.sizes_seen = numbers[size * size + size :].copy()

    # Taking entries in

    def apply(self, entry: kinds.Entry) -> Effect | None:
        """Take an entry in; what it did to its bath, None where it did nothing to one."""
        if isinstance(entry, kinds.PlannedWash):
            return self._plan(entry)
        self._pass_days(entry.at)
        self.last_at = entry.at if self.last_at is None else max(self.last_at, entry.at)
        if isinstance(entry, kinds.Resin):
            return self._resin(entry)
        if isinstance(entry, kinds.Calibration):
            return self._calibrate(entry)
        if isinstance(entry, kinds.Tank):
            return self._set_up(entry)
        tank = getattr(entry, "tank", None)
        if tank not in self.tanks:
            return None
        return self._on_tank(entry, tank)

    def _on_tank(self, entry: kinds.Entry, tank: str) -> Effect | None:
        self._parts.pop(tank, None)
        self.habits[tank].observe(entry)
        facts = self.tanks[tank]
        facts.last_entry_at = entry.at
        act = _ACTS.get(type(entry))
        if act is None:
            self._note(entry, facts)
            return None
        bath = self._baths[tank]
        joint = bath.joint(self._shared)
        liquid = self._liquid(facts)
        self._entry_evaporated_g = transitions.pass_time(
            bath, joint, day_of(entry.at), liquid.fill_g, self.settings
        )
        return act(self, entry, facts, bath)

    def _note(self, entry: kinds.Entry, facts: TankFacts) -> None:
        if isinstance(entry, kinds.SwapStarted):
            facts.swap_started_at = entry.at
        elif isinstance(entry, kinds.SwapAbandoned):
            facts.swap_started_at = None
        elif isinstance(entry, kinds.TankChange):
            facts.take_limits(entry)
            facts.capacity_l = entry.capacity_l or facts.capacity_l
            facts.min_l = facts.min_l if entry.min_l is None else entry.min_l
            facts.is_retired = facts.is_retired if entry.is_retired is None else entry.is_retired

    def _plan(self, plan: kinds.PlannedWash) -> None:
        self._keep_plan(plan)
        if plan.tank in self.habits:
            self._parts.pop(plan.tank, None)
            self.habits[plan.tank].observe(plan)

    def _keep_plan(self, plan: kinds.PlannedWash) -> None:
        self._plans[plan.plan or plan.id or f"{plan.tank} {plan.at.isoformat()}"] = plan

    def _resin(self, entry: kinds.Resin) -> None:
        facts = ResinFacts(entry.density_g_ml, bool(entry.filled), entry.filler_percent or 0.0)
        self.resins[entry.resin] = facts
        mean = math.log1p(-facts.filler_fraction)
        if entry.resin not in self._shared.resins:
            self._add_column(entry.resin, mean)
        elif not self._washes.get(entry.resin):
            self._shared.set_resin(entry.resin, mean)

    def _add_column(self, resin: str, mean: float = 0.0) -> None:
        self._shared.add_resin(resin, mean)
        for bath in self._baths.values():
            bath.grow()

    def _calibrate(self, entry: kinds.Calibration) -> None:
        points = tuple(CalibrationPoint(entry.scale, *pair) for pair in entry.points)  # type: ignore[arg-type]
        self._points[solvent(entry.solvent).key] = points

    def _set_up(self, entry: kinds.Tank) -> Effect:
        facts = TankFacts(
            capacity_l=entry.capacity_l,
            solvent=entry.solvent,
            min_l=entry.min_l,
            fresh_purity_percent=entry.fresh_purity_percent,
            pair=entry.pair,
            last_entry_at=entry.at,
        )
        facts.take_limits(entry)
        facts.start_fill(entry.at)
        before = self.tanks.get(entry.tank)
        facts.fill = before.fill + 1 if before else 0
        self.tanks[entry.tank] = facts
        self.habits.setdefault(entry.tank, Habits(self.zone)).observe(entry)
        self._parts.pop(entry.tank, None)
        percent = entry.saturation_percent or 0.0
        fill_g = self._liquid(facts).fill_g
        bath = fresh_bath(
            self.settings, self._shared.size, day_of(entry.at), fill_g, percent, self._rate(facts)
        )
        self._baths[entry.tank] = bath
        belief = self._belief(entry.tank, facts, bath, bath.joint(self._shared), entry.at)
        return Effect(entry.tank, facts.fill, belief, percent, resin_in_g=belief.resin_g)

    def _rate(self, facts: TankFacts) -> float:
        slow = self.settings.slow_solvent_share if solvent(facts.solvent).dries_slowly else 1.0
        return self.settings.evaporation_per_day * slow

    def _wash(self, entry: kinds.Wash, facts: TankFacts, bath: Bath) -> Effect:
        if entry.resin not in self._shared.resins:
            self._add_column(entry.resin)
        self._learn_sizes(entry)
        joint = bath.joint(self._shared)
        before = _mean_percent(bath, joint)
        load = self._load(entry)
        resin_before = _mean_resin(bath, joint)
        in_g, out_g = transitions.wash(bath, joint, load, self._liquid(facts), self.settings)
        _mix_in(facts, entry.resin, in_g, out_g / resin_before if resin_before > 0 else 0.0)
        self._count_wash(entry, facts, in_g)
        return self._effect(entry, facts, bath, before, resin_in_g=in_g, resin_out_g=out_g)

    def _learn_sizes(self, entry: kinds.Wash) -> None:
        if entry.area_cm2 is None:
            return
        for column, size in ((CM2_PER_G, entry.mass_g), (CM2_PER_PART, entry.parts)):
            if size:
                self._shared.learn_size(column, math.log(entry.area_cm2 / size))

    def _load(self, entry: kinds.Wash) -> Load:
        settings = self.settings
        direction = self._direction(entry.resin)
        if entry.area_cm2 is not None:
            return Load(math.log(entry.area_cm2), direction, settings.wash_ln_sd, None)
        if entry.mass_g is not None:
            size, column, extra = entry.mass_g, CM2_PER_G, settings.mass_ln_sd
        else:
            size, column, extra = entry.parts or 1, CM2_PER_PART, settings.parts_ln_sd
        direction[column] = 1.0
        return Load(math.log(size), direction, math.hypot(settings.wash_ln_sd, extra), column)

    def _direction(self, resin: str) -> Any:
        direction = np.zeros(self._shared.size)
        direction[[CARRY_IN, self._shared.column(resin)]] = 1.0
        return direction

    def _count_wash(self, entry: kinds.Wash, facts: TankFacts, in_g: float) -> None:
        self._washes[entry.resin] = self._washes.get(entry.resin, 0) + 1
        if entry.plan:
            self._plans.pop(entry.plan, None)
        facts.washes_since_fill += 1
        since = facts.load_since or facts.fill_started_at
        memory = self.settings.load_memory_days
        days = max((entry.at - since).total_seconds() / DAY_S, 0.0)
        facts.load_g_per_day = facts.load_g_per_day * math.exp(-days / memory) + in_g / memory
        facts.load_since = facts.last_wash_at = entry.at

    def _read(self, entry: kinds.Reading, facts: TankFacts, bath: Bath) -> Effect:
        joint = bath.joint(self._shared)
        before = _mean_percent(bath, joint)
        if entry.of_fresh:
            facts.baseline = baseline_of(entry.method, entry.values, facts.baseline)
            return self._effect(entry, facts, bath, before)
        try:
            measured = measure(entry.method, entry.values, self.liquid(entry.tank))
        except DomainError as error:
            return self._effect(entry, facts, bath, before, notes=(str(error),))
        resin_before = _mean_resin(bath, joint)
        sighting = self._sighting(entry, measured, facts, bath, joint)
        readings.read(bath, self._shared, sighting, self.settings)
        joint = bath.joint(self._shared)
        slip = float(joint.weight @ bath.is_slip)
        previous, facts.last_reading_at = facts.last_reading_at, entry.at
        jump = self._jump_weight(bath, joint, sighting.day)
        self._watch_missing(facts, jump, previous)
        self._watch_water(entry, measured, facts)
        return self._effect(
            entry, facts, bath, before,
            correction_g=_mean_resin(bath, joint) - resin_before,
            measured=measured, slip_weight=slip, is_set_aside=slip > SET_ASIDE_ABOVE,
            jump_weight=jump, notes=measured.notes,
        )  # fmt: skip

    def _sighting(
        self, entry: kinds.Reading, measured: Measured, facts: TankFacts, bath: Bath, joint: Joint
    ) -> Sighting:
        settings = self.settings
        day = day_of(entry.at)
        since = day - day_of(facts.last_reading_at or facts.fill_started_at)
        is_sensor = measured.channel == "sensor"
        return Sighting(
            percent=measured.mass_percent,
            sd_percent=self._sd_percent(measured, facts),
            bias_row=BIAS_ROWS.get(measured.channel),
            slip_chance=settings.slip_chance * (settings.sensor_slip_share if is_sensor else 1.0),
            jump_chance=min(
                settings.jump_chance_per_day * max(since, 0.0), settings.most_jump_chance
            ),
            jump_percent=self._jump_percent(facts, bath, joint, entry.at),
            day=day,
        )

    def _sd_percent(self, measured: Measured, facts: TankFacts) -> float:
        if measured.channel == "refractometer" and self._points.get(solvent(facts.solvent).key):
            return self.settings.calibrated_sd_percent
        return float(getattr(self.settings, f"{measured.channel}_sd_percent"))

    def _jump_percent(self, facts: TankFacts, bath: Bath, joint: Joint, at: datetime) -> float:
        settings = self.settings
        age_days = (at - facts.fill_started_at).total_seconds() / DAY_S
        seen = 1 - math.exp(-max(age_days, 3.0) / settings.load_memory_days)
        load_g = settings.jump_days * facts.load_g_per_day / (seen if facts.fill == 0 else 1.0)
        liquid_g = float((joint.weight @ bath.means(joint))[:2].sum())
        percent = 100 * load_g / max(liquid_g, 1.0)
        return min(max(percent, settings.least_jump_percent), settings.most_jump_percent)

    def _jump_weight(self, bath: Bath, joint: Joint, day: float) -> float:
        return float(joint.weight @ (bath.jumped_on > day - JUMP_MEMORY_DAYS))

    def _watch_missing(self, facts: TankFacts, jump: float, previous: datetime | None) -> None:
        if jump > MISSING_ABOVE and facts.missing_since is None:
            facts.missing_since = previous or facts.fill_started_at
        elif jump < MISSING_UNTIL:
            facts.missing_since = None

    def _watch_water(self, entry: kinds.Reading, measured: Measured, facts: TankFacts) -> None:
        if measured.is_apparent:
            facts.is_apparent = facts.resin_reading is None
        elif measured.channel in ("residue", "refractometer"):
            facts.resin_reading = (entry.at, measured.mass_percent, measured.sd_percent)
            facts.is_apparent = False

    def _top_up(self, entry: kinds.TopUp, facts: TankFacts, bath: Bath) -> Effect:
        joint, liquid = bath.joint(self._shared), self._liquid(facts)
        before, resin_before = _mean_percent(bath, joint), _mean_resin(bath, joint)
        transitions.top_up(bath, entry.volume_l, liquid, self.settings)
        if entry.to_mark:
            transitions.fill_to(bath, joint, facts.capacity_l, liquid, self.settings)
        correction_g = _mean_resin(bath, joint) - resin_before
        return self._effect(entry, facts, bath, before, correction_g=correction_g)

    def _remove(self, entry: kinds.Removal, facts: TankFacts, bath: Bath) -> Effect:
        joint, liquid = bath.joint(self._shared), self._liquid(facts)
        before, resin_before = _mean_percent(bath, joint), _mean_resin(bath, joint)
        out_g = transitions.remove(bath, joint, entry.volume_l, liquid, self.settings)
        _keep_of_mix(facts, 1 - out_g / resin_before if resin_before > 0 else 1.0)
        return self._effect(entry, facts, bath, before, resin_out_g=out_g)

    def _solids(self, entry: kinds.SolidsRemoved, facts: TankFacts, bath: Bath) -> Effect:
        return self._effect(entry, facts, bath, _mean_percent(bath, bath.joint(self._shared)))

    def _swap(self, entry: kinds.Swap, facts: TankFacts, bath: Bath) -> Effect:
        joint = bath.joint(self._shared)
        before, resin_before = _mean_percent(bath, joint), _mean_resin(bath, joint)
        share, share_sd = self._heel(entry, facts, bath, joint)
        facts.solvent = entry.solvent or facts.solvent
        if entry.fresh_purity_percent is not None or entry.solvent is not None:
            facts.fresh_purity_percent = entry.fresh_purity_percent
        liquid = self._liquid(facts)
        fresh_g = None
        if entry.filled_l is not None:
            fresh_g = 1000 * entry.filled_l * liquid.solvent_density_g_ml
        heel = Heel(share, share_sd, fresh_g, facts.capacity_l)
        transitions.swap(bath, joint, heel, liquid, self.settings)
        facts.fill += 1
        facts.start_fill(entry.at)
        _keep_of_mix(facts, share)
        out_g = resin_before - _mean_resin(bath, joint)
        return self._effect(entry, facts, bath, before, resin_out_g=out_g)

    def _heel(
        self, entry: kinds.Swap, facts: TankFacts, bath: Bath, joint: Joint
    ) -> tuple[float, float]:
        """Share of the old liquid that stays, and its sd; never less than a tank keeps anyhow."""
        usual = self.settings.heel, self.settings.heel_sd
        if entry.drained_l is None:
            return usual
        weights = self._liquid(facts).volume_weights
        volume_l = float(joint.weight @ (bath.means(joint)[:, :2] @ weights))
        left = 1 - entry.drained_l / max(volume_l, 1e-6)
        if left <= self.settings.heel:
            return usual
        return left, self.settings.drained_noise * (1 - left) + self.settings.heel_sd

    # What the above share

    def _facts(self, tank: str) -> TankFacts:
        facts = self.tanks.get(tank)
        if facts is None:
            raise NotFound(f"There is no tank “{tank}”.")
        return facts

    def _pass_days(self, at: datetime) -> None:
        """Let the carry-in of the resins wander, a whole day at a time."""
        day = math.floor(day_of(at))
        if self._day is not None and day > self._day:
            readings.wander(
                list(self._baths.values()), self._shared, day - self._day, self.settings
            )
        self._day = day if self._day is None else max(day, self._day)
        if self._plans:
            self._plans = {k: p for k, p in self._plans.items() if p.at + PLAN_GRACE >= at}

    def _ahead(self, tank: str, at: datetime) -> tuple[Bath, Joint]:
        """A bath as it will be at an instant."""
        bath = self._baths[tank]
        joint = bath.joint(self._shared)
        if day_of(at) <= bath.day:
            return bath, joint
        bath = bath.copy()
        fill_g = self._liquid(self.tanks[tank]).fill_g
        transitions.pass_time(bath, joint, day_of(at), fill_g, self.settings)
        return bath, joint

    def _liquid(self, facts: TankFacts) -> Liquid:
        density = _solvent_density_g_ml(facts.solvent, facts.fresh_purity_percent)
        return Liquid(1000 * facts.capacity_l * density, density, self._resin_density_g_ml(facts))

    def _resin_density_g_ml(self, facts: TankFacts) -> float:
        """Of the dissolved resins together; before the first wash, of the room's resins."""
        mix = facts.resin_mix_g
        total_g = sum(mix.values())
        if total_g <= 0:
            known = [facts.dissolved_density_g_ml for facts in self.resins.values()]
            return sum(known) / len(known) if known else UNKNOWN_RESIN.density_g_ml
        volume_ml = sum(
            mass_g / self.resins.get(resin, UNKNOWN_RESIN).dissolved_density_g_ml
            for resin, mass_g in mix.items()
        )
        return total_g / volume_ml

    def _effect(
        self, entry: Any, facts: TankFacts, bath: Bath, before: float, **details: Any
    ) -> Effect:
        belief = self._belief(entry.tank, facts, bath, bath.joint(self._shared), entry.at)
        return Effect(
            entry.tank, facts.fill, belief, before,
            evaporated_g=self._entry_evaporated_g, flags=belief.flags, **details,
        )  # fmt: skip

    def _belief(
        self, tank: str, facts: TankFacts, bath: Bath, joint: Joint, at: datetime
    ) -> BathBelief:
        liquid = self._liquid(facts)
        seen = glance(bath, joint, liquid.volume_weights)
        limit, stop = self._limits(facts, liquid)
        flags = self._flags(facts, bath, joint, seen, (limit, stop), at)
        return BathBelief(
            tank=tank,
            at=at,
            mean_percent=seen.saturation.mean,
            sd_percent=seen.saturation.sd,
            p05_percent=seen.saturation.p05,
            p95_percent=seen.saturation.p95,
            resin_g=seen.resin_g,
            solvent_g=seen.solvent_g,
            volume_l=seen.volume_l[0],
            volume_sd_l=seen.volume_l[1],
            fill=facts.fill,
            fill_started_at=facts.fill_started_at,
            washes_since_fill=facts.washes_since_fill,
            last_wash_at=facts.last_wash_at,
            last_reading_at=facts.last_reading_at,
            last_entry_at=facts.last_entry_at,
            hydrometer_bias=seen.hydrometer_bias,
            sensor_bias=seen.sensor_bias,
            solvent_density_g_ml=liquid.solvent_density_g_ml,
            resin_density_g_ml=liquid.resin_density_g_ml,
            limit_percent=limit,
            stop_percent=stop,
            missing_since=facts.missing_since if "washes_missing" in flags else None,
            flags=flags,
        )

    def _limits(self, facts: TankFacts, liquid: Liquid) -> tuple[float, float]:
        """Both limits in mass percent."""
        limit = facts.limit
        if limit.value is None:
            usual = solvent(facts.solvent).usual_limit_volume_percent
            limit = Limit("volume_percent", usual) if usual else Limit(value=USUAL_LIMIT_PERCENT)
        first = _in_mass_percent(limit, liquid)
        if facts.stop.value is None:
            return first, min(STOP_ABOVE_LIMIT * first, HIGHEST_LIMIT_PERCENT)
        return first, max(_in_mass_percent(facts.stop, liquid), first)

    def _flags(
        self,
        facts: TankFacts,
        bath: Bath,
        joint: Joint,
        seen: Glance,
        limits: tuple[float, float],
        at: datetime,
    ) -> tuple[str, ...]:
        mean = seen.saturation.mean
        age = at - facts.fill_started_at
        jump = self._jump_weight(bath, joint, day_of(at)) if facts.missing_since else 0.0
        starting = 2 * self.settings.sensor_bias_sd_percent
        life_days, life_washes = facts.life_days, facts.life_washes
        checks = {
            "reading_disagrees": float(joint.weight @ bath.is_slip) > SET_ASIDE_ABOVE,
            "washes_missing": jump >= MISSING_UNTIL,
            "sensor_drifting": abs(seen.sensor_bias[0]) > starting,
            "apparent": facts.is_apparent,
            "water_suspected": facts.is_water_suspected,
            "past_limit": mean >= limits[0],
            "past_stop": mean >= limits[1],
            "past_life_days": life_days is not None and age >= timedelta(days=life_days),
            "past_life_washes": life_washes is not None and facts.washes_since_fill >= life_washes,
        }
        return tuple(name for name, is_so in checks.items() if is_so)


def _in_mass_percent(limit: Limit, liquid: Liquid) -> float:
    assert limit.value is not None
    densities = (liquid.resin_density_g_ml, liquid.solvent_density_g_ml)
    return float(to_mass_percent(limit.value, limit.basis, *densities))


def _mean_percent(bath: Bath, joint: Joint) -> float:
    return float(joint.weight @ saturation_percent(bath.means(joint)))


def _mean_resin(bath: Bath, joint: Joint) -> float:
    return float(joint.weight @ bath.means(joint)[:, RESIN])


def _keep_of_mix(facts: TankFacts, share: float) -> None:
    facts.resin_mix_g = {resin: share * mass for resin, mass in facts.resin_mix_g.items()}


def _mix_in(facts: TankFacts, resin: str, in_g: float, out_share: float) -> None:
    _keep_of_mix(facts, 1 - out_share)
    facts.resin_mix_g[resin] = facts.resin_mix_g.get(resin, 0.0) + in_g


def _sample(bath: Bath, joint: Joint, n: int, rng: Generator) -> tuple[Any, Any]:
    """Rows of shared quantities and of the state, drawn from the mixture."""
    which = rng.choice(len(joint.weight), size=n, p=joint.weight)
    shared_root, own_root = _root(joint.covariance), _root(bath.spread)
    z = rng.standard_normal((n, joint.mean.shape[1]))
    shared = joint.mean[which] + (shared_root[which] @ z[:, :, None])[:, :, 0]
    e = rng.standard_normal((n, bath.offset.shape[1]))
    state = bath.offset[which] + (bath.slope[which] @ shared[:, :, None])[:, :, 0]
    return shared, state + (own_root[which] @ e[:, :, None])[:, :, 0]


def _root(covariance: Any) -> Any:
    """A square root of each covariance, also where something is known exactly."""
    values, vectors = np.linalg.eigh(covariance)
    return vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]


_ACTS: Mapping[type[kinds.Entry], Callable[..., Effect]] = {
    kinds.Wash: RoomFilter._wash,
    kinds.Reading: RoomFilter._read,
    kinds.TopUp: RoomFilter._top_up,
    kinds.Removal: RoomFilter._remove,
    kinds.SolidsRemoved: RoomFilter._solids,
    kinds.Swap: RoomFilter._swap,
}
