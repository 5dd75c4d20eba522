"""The forecast's rival: first passage of a Brownian motion with drift, in operational time.

Time is counted in washes instead of days, so that the week's rhythm drops out; a bath's load is
then a drift with a diffusion, and the washes until the limit follow an inverse Gaussian (Wald)
distribution. See Chhikara and Folks, The Inverse Gaussian Distribution (1989), chapter 2.
"""

import math
from datetime import datetime

import numpy as np

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast.calendar import steps_ahead
from app.domain.baths.forecast.loads import carry_in, usual_loads
from app.domain.baths.forecast.outlook import habits_of, pace_of
from app.domain.baths.forecast.pace import LEVEL_DAYS, LEVEL_LN_SD

DRAWS = 2000


def passing_days(
    room: RoomFilter, tank: str, now: datetime, rng: np.random.Generator
) -> np.ndarray:
    """Days from `now` until the limit is passed, one value a draw; infinite beyond the horizon."""
    belief = room.belief(tank, now)
    habits, others = habits_of(room, tank)
    tempo = pace_of(habits, others, now)
    steps = steps_ahead(tempo, now, habits.zone, 365)
    draws = room.draw(tank, now, DRAWS, rng)
    pool = [habits] if habits.loads else others
    carried = carry_in(draws, sorted({load.resin for one in pool for load in one.loads}))
    loads = usual_loads(pool, carried, rng)
    limit = belief.limit_percent / 100
    missing_g = limit / (1 - limit) * draws.solvent_g - draws.resin_g
    ln_level = 0.5 * tempo.level_ln  # today's level fades over the weeks to come
    base_sd = math.sqrt(tempo.covariance[0, 0])
    per_day = np.exp(tempo.base_ln + ln_level + base_sd * rng.standard_normal(DRAWS))
    drift = np.maximum(loads.mean_g, 1e-9)
    wandering = 2 * LEVEL_LN_SD**2 * LEVEL_DAYS * per_day
    diffusion = drift**2 * (loads.square_ratio + wandering)
    missing_g = np.maximum(missing_g, 1e-6)
    washes = rng.wald(missing_g / drift, missing_g**2 / diffusion)
    days = np.cumsum(np.concatenate([[0.0], steps.days]))
    mean_days = np.cumsum(np.concatenate([[0.0], steps.washes]))
    return np.interp(washes / per_day, mean_days, days, right=np.inf)
