"""A room's own load replayed in its baths under other rules, day by day and path by path.

What a day does to a bath is the forecast's arithmetic (baths/forecast/masses.py), what a swap takes
and leaves the filter's (baths/estimator/transitions.py), and the days of swaps are the plan's
(swapdays.py). Arrays have a row a bath and a column a path.
"""

from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.forecast import masses
from app.domain.spend.lanes import NAMES, Baths, Flows, Lanes
from app.domain.spend.loads import Load
from app.domain.spend.swapdays import NOT_SEEN, Crew, swap_days

Array = NDArray[np.floating[Any]]

LOOK_DAYS = 14
PERIOD_DAYS = 7  # days between two looks ahead; less where baths last less than two of them
CALENDAR_DAYS_OF_WORK = 5 / 7  # a bath's life is told from its mean day


def replay(
    lanes: Lanes, load: Load, start: Baths, first: date, crew: Crew, warm_days: int = 0
) -> Flows:
    """What goes through baths that take a load from `first` on.

    Args:
        warm_days: whole weeks of the load that come before it and are not counted.
    """
    run = _Run(lanes, load, start.copy(), warm_days)
    period = _period(lanes, load)
    for begin in range(0, load.days + warm_days, period):
        early, due = run.look_ahead(begin)
        today = first + timedelta(begin - warm_days)
        swaps = swap_days(early, due, today, LOOK_DAYS, crew)
        for day in range(begin, min(begin + period, load.days + warm_days)):
            if day == warm_days:
                run.totals = run.nothing()
            run.renew(swaps == day - begin)
            run.live(day)
    return Flows(**run.totals, end=run.baths)


def _period(lanes: Lanes, load: Load) -> int:
    """Days between looks ahead, so that no bath is due twice in between."""
    mean_g = load.resin_g.mean(axis=(1, 2)) / CALENDAR_DAYS_OF_WORK
    resin_g, _ = lanes.full(lanes.limit_percent * lanes.renew_share)
    life = float((resin_g[:, 0] / np.maximum(mean_g, 1e-9)).min())
    return int(min(PERIOD_DAYS, max(1, life / 2)))


