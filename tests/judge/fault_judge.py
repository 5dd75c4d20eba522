"""How near the estimates lie to the truth while something is wrong, and how soon it is named."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from app.domain.baths.estimator import BathBelief, RoomFilter, Settings
from app.domain.roomlog import kinds
from tests.judge.fault_rooms import TANKS, Fault, FaultFamily, FaultRoom, day_of, live
from tests.judge.truth import moment

ALARMS = frozenset([
    "swap_missing", "top_up_missing", "wrong_entry", "wrong_tank", "not_one_bath",
    "reading_disagrees", "washes_missing", "fill_not_fresh", "water_suspected", "sensor_drifting",
    "instrument_off",
])  # fmt: skip
SAID_ANEW = ("swap_missing", "top_up_missing")  # a flag stays up for weeks: its date tells of more
SETTLED_DAY = 14
SURE_LN_SD = 0.02
A_MOMENT = 1e-6  # instants are kept to the microsecond

Named = tuple[float, str, str, bool]
"""Day, tank and name of a flag, and whether it was up before and now is about something new."""


@dataclass
class FaultScore:
    """Of one family: a row for each tank and midnight from the fifteenth day on."""

    family: FaultFamily
    error: list[float] = field(default_factory=list)
    is_inside: list[bool] = field(default_factory=list)
    crps: list[float] = field(default_factory=list)
    tank: list[str] = field(default_factory=list)
    days_after: list[float] = field(default_factory=list)
    named_after: list[float] = field(default_factory=list)
    within_two: int = 0
    faults: int = 0
    false_alarms: int = 0
    months: float = 0.0

    def rmse(self, which: np.ndarray | None = None) -> float:
        error = np.array(self.error)
        error = error if which is None else error[which]
        return float(np.sqrt((error**2).mean())) if len(error) else math.nan

    def coverage(self, which: np.ndarray | None = None) -> float:
        inside = np.array(self.is_inside)
        return float(inside.mean() if which is None else inside[which].mean())

    def of(self, tank: str) -> np.ndarray:
        return np.array(self.tank) == tank

    def after(self, first: float, last: float) -> np.ndarray:
        days = np.array(self.days_after)
        return (days >= first) & (days < last)


def normal_crps(mean: float, sd: float, truth: float) -> float:
    """CRPS of a normal distribution: Gneiting and Raftery, J. Am. Stat. Assoc. 102, 359 (2007),
    equation 5."""
    z = (truth - mean) / sd
    below = 0.5 * math.erfc(-z / math.sqrt(2))
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return sd * (z * (2 * below - 1) + 2 * density - 1 / math.sqrt(math.pi))


def judge_faults(
    family: FaultFamily, seeds: Iterable[int], days: int = 120, *, is_told: bool = False
) -> FaultScore:
    """Let rooms of a family live and hold the estimates against their truth; with `is_told` those
    of a filter that was told the room's constants beforehand, as none can know them."""
    score = FaultScore(family)
    for seed in seeds:
        room = live(family, seed, days)
        _judge_room(room, score, told_of(room) if is_told else Settings())
    return score


def told_of(room: FaultRoom) -> Settings:
    """Settings by which a filter knows a room's constants from its first day on."""
    film_g_cm2, drag_ml_cm2, unlogged, evaporation = room.constants
    usual = Settings()
    median_g_cm2 = film_g_cm2 * math.exp(-(usual.wash_ln_sd**2) / 2) / (1 - unlogged)
    return replace(
        usual, carry_in_g_cm2=median_g_cm2, carry_in_ln_sd=SURE_LN_SD, resin_ln_sd=SURE_LN_SD,
        resin_walk_ln_sd=0.0, drag_out_ml_cm2=drag_ml_cm2, drag_out_ln_sd=SURE_LN_SD,
        unlogged_share=unlogged, evaporation_per_day=evaporation, evaporation_ln_sd=SURE_LN_SD,
    )  # fmt: skip


