"""One tank of a made-up room from day to day."""

import math
from collections.abc import Callable

import numpy as np
from numpy.random import Generator

from app.domain.roomlog import kinds
from tests.judge.families import Family
from tests.judge.physics import SOLVENT_DENSITY_20C_G_ML, Bath
from tests.judge.room_log import RoomLog
from tests.judge.truth import NOMINAL_FILM_G_CM2, Cycle, RoomTruth, Track, moment

WORK_FROM_H, WORK_UNTIL_H = 7.0, 20.0
UNLOGGED_WEEK_DAYS = 7.0

Event = tuple[float, Callable[[float], None]]  # when, in days since the start, and what happens


class TankLife:
    """One tank from day to day."""

    def __init__(
        self, family: Family, truth: RoomTruth, log: RoomLog, tank: str, days: float, rng: Generator
    ) -> None:
        self.family, self.truth, self.log, self.tank = family, truth, log, tank
        self.days, self.rng = days, rng
        self.limit_percent = float(rng.choice([8.0, 10.0, 12.0]))
        self.purity_percent = float(rng.choice([99.0, 99.0, 91.0]))
        self.bath = Bath(
            float(rng.choice([12.0, 20.0, 42.0])),
            SOLVENT_DENSITY_20C_G_ML[self.purity_percent],
            np.array([resin.binder_density_g_ml for resin in truth.resins]),
            np.array([resin.shown_density_g_ml for resin in truth.resins]),
        )
        self.shadows: list[tuple[Bath, Cycle]] = []
        self.cycles: list[Cycle] = []
        self.track = Track()
        self.evaporation_per_day = 0.005 * math.exp(rng.normal(0, 0.5))
        self.area_cm2 = self._typical_area_cm2()
        self.weekday_share = self._weekday_shares()
        self.level = rng.normal(0, truth.level_ln_sd)
        self.hydrometer_bias = rng.normal(0, truth.hydrometer_bias_sd_percent)
        self.sensor_bias = rng.normal(0, 0.3)
        self.swap_at_percent = self.limit_percent * rng.uniform(0.95, 1.08)
        self.top_up_below = rng.uniform(0.90, 0.97)
        self.unlogged_from = np.sort(rng.uniform(40, days - 20, family.unlogged_weeks))
        self.plans: list[tuple[float, str]] = []
        self.next_reading = {
            method: rng.uniform(0.5, 1) * every
            for method, every in (
                ("hydrometer", family.hydrometer_days),
                ("residue", family.residue_days),
                ("sensor", family.sensor_days),
            )
            if every
        }

    def _typical_area_cm2(self) -> float:
        """Sized so that an expected carry-in fills the bath in the family's cycle length."""
        cycle_days = self.rng.uniform(*self.family.cycle_days)
        kept = 1000 * self.bath.capacity_l * 0.8 * self.limit_percent / (100 - self.limit_percent)
        working_days = cycle_days * (5.5 / 7)
        return kept / (working_days * self.family.washes_per_day * NOMINAL_FILM_G_CM2)

    def _weekday_shares(self) -> np.ndarray:
        share = np.array([1, 1, 1, 1, 1, 0.5 if self.truth.works_saturday else 0, 0.0])
        share *= np.exp(self.rng.normal(0, 0.2, 7))
        return share * (5.5 if self.truth.works_saturday else 5) / share.sum()

    def run(self) -> None:
        self._set_up()
        for day in range(int(self.days)):
            self._live(day)
        self.track.note(self.days, self.bath)

    def _set_up(self) -> None:
        self.log.add(
            kinds.Tank, 0.0, tank=self.tank, name=self.tank.upper(),
            capacity_l=self.bath.capacity_l, min_l=round(0.6 * self.bath.capacity_l, 1),
            solvent="isopropanol", fresh_purity_percent=self.purity_percent,
            limit_percent=self.limit_percent,
        )  # fmt: skip
        self.track.note(0, self.bath)
        self.cycles.append(Cycle(self.tank, moment(0), self.limit_percent))
        self.shadows.append((self.bath, self.cycles[-1]))

    def _live(self, day: int) -> None:
        """One day: the morning's top-up or swap, washes, readings, evaporation all along."""
        self._walk()
        opening, closing = day + WORK_FROM_H / 24, day + WORK_UNTIL_H / 24
        last = float(day)
        is_working = self.weekday_share[day % 7] > 0 and not self._is_idle(day)
        events = self._events_of(day, opening, closing) if is_working else []
        for when, act in sorted(events, key=lambda event: event[0]):
            self._evaporate(when, when - last)
            act(when)
            self._after(when)
            last = when
        self._evaporate(day + 1.0, day + 1.0 - last)

    def _walk(self) -> None:
        keep = math.exp(-1 / self.truth.level_days)
        spread = self.truth.level_ln_sd * math.sqrt(1 - keep**2)
        self.level = keep * self.level + self.rng.normal(0, spread)
        self.hydrometer_bias *= math.exp(-1 / 40)
        self.hydrometer_bias += self.rng.normal(0, 0.45 * math.sqrt(1 - math.exp(-2 / 40)))
        self.sensor_bias += self.rng.normal(0, self.family.sensor_walk_percent)

    def _is_idle(self, day: int) -> bool:
        middle = self.days / 2
        return middle <= day < middle + self.family.idle_days

    def _events_of(
        self, day: int, opening: float, closing: float
    ) -> list[tuple[float, Callable[[float], None]]]:
        events: list[tuple[float, Callable[[float], None]]] = [(opening - 0.02, self._mind_level)]
        events += [(when, self._wash) for when in self._wash_times(day, opening, closing)]
        for method, due in self.next_reading.items():
            if due <= day:
                when = self.rng.uniform(opening, closing)
                events.append((when, lambda at, method=method: self._read(method, at)))
        return events

    def _wash_times(self, day: int, opening: float, closing: float) -> np.ndarray:
        burst = self.family.burst_factor if (day // 7) % 6 == 5 else 1.0
        mean = self.family.washes_per_day * self.weekday_share[day % 7] * burst
        count = self.rng.poisson(mean * math.exp(self.level - self.truth.level_ln_sd**2 / 2))
        return np.sort(self.rng.uniform(opening, closing, count))

    def _baths(self) -> list[Bath]:
        """The bath itself, and each earlier fill let run on as if it had not been swapped."""
        runs_on = [bath for bath, _ in self.shadows if bath is not self.bath]
        return [self.bath, *runs_on]

    def _evaporate(self, when: float, days: float) -> None:
        modulation = math.exp(self.rng.normal(0, 0.2))
        before = [bath.saturation_percent for bath, _ in self.shadows]
        for bath in self._baths():
            bath.evaporate(self.evaporation_per_day * modulation * days)
        self.track.note(when, self.bath)
        for (bath, cycle), percent in zip(self.shadows, before, strict=True):
            rise = max(bath.saturation_percent - percent, 1e-12)
            share_after = min(1.0, (bath.saturation_percent - cycle.limit_percent) / rise)
            if share_after >= 0:
                cycle.crossed_at = moment(when - share_after * days)
        self._drop_crossed()

    def _after(self, when: float) -> None:
        self.track.note(when, self.bath)
        for bath, cycle in self.shadows:
            if bath.saturation_percent >= cycle.limit_percent:
                cycle.crossed_at = moment(when)
        self._drop_crossed()

    def _drop_crossed(self) -> None:
        self.shadows = [(bath, cycle) for bath, cycle in self.shadows if cycle.crossed_at is None]

    def _mind_level(self, when: float) -> None:
        """First thing in the morning: swap a spent bath, or top up a low one."""
        seen_percent = self.bath.saturation_percent + self.rng.normal(0, 0.4)
        if seen_percent >= self.swap_at_percent:
            self._swap(when)
        elif self.bath.volume_l < self.top_up_below * self.bath.capacity_l:
            self._top_up(when)
        elif self.rng.random() < 1 / 60:
            self._remove(when)

    def _swap(self, when: float) -> None:
        old, cycle = self.bath.copy(), self.cycles[-1]
        cycle.ended_at = moment(when)
        self.shadows = [(old if bath is self.bath else bath, c) for bath, c in self.shadows]
        self.bath.swap(max(0.0, self.rng.normal(0.02, 0.008)))
        self.hydrometer_bias = 0.5 * self.hydrometer_bias + self.rng.normal(0, 0.35)
        self.cycles.append(Cycle(self.tank, moment(when), self.limit_percent))
        self.shadows.append((self.bath, self.cycles[-1]))
        self.log.add(kinds.Swap, when, tank=self.tank)

    def _top_up(self, when: float) -> None:
        to_mark = self.rng.random() < 0.85
        filled = 1 + self.rng.normal(0, 0.015)
        share = filled if to_mark else self.bath.volume_l / self.bath.capacity_l + 0.03
        before_l = self.bath.volume_l
        for bath in self._baths():
            bath.add_solvent(share * bath.capacity_l - bath.volume_l)
        added_l = (self.bath.volume_l - before_l) * (1 + self.rng.normal(0, 0.08))
        self.log.add(
            kinds.TopUp, when, tank=self.tank, volume_l=max(0.05, round(added_l, 2)),
            to_mark=True if to_mark else None,
        )  # fmt: skip

    def _remove(self, when: float) -> None:
        volume_l = round(0.01 * self.bath.capacity_l, 2)
        for bath in self._baths():
            bath.take_out(volume_l)
        self.log.add(kinds.Removal, when, tank=self.tank, volume_l=volume_l)

    def _choose_resin(self, when: float) -> int:
        count = len(self.truth.resins)
        if not self.family.new_resin_share:
            often = np.arange(count, 0, -1)
            return int(self.rng.choice(count, p=often / often.sum()))
        is_new = when > self.days / 2 and self.rng.random() < self.family.new_resin_share
        return count - 1 if is_new else int(self.rng.integers(count - 1))

    def _wash(self, when: float) -> None:
        index = self._choose_resin(when)
        resin = self.truth.resins[index]
        area_cm2 = self.area_cm2 * math.exp(self.rng.normal(-0.125, 0.5))
        spread = self.truth.wash_ln_sd
        film = resin.dissolved_g_cm2 * math.exp(self.rng.normal(-(spread**2) / 2, spread))
        dragged_ml = area_cm2 * self.truth.drag_out_ml_cm2 * math.exp(self.rng.normal(0, 0.3))
        for bath in self._baths():
            bath.wash(index, area_cm2 * film, dragged_ml)
        if not self._is_unlogged(when):
            self._log_wash(when, resin.key, area_cm2)

    def _is_unlogged(self, when: float) -> bool:
        since = when - self.unlogged_from
        in_lost_week = bool(((since >= 0) & (since < UNLOGGED_WEEK_DAYS)).any())
        return in_lost_week or self.rng.random() < self.truth.unlogged_share

    def _log_wash(self, when: float, resin: str, area_cm2: float) -> None:
        load = self._load(area_cm2)
        plan = None
        if self.rng.random() < self.family.planned_share:
            plan = f"{self.tank}-{when:.4f}"
            planned_at = max(1.0, when + self.rng.normal(0, 0.1))
            self._plan(planned_at, plan, resin, load)
        if self.rng.random() < 0.15 * self.family.planned_share:  # planned, and never washed
            self._plan(when + self.rng.uniform(1, 3), f"{self.tank}-x{when:.4f}", resin, load)
        self.log.add(
            kinds.Wash, when, self.log.late_days(), tank=self.tank, resin=resin, plan=plan, **load
        )

    def _plan(self, at: float, plan: str, resin: str, load: dict[str, float]) -> None:
        self.log.add(
            kinds.PlannedWash, at, tank=self.tank, resin=resin, plan=plan,
            known_from=moment(max(0.0, at - 7)), **load,
        )  # fmt: skip

    def _load(self, area_cm2: float) -> dict[str, float]:
        how = self.truth.logged_as
        if how == "mixed":
            how = str(self.rng.choice(["area", "mass", "parts"]))
        if how == "area":
            return {"area_cm2": round(area_cm2, 1)}
        if how == "mass":
            mass_g = area_cm2 / self.truth.cm2_per_g * math.exp(self.rng.normal(0, 0.25))
            return {"mass_g": round(mass_g, 1)}
        parts = area_cm2 / self.truth.cm2_per_part * math.exp(self.rng.normal(0, 0.3))
        return {"parts": max(1, round(parts))}

    def _read(self, method: str, when: float) -> None:
        every = getattr(self.family, f"{method}_days")
        self.next_reading[method] = when + every * self.rng.uniform(0.7, 1.3)
        late_days = 0.0 if method == "sensor" else self.log.late_days() / 3
        is_slip = self.rng.random() < self.family.slip_share * (1 / 3 if method == "sensor" else 1)
        slip_percent = self.rng.uniform(0, 25) if is_slip else None
        values = getattr(self, f"_{method}")(slip_percent)
        self.log.add(kinds.Reading, when, late_days, tank=self.tank, method=method, values=values)

    def _hydrometer(self, slip_percent: float | None) -> dict[str, float]:
        temperature_c = self.rng.normal(21, 2.5)
        shown = self.bath.saturation_percent + self.rng.normal(0, self.truth.hydrometer_sd_percent)
        shown += self.hydrometer_bias + self.family.hydrometer_bias_percent
        shown = shown if slip_percent is None else slip_percent
        density = self.bath.density_g_ml(shown, temperature_c)
        return {"density_g_ml": round(density, 4), "temperature_c": round(temperature_c, 1)}

    def _residue(self, slip_percent: float | None) -> dict[str, float]:
        shown = self.bath.saturation_percent + self.rng.normal(0, self.truth.residue_sd_percent)
        shown = max(0.0, shown) if slip_percent is None else slip_percent
        sample_g = round(self.rng.uniform(8, 12), 2)
        return {"sample_g": sample_g, "residue_g": round(sample_g * shown / 100, 3)}

    def _sensor(self, slip_percent: float | None) -> dict[str, float]:
        shown = self.bath.saturation_percent + self.rng.normal(0, self.truth.sensor_sd_percent)
        shown = max(0.0, shown + self.sensor_bias) if slip_percent is None else slip_percent
        return {"saturation_percent": round(shown, 2)}
