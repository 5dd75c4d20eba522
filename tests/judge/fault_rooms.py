"""Rooms in which something goes wrong that the log does not say: the truth beside a false log.

Masses alone, from `physics`: nothing here is imported from the estimator. A room lives two tanks,
Alder and Birch, side by side; each family breaks one thing, at instants that are drawn.
"""

import math
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from app.domain.roomlog import kinds
from tests.judge.physics import Bath
from tests.judge.truth import NOMINAL_FILM_G_CM2, moment

# 2-propanol with water at 20 C: Lebo, J. Am. Chem. Soc. 43, 1005 (1921) at 90.35 and 100 mass %,
# between them with the excess volume fitted to those rows.
PURITY_PERCENT = (90.0, 95.0, 97.0, 98.0, 99.0, 100.0)
DENSITY_G_ML = (0.81024, 0.79838, 0.79346, 0.79092, 0.78830, 0.78556)
TANKS = ("alder", "birch")
SEEN_PERCENT = 3.0  # a reading of another tank that shows less is nobody's harm
A_MOMENT = 2e-6  # days: a fault that is a reading begins just before it
LABEL_PURITY_PERCENT = 99.0
RESIN_G_ML = 1.12
SEASON_DAYS = 90
OPENING, HOURS = 8 / 24, 10 / 24


@dataclass(frozen=True)
class FaultFamily:
    """What goes wrong in a room.

    Attributes:
        named_by: flags, any of which names the fault.
        washes_per_day, hydrometer_days, residue_days: of each tank; 0 means never.
        carry_in_factor: truth against what the program expects.
        limit_percent: at which a bath is swapped.
    """

    name: str
    named_by: tuple[str, ...] = ()
    washes_per_day: float = 4
    hydrometer_days: float = 3
    residue_days: float = 10
    carry_in_factor: float = 1
    limit_percent: float = 10
    cycle_days: float = 35

    @property
    def is_pair(self) -> bool:
        """Each load goes through the dirty bath and then the clean one."""
        return self.name.startswith("pair")