class _Run:
    """The baths on their way through the days."""

    def __init__(self, lanes: Lanes, load: Load, baths: Baths, warm_days: int) -> None:
        self.lanes, self.load, self.baths, self.warm_days = lanes, load, baths, warm_days
        self.shape = (len(lanes.capacity_l), load.paths)
        self.totals = self.nothing()
        self.has_pairs = bool(lanes.has_clean.any())
        # What a stretch of days reads, day first, so that a day is one block of memory.
        self.resin_in_g = np.ascontiguousarray(load.resin_g.swapaxes(0, 1))
        self.film_l = np.ascontiguousarray(load.film_l.swapaxes(0, 1))

    def nothing(self) -> dict[str, Any]:
        """Totals of nothing."""
        return {name: np.zeros(self.shape) for name in NAMES}

    def index(self, day: int) -> int:
        """Which day of the load a day takes; those before the first take a later year's."""
        past = day - self.warm_days
        return past if past >= 0 else past % (7 * max(1, self.load.days // 7))

    def look_ahead(self, begin: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The days on which the baths meet their limits early and in the middle, unless swapped."""
        lanes, ahead = self.lanes, self.baths.copy()
        early = np.full(self.shape, NOT_SEEN, dtype=np.int64)
        due = early.copy()
        last = self.load.days + self.warm_days
        for n in range(LOOK_DAYS):
            if begin + n < last:
                self._work(ahead, self.index(begin + n))
            percent = masses.percent_of(ahead.resin_g, ahead.solvent_g)
            ends = (ahead.age_days > lanes.life_days) | (ahead.washes > lanes.life_washes)
            early = np.where((early == NOT_SEEN) & (ends | (percent >= lanes.early_percent)), n,
                             early)  # fmt: skip
            is_due = ends | (percent >= np.maximum(lanes.limit_percent, lanes.early_percent))
            due = np.where((due == NOT_SEEN) & is_due, n, due)
        return early, np.where(due == NOT_SEEN, early + LOOK_DAYS, due)

    def live(self, day: int) -> None:
        """A day: what stands low is topped up, then parts are washed and solvent dries."""
        at, lanes, totals = self.index(day), self.lanes, self.totals
        percent = masses.percent_of(self.baths.resin_g, self.baths.solvent_g)
        totals["past_washes"] += self.load.washes[:, at, None] * (percent >= lanes.limit_percent)
        self._work(self.baths, at, totals)

    def _work(self, baths: Baths, at: int, totals: dict[str, Any] | None = None) -> None:
        lanes = self.lanes
        before_g = baths.solvent_g
        level_l = lanes.level_l(baths.resin_g, before_g)
        added_l = masses.missing_l(level_l, lanes.below_l, lanes.capacity_l)
        solvent_g = before_g + added_l * (1000 * lanes.solvent_g_ml)
        level_l = level_l + added_l
        out_l = self.film_l[at] + lanes.removed_l
        kept = masses.kept_share(out_l, level_l)
        film = (1 - kept) * (self.film_l[at] / np.maximum(out_l, 1e-12))
        evaporated_g = lanes.evaporated_g * (at >= lanes.since_day)
        load_g = self.resin_in_g[at]
        moved = baths.resin_g, solvent_g, film
        baths.resin_g, baths.solvent_g = masses.after_work(
            baths.resin_g, solvent_g, kept, load_g, evaporated_g
        )
        baths.age_days = baths.age_days + (at >= lanes.since_day)
        baths.washes = baths.washes + self.load.washes[:, at, None]
        if totals is not None:
            self._count(totals, moved, kept, added_l, load_g, evaporated_g)
        left_g = None
        if self.has_pairs:
            left_g = self._work_clean(baths, at, moved, evaporated_g, totals)
        if totals is not None:
            totals["residue_g"] += self._left_g(at, moved, left_g)

    def _count(
        self, totals: dict[str, Any], moved: tuple[Array, Array, Array], kept: Array,
        added_l: Array, load_g: Array, evaporated_g: Array,
    ) -> None:  # fmt: skip
        resin_g, solvent_g, film = moved
        removed = 1 - kept - film
        totals["fresh_l"] += added_l
        totals["resin_in_kg"] += load_g / 1000
        totals["lost_kg"] += (evaporated_g + film * solvent_g * ~self.lanes.has_clean) / 1000
        totals["waste_l"] += removed * self.lanes.level_l(resin_g, solvent_g)
        totals["waste_kg"] += removed * (resin_g + solvent_g) / 1000
        totals["waste_resin_kg"] += removed * resin_g / 1000

    def _work_clean(
        self, baths: Baths, at: int, moved: tuple[Array, Array, Array], evaporated_g: Array,
        totals: dict[str, Any] | None,
    ) -> Array:  # fmt: skip
        """The film of the first bath goes into the one behind it; grams of resin that leave it."""
        lanes, has = self.lanes, self.lanes.has_clean
        resin_g, solvent_g, film = moved
        before_g = baths.clean_solvent_g
        level_l = lanes.level_l(baths.clean_resin_g, before_g)
        added_l = masses.missing_l(level_l, lanes.below_l, lanes.capacity_l) * has
        clean_g = before_g + added_l * (1000 * lanes.solvent_g_ml)
        kept = masses.kept_share(self.film_l[at], level_l + added_l)
        left_g = (1 - kept) * baths.clean_resin_g
        baths.clean_resin_g, dried_g = masses.after_work(
            baths.clean_resin_g, clean_g, kept, film * resin_g, evaporated_g
        )
        baths.clean_solvent_g = dried_g + film * solvent_g
        if totals is not None:
            totals["fresh_l"] += added_l
            totals["lost_kg"] += (evaporated_g + (1 - kept) * clean_g) * has / 1000
        return left_g

    def _left_g(self, at: int, moved: tuple[Array, Array, Array], clean_g: Array | None) -> Array:
        """Resin that parts take along with the film of their last bath."""
        lanes = self.lanes
        resin_g, solvent_g, film = moved
        g_l = resin_g / lanes.level_l(resin_g, solvent_g)
        own = (lanes.last == np.arange(self.shape[0]))[:, None]
        left_g = np.where(own, film * resin_g, self.film_l[at] * g_l[lanes.last])
        if clean_g is not None:
            left_g = np.where(lanes.has_clean, clean_g, left_g)
        found: Array = left_g * lanes.is_last
        return found

    def renew(self, is_due: NDArray[np.bool_]) -> None:
        """Drain the baths that are due, or a share of them, and fill them to the mark."""
        if not is_due.any():
            return
        lanes, baths, totals = self.lanes, self.baths, self.totals
        whole = lanes.renew_share >= 1 - lanes.heel
        share = min(lanes.renew_share, 1 - lanes.heel) * is_due
        percent = masses.percent_of(baths.resin_g, baths.solvent_g)
        rinse_l = lanes.rinse_l * (is_due & whole)
        totals["renewals"] += is_due
        totals["drained_share"] += is_due * percent / lanes.limit_percent
        totals["rinse_l"] += rinse_l
        totals["waste_l"] += share * lanes.level_l(baths.resin_g, baths.solvent_g) + rinse_l
        whole_g = baths.resin_g + baths.solvent_g
        totals["waste_kg"] += share * whole_g / 1000 + rinse_l * lanes.solvent_g_ml
        totals["waste_resin_kg"] += share * baths.resin_g / 1000
        baths.resin_g = baths.resin_g * (1 - share)
        baths.solvent_g = baths.solvent_g * (1 - share)
        if self.has_pairs:
            self._move_up(share)
        self._fill(is_due)
        baths.age_days = np.where(is_due & whole, 0.0, baths.age_days)
        baths.washes = np.where(is_due & whole, 0.0, baths.washes)

    def _move_up(self, share: Array) -> None:
        """The liquid of the bath behind takes the place of what was drained."""
        lanes, baths = self.lanes, self.baths
        share = share * lanes.has_clean
        baths.resin_g = baths.resin_g + share * baths.clean_resin_g
        baths.solvent_g = baths.solvent_g + share * baths.clean_solvent_g
        baths.clean_resin_g = baths.clean_resin_g * (1 - share)
        baths.clean_solvent_g = baths.clean_solvent_g * (1 - share)
        level_l = lanes.level_l(baths.clean_resin_g, baths.clean_solvent_g)
        added_l = np.maximum(lanes.capacity_l - level_l, 0.0) * (share > 0)
        baths.clean_solvent_g = baths.clean_solvent_g + added_l * (1000 * lanes.solvent_g_ml)
        self.totals["fresh_l"] += added_l

    def _fill(self, is_due: NDArray[np.bool_]) -> None:
        lanes, baths = self.lanes, self.baths
        level_l = lanes.level_l(baths.resin_g, baths.solvent_g)
        added_l = np.maximum(lanes.capacity_l - level_l, 0.0) * is_due
        baths.solvent_g = baths.solvent_g + added_l * (1000 * lanes.solvent_g_ml)
        self.totals["fresh_l"] += added_l
