"""What plans tell about the days to come, and how much of the usual work they already show."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast.calendar import DAY, Steps
from app.domain.baths.forecast.loads import CarryIn
from app.domain.baths.forecast.paths import Plans
from app.domain.baths.habits import Habits
from app.domain.roomlog.kinds import PlannedWash

Array = NDArray[np.float64]

KEPT_PRIOR, MISSED_PRIOR = 4.0, 0.7
FULL_CALENDAR_LEAD_DAYS = 60.0
PLAN_LN_SD = 0.32


def open_plans(room: RoomFilter, tank: str, now: datetime) -> list[PlannedWash]:
    """The tank's plans that still lie ahead."""
    return [plan for plan in room.plans if plan.tank == tank and plan.at >= now]


def kept_share(habits: Habits) -> float:
    """The share of plans that is washed as planned, held towards a usual one while few are past."""
    kept = habits.plans_kept + KEPT_PRIOR
    return kept / (kept + habits.plans_missed + MISSED_PRIOR)


def plans_ahead(
    habits: Habits, plans: Sequence[PlannedWash], carried: CarryIn, steps: Steps
) -> Plans:
    """The load of open plans by step, and the share of usual washes they stand for."""
    chance = kept_share(habits)
    by_step: dict[int, tuple[Array, Array]] = {}
    for plan in plans:
        step = steps.index_of(plan.at)
        if step >= len(steps.days):
            continue
        resin, measure, size = carried.group(plan)
        grams = size * carried.cm2[measure] * carried.grams[resin]
        square = chance * (np.exp(PLAN_LN_SD**2) - chance) * grams**2
        mean, variance = by_step.get(step, (np.zeros_like(grams), np.zeros_like(grams)))
        by_step[step] = (mean + chance * grams, variance + square)
    single = {
        step: (mean.astype(np.float32), variance.astype(np.float32))
        for step, (mean, variance) in by_step.items()
    }
    return Plans(single, _covered_share(habits, plans, steps))


def _covered_share(habits: Habits, plans: Sequence[PlannedWash], steps: Steps) -> Array:
    """Of the usual washes in each step, those that would be planned and known by now."""
    covered = np.zeros(len(steps.days))
    if not plans or not habits.loads:
        return covered
    planned = np.mean([load.is_planned for load in habits.loads])
    ends_days = np.cumsum(steps.days)
    leads = np.array(habits.leads_days or [7.0])
    known = (leads[None, :] >= ends_days[:, None]).mean(axis=1)
    if np.median(leads) > FULL_CALENDAR_LEAD_DAYS:
        last = max(plan.at for plan in plans) - steps.now + DAY
        known *= ends_days <= last / DAY
    return np.asarray(planned * known)