FAULT_FAMILIES = (
    FaultFamily("nothing wrong"),
    FaultFamily("pair", limit_percent=12),
    FaultFamily("pair, not told", limit_percent=12),
    FaultFamily("pair, not told, hydrometer alone", residue_days=0, limit_percent=12),
    FaultFamily("hydrometer alone", residue_days=0),
    FaultFamily("moved baths", limit_percent=9),
    FaultFamily("unlogged swap", ("swap_missing",)),
    FaultFamily("unlogged top-up", ("top_up_missing",)),
    FaultFamily("absurd entry", ("wrong_entry",)),
    FaultFamily("wrong tank", ("wrong_tank", "washes_missing", "reading_disagrees")),
    FaultFamily("contradicting", ("not_one_bath", "reading_disagrees")),
    FaultFamily("wet solvent", ("water_suspected",)),
    FaultFamily("wet solvent, few residues", ("water_suspected",), residue_days=30),
    FaultFamily("pair, clean bath changed and not logged", ("swap_missing",), limit_percent=12),
    FaultFamily("reading of the other tank", ("wrong_tank", "reading_disagrees")),
    FaultFamily("two hydrometers", residue_days=20),
    FaultFamily("seasonal load"),
    FaultFamily("long pause"),
    FaultFamily("swap into a pause"),
    FaultFamily("resin change"),
    FaultFamily("sparse", washes_per_day=1.2, hydrometer_days=7, residue_days=21),
    FaultFamily("sparse, carry-in twice", (), 1.2, 7, 21, 2.0),
    FaultFamily("sparse, carry-in half", (), 1.2, 7, 21, 0.5),
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """Something that went wrong in a tank, and until when it misleads."""

    tank: str
    day: float
    until: float


@dataclass
class FaultRoom:
    """A room's log, in order, and the true saturation of its tanks after each event.

    Attributes:
        constants: what is true of every wash and day of the room: resin in a cm2's film (g), bath
            liquid on it (mL), share of washes that nobody logs, share of a fill that dries a day.
    """

    family: FaultFamily
    days: int
    entries: list[kinds.Entry] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    constants: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    track: dict[str, list[tuple[float, float]]] = field(
        default_factory=lambda: {tank: [] for tank in TANKS}
    )

    def truth_percent(self, tank: str, day: float) -> float:
        noted = self.track[tank]
        place = int(np.searchsorted([when for when, _ in noted], day, side="right")) - 1
        return noted[max(place, 0)][1]

    def log(self, kind: type[kinds.Entry], day: float, **values: object) -> None:
        self.entries.append(kind(at=moment(day), id=f"f{len(self.entries):06d}", **values))


class FaultLife:
    """The days of such a room."""

    def __init__(self, family: FaultFamily, seed: int, days: int = 120) -> None:
        self.rng = rng = np.random.default_rng([seed, *family.name.encode()])
        self.room, self.family, self.days = FaultRoom(family, days), family, days
        film = NOMINAL_FILM_G_CM2 * family.carry_in_factor * math.exp(rng.normal(0, 0.25))
        self.films = [film * math.exp(rng.normal(0, sd)) for sd in (0.15, 0.3)]
        self.drag_ml_cm2 = 0.010 * math.exp(rng.normal(0, 0.3))
        self.unlogged = rng.uniform(0.04, 0.14)
        self.evaporation = 0.005 * math.exp(rng.normal(0, 0.4))
        if family.name == "unlogged top-up":
            self.evaporation = 0.012
        self.room.constants = (self.films[0], self.drag_ml_cm2, self.unlogged, self.evaporation)
        self.purity = dict.fromkeys(TANKS, LABEL_PURITY_PERCENT)
        self.baths = {tank: self._fresh_bath(tank) for tank in TANKS}
        self.bias = {tank: rng.normal(0, 0.45) for tank in TANKS}
        self.next_read = {
            (tank, method): rng.uniform(0.4, 1) * every
            for tank in TANKS
            for method, every in (
                ("hydrometer", family.hydrometer_days), ("residue", family.residue_days),
            ) if every
        }  # fmt: skip
        kept = 1000 * 20 * 0.8 * family.limit_percent / (100 - family.limit_percent)
        self.area_cm2 = kept / (
            family.cycle_days * 5 / 7 * family.washes_per_day * NOMINAL_FILM_G_CM2
        )
        self.at = sorted(rng.uniform(38, days - 25, 2))
        is_paused = family.name in ("swap into a pause", "long pause")
        self.pause = (days / 2, days / 2 + 30) if is_paused else None
        self.flip = 0
        self.other_bias = rng.normal(0, 1.0, 2) if family.name == "two hydrometers" else (0.0, 0.0)

    def _fresh_bath(self, tank: str) -> Bath:
        density = float(np.interp(self.purity[tank], PURITY_PERCENT, DENSITY_G_ML))
        return Bath(20.0, density, *2 * [np.array([RESIN_G_ML])])

    def run(self) -> FaultRoom:
        room = self.room
        for i in range(2 if self.family.name == "resin change" else 1):
            room.log(
                kinds.Resin, 0.0, resin=f"resin{i}", name=f"Resin {i}", density_g_ml=RESIN_G_ML
            )
        for tank in TANKS:
            is_told = self.family.name == "pair" and tank == "alder"
            room.log(
                kinds.Tank, 0.0, tank=tank, name=tank.title(), capacity_l=20.0, min_l=12.0,
                solvent="isopropanol", fresh_purity_percent=LABEL_PURITY_PERCENT,
                limit_percent=self.family.limit_percent, pair="birch" if is_told else None,
            )  # fmt: skip
            self._note(tank, 0.0)
        for day in range(self.days):
            self._live(day)
        room.entries.sort(key=lambda entry: entry.at)
        return room

    def _note(self, tank: str, day: float) -> None:
        self.room.track[tank].append((day, self.baths[tank].saturation_percent))

    def _live(self, day: int) -> None:
        is_working = day % 7 < 5 and not (self.pause and self.pause[0] <= day < self.pause[1])
        events = []
        if is_working:
            for tank in TANKS:
                events.append((day + OPENING - 0.03, "mind", tank))
                events += self._washes(day, tank)
            for (tank, method), due in self.next_read.items():
                if due <= day:
                    events.append((day + OPENING + HOURS * self.rng.random(), method, tank))
        events += self._faults(day)
        last = float(day)
        for when, what, tank in sorted(events):
            self._evaporate(when - last)
            getattr(self, f"_{what}")(when, tank)
            self._note(tank, when)
            last = when
        self._evaporate(day + 1 - last)
        for tank in TANKS:
            self._note(tank, day + 1.0)

    def _washes(self, day: int, tank: str) -> list[tuple[float, str, str]]:
        if self.family.is_pair and tank == "birch":
            return []  # its washes follow those of the dirty bath
        usual = self.family.washes_per_day
        if self.family.name == "seasonal load":
            usual *= 1 + 0.7 * math.sin(2 * math.pi * day / SEASON_DAYS)
        count = self.rng.poisson(usual)
        return [(day + OPENING + HOURS * x, "wash", tank) for x in sorted(self.rng.random(count))]

    def _faults(self, day: int) -> list[tuple[float, str, str]]:
        name = self.family.name
        if name == "swap into a pause" and day == int(self.pause[0]) - 1:
            return [(day + 0.8, "swap", tank) for tank in TANKS]
        if name == "unlogged swap" and day in map(int, self.at):
            return [(day + 0.3, "quiet_swap", "alder")]
        if name == "pair, clean bath changed and not logged" and day in map(int, self.at):
            return [(day + 0.3, "quiet_swap", "birch")]
        return []

    def _evaporate(self, days: float) -> None:
        for tank, bath in self.baths.items():
            bath.evaporate(self.evaporation * days * math.exp(self.rng.normal(0, 0.2)))
            if self.family.name.startswith("wet solvent"):
                self.purity[tank] -= 0.01 * days

    def _mind(self, when: float, tank: str) -> None:
        bath, name = self.baths[tank], self.family.name
        seen = bath.saturation_percent + self.rng.normal(0, 0.3)
        moves = self.family.is_pair or name == "moved baths"
        if seen >= self.family.limit_percent and not (moves and tank == "birch"):
            self._move(when) if moves else self._swap(when, tank)
        elif bath.volume_l < 0.93 * bath.capacity_l:
            added = bath.capacity_l * (1 + self.rng.normal(0, 0.015)) - bath.volume_l
            bath.add_solvent(added)
            if name == "unlogged top-up" and tank == "alder" and when > self.at[0]:
                self.room.faults.append(Fault(tank, when, when + 14))
                return
            said = max(0.05, round(added * (1 + self.rng.normal(0, 0.08)), 2))
            self.room.log(kinds.TopUp, when, tank=tank, volume_l=said, to_mark=True)

    def _swap(self, when: float, tank: str) -> None:
        self._refill(when, tank)
        self.room.log(kinds.Swap, when, tank=tank)

    def _quiet_swap(self, when: float, tank: str) -> None:
        if self.baths[tank].saturation_percent > (0.15 if self.family.is_pair else 2):
            self._refill(when, tank)
            self.room.faults.append(Fault(tank, when, when + 30))

    def _refill(self, when: float, tank: str) -> None:
        heel = max(0.0, self.rng.normal(0.02, 0.006))
        held = self.baths[tank].resin_g * heel
        if self.family.name.startswith("wet solvent"):
            self.purity[tank] = LABEL_PURITY_PERCENT - 2
            self.room.faults.append(Fault(tank, when, 1e9))
        self.baths[tank] = self._fresh_bath(tank)
        self.baths[tank].take_out(heel * 20)
        self.baths[tank].resin_g = self.baths[tank].resin_g + held
        self.bias[tank] = 0.5 * self.bias[tank] + self.rng.normal(0, 0.35)

    def _move(self, when: float) -> None:
        """The clean liquid into the dirty tank, fresh solvent into the clean one."""
        dirty, clean = self.baths["alder"], self.baths["birch"]
        dirty.take_out(dirty.volume_l - 0.02 * 20)
        moved = clean.copy()
        moved.take_out(0.02 * 20)
        moved_l = moved.volume_l
        moved.resin_g, moved.solvent_g = (
            moved.resin_g + dirty.resin_g,
            (moved.solvent_g + dirty.solvent_g),
        )
        self.baths["alder"] = moved
        self._refill(when, "birch")
        self.room.log(kinds.Swap, when, tank="alder", from_tank="birch", filled_l=round(moved_l, 2))
        self.room.log(kinds.Swap, when + 0.01, tank="birch")
        for tank in TANKS:
            self._note(tank, when + 0.01)

    def _wash(self, when: float, tank: str) -> None:
        name, bath, rng = self.family.name, self.baths[tank], self.rng
        index = int(name == "resin change" and when > self.days / 2)
        area = self.area_cm2 * math.exp(rng.normal(-0.125, 0.5))
        film = self.films[index] * math.exp(rng.normal(-0.045, 0.3))
        drag_ml = area * self.drag_ml_cm2 * math.exp(rng.normal(0, 0.3))
        bath.wash(0, area * film, drag_ml)
        self._log_wash(when, tank, index, area)
        if self.family.is_pair:
            self._rinse(when, bath, index, area, drag_ml)

    def _rinse(self, when: float, dirty: Bath, index: int, area: float, brought_ml: float) -> None:
        """The parts carry a film of the dirty bath over, and take one of the clean bath away."""
        clean = self.baths["birch"]
        volume_ml = 1000 * dirty.volume_l
        resin = dirty.resin_g * brought_ml / volume_ml
        solvent = dirty.solvent_g * brought_ml / volume_ml
        left_ml = area * self.drag_ml_cm2 * math.exp(self.rng.normal(0, 0.3))
        clean.take_out(left_ml / 1000)
        clean.resin_g = clean.resin_g + resin
        clean.solvent_g += solvent
        later = when + self.rng.uniform(5, 40) / 1440
        self._note("birch", later)
        self._log_wash(later, "birch", index, area)

    def _log_wash(self, when: float, tank: str, index: int, area: float) -> None:
        name, said = self.family.name, area
        if self.rng.random() < self.unlogged:
            return
        if (
            name == "absurd entry"
            and tank == "alder"
            and self.flip < 2
            and when > self.at[self.flip]
        ):
            said = area * 10.0 ** (3 if self.flip else 5)
            self.flip += 1
            self.room.faults.append(Fault(tank, when, when + 20))
        if name == "wrong tank" and tank == "alder" and any(0 <= when - at < 3 for at in self.at):
            if self.flip == 0 or when - self.room.faults[-1].day > 10:
                self.room.faults += [
                    Fault("birch", when, when + 20),
                    Fault("alder", when, when + 20),
                ]
                self.flip += 1
            tank = "birch"
        self.room.log(
            kinds.Wash, when, tank=tank, resin=f"resin{index}",
            area_cm2=min(round(said, 1), 10_000_000.0),
        )  # fmt: skip

    def _percent(self, when: float, tank: str, sd: float) -> float:
        shown = self.baths[tank].saturation_percent
        is_mixed_up = self.family.name == "contradicting" and tank == "alder"
        if is_mixed_up and self.at[0] < when < self.at[0] + 25:
            self.flip += 1
            if self.flip == 1:
                self.room.faults.append(Fault(tank, when, when + 30))
                self.next_read[tank, "residue"] = when + 1
            shown = shown + 6 if self.flip % 2 else shown
        if self._is_of_the_other(when, tank):
            self.room.faults.append(Fault(tank, when - A_MOMENT, when + 20))
            shown = self.baths["birch"].saturation_percent
        if self.rng.random() < 0.02:
            shown = self.rng.uniform(0, 25)
        return float(shown + self.rng.normal(0, sd))

    def _is_of_the_other(self, when: float, tank: str) -> bool:
        """A reading of Birch is entered at Alder: once after each instant, where it could be
        seen."""
        if self.family.name != "reading of the other tank" or tank != "alder":
            return False
        if not any(0 <= when - at < 8 for at in self.at):
            return False
        mine, other = (self.baths[tank].saturation_percent for tank in TANKS)
        is_late = not self.room.faults or when - self.room.faults[-1].day > 10
        return is_late and abs(mine - other) > SEEN_PERCENT

    def _residue(self, when: float, tank: str) -> None:
        every = self.family.residue_days
        if self.family.name == "contradicting" and self.at[0] < when < self.at[0] + 25:
            every = 2
        self.next_read[tank, "residue"] = when + every * self.rng.uniform(0.7, 1.3)
        shown = max(0.0, self._percent(when, tank, 0.16))
        values = {"sample_g": 10.0, "residue_g": round(shown / 10, 3)}
        self.room.log(kinds.Reading, when, tank=tank, method="residue", values=values)

    def _hydrometer(self, when: float, tank: str) -> None:
        self.next_read[tank, "hydrometer"] = when + self.family.hydrometer_days * self.rng.uniform(
            0.7, 1.3
        )
        self.bias[tank] *= math.exp(-3 / 40)
        self.bias[tank] += self.rng.normal(0, 0.17)
        which = int(self.rng.random() < 0.5) if self.family.name == "two hydrometers" else 0
        bias = self.bias[tank] + self.other_bias[which]
        w = (self._percent(when, tank, 0.75) + bias) / 100
        solvent = float(np.interp(self.purity[tank], PURITY_PERCENT, DENSITY_G_ML))
        density = 1 / (w / RESIN_G_ML + (1 - w) / solvent)
        values = {"density_g_ml": round(density, 4), "temperature_c": 20.0}
        named = f"hydrometer-{which + 1}" if self.family.name == "two hydrometers" else None
        self.room.log(
            kinds.Reading, when, tank=tank, method="hydrometer", values=values, instrument=named
        )


def live(family: FaultFamily, seed: int, days: int = 120) -> FaultRoom:
    """A room of this family; the same seed gives the same room."""
    return FaultLife(family, seed, days).run()


def day_of(at: datetime) -> float:
    """Days since the room's start."""
    return (at - moment(0)).total_seconds() / 86_400