def _judge_room(room: FaultRoom, score: FaultScore, settings: Settings) -> None:
    state, place = RoomFilter(settings), 0
    alarms: dict[str, dict[str, float]] = {tank: {} for tank in TANKS}
    names: list[Named] = []
    for day in range(1, room.days + 1):
        while place < len(room.entries) and room.entries[place].at <= moment(day):
            entry = room.entries[place]
            effect = state.apply(entry)
            place += 1
            if effect is not None:
                _watch(effect.belief, day_of(entry.at), alarms, names)
        for tank in TANKS:
            belief = state.belief(tank, moment(day))
            _watch(belief, day, alarms, names)
            if day > SETTLED_DAY:
                _note(room, belief, day, score)
    score.months += room.days / 30
    count_names(room, names, score)


def _watch(
    belief: BathBelief, day: float, alarms: dict[str, dict[str, float]], names: list[Named]
) -> None:
    """Note flags that are new, and those that are up already but are about something new."""
    since = {one.name: day_of(one.since) for one in belief.explanations if one.since}
    now = {name: since.get(name, 0.0) for name in ALARMS & set(belief.flags)}
    before = alarms[belief.tank]
    names += [
        (day, belief.tank, name, name in before)
        for name, began in now.items()
        if name not in before or (name in SAID_ANEW and began > before[name] + A_MOMENT)
    ]
    alarms[belief.tank] = now


def _note(room: FaultRoom, belief: BathBelief, day: int, score: FaultScore) -> None:
    truth = room.truth_percent(belief.tank, day)
    past = [day - fault.day for fault in room.faults if fault.tank == belief.tank]
    score.error.append(belief.mean_percent - truth)
    score.is_inside.append(belief.p05_percent <= truth <= belief.p95_percent)
    score.crps.append(normal_crps(belief.mean_percent, max(belief.sd_percent, 1e-6), truth))
    score.tank.append(belief.tank)
    score.days_after.append(min((days for days in past if days >= 0), default=-1.0))


def count_names(room: FaultRoom, names: Sequence[Named], score: FaultScore) -> None:
    """Faults that two readings of their tank had the chance to show: how many were named."""
    for fault in room.faults:
        until = min([fault.until, *_swaps_after(room, fault)])
        read = [
            day_of(entry.at)
            for entry in room.entries
            if isinstance(entry, kinds.Reading)
            and entry.tank == fault.tank
            and fault.day - A_MOMENT < day_of(entry.at) < until
        ]
        if len(read) < 2:
            continue
        score.faults += 1
        found = [
            day
            for day, tank, name, _ in names
            if tank == fault.tank
            and name in room.family.named_by
            and fault.day - A_MOMENT <= day < until
        ]
        score.named_after += [day - fault.day for day in found[:1]]
        score.within_two += bool(found) and found[0] <= read[1] + A_MOMENT
    score.false_alarms += sum(
        not any(f.tank == tank and f.day - A_MOMENT <= day < f.until for f in room.faults)
        for day, tank, _, is_anew in names
        if not is_anew
    )


def _swaps_after(room: FaultRoom, fault: Fault) -> list[float]:
    """When a fault's tank was changed after it, by the log: from then on it misleads no more."""
    return [
        day
        for entry in room.entries
        if isinstance(entry, kinds.Swap)
        and entry.tank == fault.tank
        and (day := day_of(entry.at)) > fault.day + A_MOMENT
    ]


def fault_table(scores: Sequence[FaultScore]) -> str:
    """By family: error, coverage, CRPS, how many faults were named and after how many days."""
    lines = [
        "| family | RMSE | Alder | Birch | 7 to 21 days after | bias | in the 90 % band | CRPS"
        " | named | within two readings | after days | false alarms a month |",
        "|" + " --- |" * 12,
    ]
    for s in scores:
        after = s.after(7, 21)
        named = f"{len(s.named_after)} of {s.faults}" if s.family.named_by else ""
        soon = f"{s.within_two}" if s.family.named_by else ""
        days = f"{np.median(s.named_after):.1f}" if s.named_after else ""
        lines.append(
            f"| {s.family.name} | {s.rmse():.2f} | {s.rmse(s.of('alder')):.2f}"
            f" | {s.rmse(s.of('birch')):.2f} | {f'{s.rmse(after):.2f}' if after.any() else ''}"
            f" | {np.mean(s.error):+.2f} | {s.coverage():.2f} | {np.mean(s.crps):.3f}"
            f" | {named} | {soon} | {days} | {s.false_alarms / s.months:.2f} |"
        )
    return "\n".join(lines)
