"""A room whose masses and carry-in are known to the forecast: what is left is its own error."""

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from app.domain.baths.estimator import BathBelief, Draws, Settings
from app.domain.baths.habits import Habits
from app.domain.roomlog import kinds
from app.domain.roomlog.history import effective
from tests.judge.simulator import Simulated
from tests.judge.truth import moment


@dataclass
class KnownTank:
    capacity_l: float
    min_l: float | None


class KnownRoom:
    """Stands where a filter stands, but knows the truth within `percent_sd` and `film_ln_sd`."""

    def __init__(
        self, room: Simulated, now: datetime, percent_sd: float = 0.35, film_ln_sd: float = 0.08
    ) -> None:
        self.room, self.percent_sd, self.film_ln_sd = room, percent_sd, film_ln_sd
        self.settings = Settings()
        known = effective(entry for entry in room.entries if entry.known_at <= now)
        self.habits: dict[str, Habits] = defaultdict(lambda: Habits(UTC))
        for entry in known:
            if isinstance(entry, kinds.Load | kinds.TopUp | kinds.Removal | kinds.Swap):
                self.habits[entry.tank].observe(entry)
        tanks = [entry for entry in known if isinstance(entry, kinds.Tank)]
        self.tanks = {tank.tank: KnownTank(tank.capacity_l, tank.min_l) for tank in tanks}
        self.definitions = {tank.tank: tank for tank in tanks}
        self.plans = [e for e in known if isinstance(e, kinds.PlannedWash) and e.at >= now]

    def belief(self, tank: str, at: datetime) -> BathBelief:
        percent = float(self.room.saturation_percent(tank, [at])[0])
        limit = self.definitions[tank].limit_percent or 10.0
        fields = dict.fromkeys(BathBelief.__dataclass_fields__)
        stated = {
            "tank": tank, "at": at, "mean_percent": percent, "sd_percent": self.percent_sd,
            "p05_percent": percent - 1.645 * self.percent_sd,
            "p95_percent": percent + 1.645 * self.percent_sd,
            "limit_percent": limit, "stop_percent": 1.2 * limit,
            "solvent_density_g_ml": 0.788, "resin_density_g_ml": 1.11,
        }  # fmt: skip
        return BathBelief(**(fields | stated))

    def fed_from(self, _tank: str) -> str | None:
        """The dirty bath of a pair that feeds this one: what is simulated has no pairs."""
        return None

    def draw(self, tank: str, at: datetime, n: int, rng: np.random.Generator) -> Draws:
        track = self.room.tracks[tank]
        days = (at - moment(0)).total_seconds() / 86_400
        index = np.searchsorted(track.days, days, side="right") - 1
        resin, solvent = track.resin_g[index], track.solvent_g[index]
        shift = self.percent_sd / 100 * (resin + solvent)
        truth = self.room.truth
        # Washes that nobody logs come in beside the logged ones.
        film = [math.log(r.dissolved_g_cm2 / (1 - truth.unlogged_share)) for r in truth.resins]
        return Draws(
            resin_g=np.maximum(0, resin + shift * rng.standard_normal(n)),
            solvent_g=np.full(n, solvent),
            evaporation_per_day=np.full(n, 0.005),
            ln_carry_in_g_cm2=np.array(film) + self.film_ln_sd * rng.standard_normal((n, 1)),
            resins=tuple(r.key for r in truth.resins),
            ln_cm2_per_g=np.full(n, math.log(truth.cm2_per_g)),
            ln_cm2_per_part=np.full(n, math.log(truth.cm2_per_part)),
        )
