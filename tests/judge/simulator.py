"""A room that lives for some months: its log, as people kept it, and the truth beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from app.domain.roomlog import kinds
from tests.judge.families import Family
from tests.judge.room_log import RoomLog
from tests.judge.tank_life import TankLife
from tests.judge.truth import Cycle, RoomTruth, Track, draw_truth


@dataclass(frozen=True)
class Simulated:
    """A room's log in order of `at`, and its truth."""

    family: Family
    entries: tuple[kinds.Entry, ...]
    tracks: dict[str, Track]
    cycles: tuple[Cycle, ...]
    truth: RoomTruth
    days: float

    def saturation_percent(self, tank: str, at: Sequence[datetime]) -> np.ndarray:
        return self.tracks[tank].saturation_percent(at)


def simulate(family: Family, seed: int, days: float = 180) -> Simulated:
    """A room of this family; the same seed gives the same room."""
    rng = np.random.default_rng([seed, *family.name.encode()])
    truth = draw_truth(family, rng)
    log = RoomLog(truth, rng)
    log.set_up(family)
    lives = [TankLife(family, truth, log, f"t{i + 1}", days, rng) for i in range(family.tanks)]
    for life in lives:
        life.run()
    return Simulated(
        family,
        tuple(sorted(log.entries, key=lambda entry: entry.at)),
        {life.tank: life.track for life in lives},
        tuple(cycle for life in lives for cycle in life.cycles),
        truth,
        days,
    )
