"""Hold the program's estimates and forecasts against the truth of simulated rooms."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from app.domain.baths.backtest import Replay
from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast import HORIZON_DAYS, passing_days
from tests.judge import operational_time
from tests.judge.families import Family
from tests.judge.simulator import Simulated, simulate
from tests.judge.truth import Cycle

STAGES = (0.5, 0.8)
DAY = timedelta(days=1)
SETTLING_DAYS = 14


@dataclass
class Estimates:
    """One row for each tank and midnight: true and estimated saturation, band, fill number."""

    truth: list[float] = field(default_factory=list)
    mean: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    fill: list[int] = field(default_factory=list)

    def rmse(self, first_fill: int = 0) -> float:
        chosen = np.array(self.fill) >= first_fill
        error = (np.array(self.mean) - np.array(self.truth))[chosen]
        return float(np.sqrt((error**2).mean())) if chosen.any() else float("nan")

    def coverage(self) -> float:
        truth = np.array(self.truth)
        return float(((np.array(self.low) <= truth) & (truth <= np.array(self.high))).mean())

    def width(self) -> float:
        return float((np.array(self.high) - np.array(self.low)).mean())

    def bias(self) -> float:
        return float((np.array(self.mean) - np.array(self.truth)).mean())


@dataclass
class Outcome:
    """One forecast against the crossing that came, days."""

    stage: float
    ahead_days: float
    error_days: float
    crps_days: float
    rival_crps_days: float
    rank: float

    @property
    def is_inside(self) -> bool:
        return 0.1 <= self.rank <= 0.9


@dataclass
class Score:
    """All that was judged of one family."""

    family: Family
    estimates: Estimates = field(default_factory=Estimates)
    outcomes: list[Outcome] = field(default_factory=list)

    def at_stage(self, stage: float) -> list[Outcome]:
        return [one for one in self.outcomes if one.stage == stage]


def judge(family: Family, seeds: Iterable[int], days: float = 180) -> Score:
    """Let rooms of a family live, replay their logs, and score what the program says."""
    score = Score(family)
    for seed in seeds:
        judge_room(simulate(family, seed, days), score, seed)
    return score


def judge_room(room: Simulated, score: Score, seed: int) -> None:
    """Replay one room: estimates at each midnight, forecasts at the stages of each cycle."""
    replay = Replay(room.entries)
    asked = [(at, cycle, stage) for cycle in room.cycles for at, stage in moments(room, cycle)]
    start = room.entries[0].at
    midnights = [(start + day * DAY, None, 0.0) for day in range(1, int(room.days))]
    for at, cycle, stage in sorted([*asked, *midnights], key=lambda item: item[0]):
        state = replay.advance(at)
        if cycle is None:
            _note_estimates(room, state, at, score.estimates)
        else:
            outcome = _outcome(state, cycle, stage, at, seed)
            score.outcomes += [outcome] if outcome else []


def moments(room: Simulated, cycle: Cycle) -> list[tuple[datetime, float]]:
    """When to ask for a cycle's forecast: at stages of its way to the limit, before its swap."""
    if cycle.crossed_at is None or cycle.started_at < room.entries[0].at:
        return []
    found = []
    for stage in STAGES:
        at = cycle.started_at + stage * (cycle.crossed_at - cycle.started_at)
        is_settled = at - room.entries[0].at > SETTLING_DAYS * DAY
        if is_settled and (cycle.ended_at is None or at < cycle.ended_at):
            found.append((at, stage))
    return found


def _note_estimates(room: Simulated, state: RoomFilter, at: datetime, into: Estimates) -> None:
    for tank, belief in state.beliefs(at).items():
        into.truth.append(float(room.saturation_percent(tank, [at])[0]))
        into.mean.append(belief.mean_percent)
        into.low.append(belief.p05_percent)
        into.high.append(belief.p95_percent)
        into.fill.append(belief.fill)


def _outcome(
    state: RoomFilter, cycle: Cycle, stage: float, at: datetime, seed: int
) -> Outcome | None:
    assert cycle.crossed_at is not None
    ahead = (cycle.crossed_at - at) / DAY
    days = passing_days(state, cycle.tank, at, np.random.default_rng([seed, 1]))
    rival = operational_time.passing_days(state, cycle.tank, at, np.random.default_rng([seed, 2]))
    days, rival = np.minimum(days, HORIZON_DAYS), np.minimum(rival, HORIZON_DAYS)
    return Outcome(
        stage,
        ahead,
        float(np.median(days)) - ahead,
        crps(days, ahead),
        crps(rival, ahead),
        float((days <= ahead).mean()),
    )


def crps(sample: np.ndarray, truth: float) -> float:
    """Continuous ranked probability score of a sample, in its unit: E|X - y| - E|X - X'| / 2.

    Gneiting and Raftery, J. Am. Stat. Assoc. 102, 359 (2007), equation 21.
    """
    ordered = np.sort(sample)
    n = len(ordered)
    spread = float(((2 * np.arange(1, n + 1) - n - 1) * ordered).sum()) / n**2
    return float(np.abs(ordered - truth).mean()) - spread


def estimate_table(scores: Sequence[Score]) -> str:
    """How near the estimates lay, by family."""
    head = "| family | RMSE | RMSE after the first swap | bias | in the 90 % band | width |"
    lines = [head, "| --- | --- | --- | --- | --- | --- |"]
    for score in scores:
        e = score.estimates
        lines.append(
            f"| {score.family.name} | {e.rmse():.2f} | {e.rmse(1):.2f} | {e.bias():+.2f}"
            f" | {e.coverage():.2f} | {e.width():.2f} |"
        )
    return "\n".join(lines)


def forecast_table(scores: Sequence[Score]) -> str:
    """How near the forecasts lay, by family and stage of the cycle."""
    head = (
        "| family | stage | forecasts | days ahead | median error, days | CRPS, days"
        " | rival's CRPS | inside P10 to P90 | later than P90 |"
    )
    lines = [head, "|" + " --- |" * 9]
    every = [one for score in scores for one in score.outcomes]
    for name, outcomes in [*((s.family.name, s.outcomes) for s in scores), ("all", every)]:
        lines += [_forecast_line(name, stage, outcomes) for stage in STAGES]
    return "\n".join(lines)


def _forecast_line(name: str, stage: float, outcomes: Sequence[Outcome]) -> str:
    chosen = [one for one in outcomes if one.stage == stage]
    if not chosen:
        return f"| {name} | {stage:.0%} | 0 | | | | | | |"
    errors = np.abs([one.error_days for one in chosen])
    return (
        f"| {name} | {stage:.0%} | {len(chosen)} | {np.mean([o.ahead_days for o in chosen]):.1f}"
        f" | {np.median(errors):.1f} | {np.mean([o.crps_days for o in chosen]):.2f}"
        f" | {np.mean([o.rival_crps_days for o in chosen]):.2f}"
        f" | {np.mean([o.is_inside for o in chosen]):.2f}"
        f" | {np.mean([o.rank > 0.9 for o in chosen]):.2f} |"
    )
