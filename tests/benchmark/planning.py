"""How long it takes to find days for the swaps of a large room."""

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from statistics import median
from time import perf_counter
from zoneinfo import ZoneInfo

from app.domain.planning.chance import chances
from app.domain.planning.days import day_of
from app.domain.planning.scheduling import Candidate, Rules, schedule

TANKS, WEEKS, PER_DAY, ROUNDS = 60, 26, 3, 5
ZONE = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def candidates(tanks: int, seed: int = 1) -> list[Candidate]:
    """Swaps of an invented room: baths last two weeks to two months, a third stand in pairs."""
    rng = random.Random(seed)
    found = []
    for number in range(tanks):
        life = rng.uniform(14, 60)
        left = rng.uniform(-2, life)
        early, due, late = (NOW + timedelta(days=left * share) for share in (0.8, 1.0, 1.3))
        course = chances(NOW, ((early, 0.1), (due, 0.5), (late, 0.9)))
        found.append(
            Candidate(
                f"t{number:02d}", 0, day_of(early, ZONE), day_of(due, ZONE), course,
                pair=f"t{number ^ 1:02d}" if number < tanks // 3 else None,
                life_days=life, early_life_days=0.8 * life,
            )
        )  # fmt: skip
    found.sort(key=lambda one: (one.early_on or day_of(NOW, ZONE), one.tank))
    return [replace(one, rank=rank) for rank, one in enumerate(found)]


def measure() -> str:
    """One line: the median time, and how many swaps got a day."""
    swaps = candidates(TANKS)
    rules = Rules(day_of(NOW, ZONE), frozenset({1, 2, 3, 4, 5}), PER_DAY, ZONE, WEEKS)
    times_s = []
    for _ in range(ROUNDS):
        start = perf_counter()
        found = schedule(swaps, rules)
        times_s.append(perf_counter() - start)
    with_day = sum(proposal.day is not None for proposal in found.proposals)
    best = "no other days cost less" if found.is_cheapest else "cheaper days may exist"
    return (
        f"swaps of {TANKS} tanks over {WEEKS} weeks, {PER_DAY} a day: median of {ROUNDS}"
        f" {median(times_s):.3f} s, {with_day} days found; {best}"
    )
