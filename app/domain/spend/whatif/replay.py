"""A room's own load replayed in its baths under other rules, day by day and path by path.

What a day does to a bath is the forecast's arithmetic (baths/forecast/masses.py), what a swap takes
and leaves the filter's (baths/estimator/transitions.py). Arrays have a row a bath and a column a
path, or one column where paths do not differ.

The days of swaps are chosen as the plan chooses them: a swap aims at the last working day before
its early day; each working day before that is given away, no day from then on is taken while
another is free (planning/scheduling.py). For all paths at once this is found by filling days from
the last back. Where the two baths of a pair would meet on a day, the plan's own costs and its
search for the cheapest days decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.forecast import masses
from app.domain.planning.assignment import cheapest_days
from app.domain.planning.chance import Chances
from app.domain.planning.days import starts_at
from app.domain.planning.scheduling import Candidate, Rules, costs_of
from app.domain.spend.whatif.loads import Load
from app.domain.workdays import WorkCalendar

Array = NDArray[np.floating[Any]]

NAMES = (
    "renewals", "fresh_l", "rinse_l", "waste_l", "waste_kg", "waste_resin_kg", "residue_g",
    "resin_in_kg", "brought_g", "lost_kg", "past_washes", "drained_share",
)  # fmt: skip

Whole = NDArray[np.int64]
NOT_SEEN = 10_000  # the limit is not met within the days looked at
NO_DAY = -1
MONDAY = date(2024, 1, 1)
LOOK_DAYS = 14
PERIOD_DAYS = 7  # days between two looks ahead; less where baths last less than two of them
CALENDAR_DAYS_OF_WORK = 5 / 7  # a bath's life is told from its mean day


@dataclass(frozen=True)
class Vessels:
    """The baths of a case side by side; columns of one number where paths do not differ.

    Attributes:
        below_l: topped up to the mark below it. removed_l: taken out a day.
        evaporated_g: a day.
        early_percent: from here on a swap is early due, by path; limit_percent: the limit itself.
        life_days, life_washes: infinite where they end no bath.
        renew_share: share of the bath that is changed when it is due: 1 is a swap.
        behind: row of the clean bath that parts go on to, with a film of this one; its own row
            where they leave. carry: how many times the resin of that film they bring into it.
        moves: at a swap the liquid of the clean bath behind takes the place of what is drained, and
            the clean one is filled afresh; the pair is swapped as soon as either is due.
        since_day: the bath is in use from that day on.
        heel: share of a drained bath that stays.
    """

    capacity_l: Array
    below_l: Array
    removed_l: Array
    solvent_g_ml: Array
    resin_g_ml: Array
    evaporated_g: Array
    early_percent: Array
    limit_percent: Array
    life_days: Array
    life_washes: Array
    rinse_l: Array
    behind: NDArray[np.int64]
    carry: Array
    moves: NDArray[np.bool_]
    since_day: NDArray[np.int64]
    renew_share: float = 1.0
    heel: float = 0.02

    @property
    def passes(self) -> NDArray[np.bool_]:
        """Baths whose parts go on to another."""
        found: NDArray[np.bool_] = (self.behind != np.arange(len(self.behind)))[:, None]
        return found

    @property
    def into(self) -> Array:
        """1 where the parts of a bath (column) go on to another (row)."""
        found = np.zeros((len(self.behind), len(self.behind)))
        for row, behind in enumerate(self.behind):
            found[behind, row] = float(behind != row)
        return found

    @property
    def firsts(self) -> NDArray[np.bool_]:
        """Baths that parts come to first: those that no other stands before."""
        found: NDArray[np.bool_] = (self.into.sum(axis=1) == 0)[:, None]
        return found

    @property
    def last(self) -> NDArray[np.int64]:
        """Row of the bath whose liquid leaves on the parts of each."""
        last = self.behind
        for _ in last:
            last = last[last]
        return last

    def level_l(self, resin_g: Array, solvent_g: Array) -> Array:
        """Volume of liquids of these baths."""
        return masses.volume_l(resin_g, solvent_g, self.resin_g_ml, self.solvent_g_ml)

    def full(self, percent: Array) -> tuple[Array, Array]:
        """Resin and solvent of baths at their mark with a saturation."""
        share = percent / 100
        density = 1 / (share / self.resin_g_ml + (1 - share) / self.solvent_g_ml)
        whole_g = 1000 * self.capacity_l * density
        return share * whole_g, (1 - share) * whole_g


@dataclass
class Baths:
    """Masses of the baths and what has passed since each fill."""

    resin_g: Array
    solvent_g: Array
    age_days: Array
    washes: Array

    def copy(self) -> "Baths":
        """A copy that goes its own way."""
        return Baths(*(value.copy() for value in vars(self).values()))


@dataclass
class Flows:
    """What went through each bath by path.

    Attributes:
        renewals: swaps, or renewals of a part.
        fresh_l: fresh solvent into baths; `rinse_l` for rinsing and the squirt bottle.
        waste_l, waste_kg, waste_resin_kg: drained or taken out, with the rinse.
        residue_g: resin that left on parts with the film of their last bath.
        brought_g: resin that parts brought along from the bath before, beyond which `resin_in_kg`
            is new.
        lost_kg: solvent evaporated or dragged out.
        past_washes: washes in a bath past its limit.
        drained_share: saturations at the swaps, as shares of the limit, summed.
    """

    renewals: Array
    fresh_l: Array
    rinse_l: Array
    waste_l: Array
    waste_kg: Array
    waste_resin_kg: Array
    residue_g: Array
    resin_in_kg: Array
    brought_g: Array
    lost_kg: Array
    past_washes: Array
    drained_share: Array
    end: Baths = field(repr=False)


def start_at(vessels: Vessels, percent: Array) -> Baths:
    """Baths at their mark with a saturation."""
    resin_g, solvent_g = vessels.full(percent)
    share = np.clip(percent / vessels.limit_percent, 0, 1)
    life = np.where(np.isfinite(vessels.life_days), vessels.life_days, 0.0)
    washes = np.where(np.isfinite(vessels.life_washes), vessels.life_washes, 0.0)
    return Baths(resin_g, solvent_g, share * life, share * washes)


def rows_of(values: Sequence[float]) -> Array:
    """A column of one number a bath."""
    return np.array(values, dtype=float).reshape(-1, 1)


@dataclass(frozen=True)
class Crew:
    """Who swaps, and when.

    Attributes:
        weekdays: working days after ISO 8601, Monday is 1.
        per_day: swaps that can be done on a day.
        pairs: rows of baths that are not swapped on the same day.
    """

    weekdays: frozenset[int]
    per_day: int
    pairs: Sequence[tuple[int, int]] = ()


def swap_days(early: Whole, due: Whole, first: date, look: int, crew: Crew) -> Whole:
    """The day of each bath's next swap by path, counted from `first`; `NO_DAY` where none is due.

    Args:
        early, due: by bath and path, the days on which the limit is met early and in the middle.
        look: days looked at, whole weeks.
    """
    working = np.array(
        [n for n in range(look) if (first + timedelta(n)).isoweekday() in crew.weekdays]
    )
    is_due = early < look
    target = np.maximum(np.searchsorted(working, early, side="left") - 1, 0)
    order = np.where(is_due, -early, NOT_SEEN)
    place = _latest_free(target, is_due, order, len(working), crew.per_day)
    short = np.flatnonzero((is_due & (place == NO_DAY)).any(axis=0))
    if len(short):
        some = target[:, short], is_due[:, short], -order[:, short]
        place[:, short] = _latest_free(*some, len(working), crew.per_day)
    for path in short:
        _late_ones(place[:, path], early[:, path], is_due[:, path], len(working), crew.per_day)
    for path in np.flatnonzero(_has_clash(place, crew)):
        rows = np.flatnonzero(is_due[:, path])
        found = _cheapest(rows, early[:, path], due[:, path], first, look, crew)
        place[rows, path] = [NO_DAY if one is None else one for one in found]
    return np.where(place == NO_DAY, NO_DAY, working[place])


def _latest_free(
    target: Whole, is_due: NDArray[np.bool_], order: Whole, working: int, per_day: int
) -> Whole:
    """The latest free working day up to each target, the last days given away first.

    With a price on each day given away, no other choice costs less: the sum of days is largest when
    each slot, from the last back, goes to any swap that may still take it. Of several the one of
    the lowest order gets the later day: the one that is early due last, as the plan has it. Where
    not all find a day it is the other way round, so that those left over are due last.
    """
    place = np.full(target.shape, NO_DAY, dtype=np.int64)
    for day in range(working - 1, -1, -1):
        may = is_due & (place == NO_DAY) & (target >= day)
        if not may.any():
            continue
        rows = np.argsort(np.where(may, order, NOT_SEEN + 1), axis=0, kind="stable")[:per_day]
        taken = np.take_along_axis(may, rows, axis=0)
        kept = np.take_along_axis(place, rows, axis=0)
        np.put_along_axis(place, rows, np.where(taken, day, kept), axis=0)
    return place


def _late_ones(
    place: Whole, early: Whole, is_due: NDArray[np.bool_], working: int, per_day: int
) -> None:
    """Those that no day up to their target is free for: the first free days, the most urgent
    first; those that find none wait for the next look ahead."""
    free = per_day - np.bincount(place[place >= 0], minlength=working)
    waiting = np.flatnonzero(is_due & (place == NO_DAY))
    slots = np.repeat(np.arange(working), np.maximum(free, 0))[: len(waiting)]
    for row, day in zip(waiting[np.argsort(early[waiting], kind="stable")], slots, strict=False):
        place[row] = day


def _has_clash(place: Whole, crew: Crew) -> NDArray[np.bool_]:
    """Paths in which both baths of a pair stand on a day."""
    clash = np.zeros(place.shape[1], dtype=bool)
    for one, other in crew.pairs:
        clash |= (place[one] == place[other]) & (place[one] != NO_DAY)
    return clash


def _cheapest(
    rows: Whole, early: Whole, due: Whole, first: date, look: int, crew: Crew
) -> tuple[int | None, ...]:
    asked = first.isoweekday(), look, crew.weekdays
    costs = np.array([_costs(int(early[row]), int(due[row]), *asked) for row in rows])
    place = {int(row): n for n, row in enumerate(rows)}
    apart = [(place[a], place[b]) for a, b in crew.pairs if a in place and b in place]
    return cheapest_days(costs, [crew.per_day] * costs.shape[1], apart).chosen


@lru_cache(maxsize=8192)
def _costs(
    early: int, due: int, weekday: int, look: int, weekdays: frozenset[int]
) -> tuple[int, ...]:
    """What the plan lets a swap cost on each working day, by the days on which it is due.

    Its course is what the plan gives to those whose life alone is known; those early due come
    first in the queue.
    """
    first = MONDAY + timedelta(weekday - 1)
    rules = Rules(first, WorkCalendar(weekdays), 1, UTC, look // 7)
    early_on, due_on = first + timedelta(early), first + timedelta(due)
    late_on = due_on + (due_on - early_on)
    points = ((first, 0.0), (early_on, 0.1), (due_on, 0.5), (late_on, 0.9))
    course = Chances(tuple((starts_at(day, UTC), chance) for day, chance in points))
    return tuple(costs_of(Candidate("", early, early_on, due_on, course), rules, rules.days))


def replay(
    vessels: Vessels, load: Load, start: Baths, first: date, crew: Crew, warm_days: int = 0
) -> Flows:
    """What goes through baths that take a load from `first` on.

    Parts of a bath that has another behind it go through that as well: of the load they take its
    film, and what they bring into it is what they carry of the bath before.

    Args:
        warm_days: whole weeks of the load that come before it and are not counted.
    """
    run = _Run(vessels, load, start.copy(), warm_days)
    period = _period(vessels, run)
    for begin in range(0, load.days + warm_days, period):
        swaps = run.swap_days(begin, first + timedelta(begin - warm_days), crew)
        for day in range(begin, min(begin + period, load.days + warm_days)):
            if day == warm_days:
                run.totals = run.nothing()
            renewed = run.renew(swaps == day - begin)
            swaps = np.where(renewed, NO_DAY, swaps)  # fresh now, whatever day it had
            run.live(day)
    return Flows(**run.totals, end=run.baths)


def _period(vessels: Vessels, run: "_Run") -> int:
    """Days between looks ahead, so that no bath is due twice in between."""
    daily_g = run.resin_in_g.mean(axis=(0, 2))
    limit_g, limit_solvent_g = vessels.full(np.minimum(vessels.limit_percent, 100.0))
    g_l = limit_g / vessels.level_l(limit_g, limit_solvent_g)
    brought_g = (
        run.film_l.mean(axis=(0, 2)) * (g_l * vessels.carry).mean(axis=1) * vessels.passes[:, 0]
    )
    mean_g = (daily_g + vessels.into @ brought_g) / CALENDAR_DAYS_OF_WORK
    life = float((limit_g[:, 0] * vessels.renew_share / np.maximum(mean_g, 1e-9)).min())
    return int(min(PERIOD_DAYS, max(1, life / 2)))


class _Run:
    """The baths on their way through the days."""

    def __init__(self, vessels: Vessels, load: Load, baths: Baths, warm_days: int) -> None:
        self.vessels, self.load, self.baths, self.warm_days = vessels, load, baths, warm_days
        self.shape = (len(vessels.capacity_l), load.paths)
        self.totals = self.nothing()
        self.last, self.passes, self.firsts = vessels.last, vessels.passes, vessels.firsts
        self.passing = np.flatnonzero(self.passes)
        self.has_pairs = bool(len(self.passing))
        self.is_shared = len(set(vessels.behind[self.passing])) < len(self.passing)
        ends = np.minimum(np.minimum(vessels.limit_percent, vessels.life_days), vessels.life_washes)
        self.ending = np.flatnonzero(np.isfinite(ends).any(axis=1))
        self.washes = self._through(load.washes[:, :, None])[:, :, 0]
        self.washes = np.where(self.firsts | (load.washes.sum(axis=1, keepdims=True) == 0),
                               self.washes, load.washes)  # fmt: skip
        # What a stretch of days reads, day first, so that a day is one block of memory.
        self.resin_in_g = np.ascontiguousarray(
            (load.resin_g * self.firsts[:, :, None]).swapaxes(0, 1)
        )
        self.film_l = np.ascontiguousarray(self._through(load.film_l).swapaxes(0, 1))

    def _through(self, own: Array) -> Array:
        """What goes through each bath, by row and day, of what goes into the first ones."""
        whole = own * self.firsts[:, :, None]
        going = {int(row): whole[row] for row in self.passing if self.firsts[row]}
        while going:  # from bath to bath, up to the last ones
            came: dict[int, Array] = {}
            for row, part in going.items():
                behind = int(self.vessels.behind[row])
                came[behind] = came[behind] + part if behind in came else part
            for row, part in came.items():
                whole[row] = whole[row] + part
            going = {row: part for row, part in came.items() if self.passes[row]}
        return whole

    def nothing(self) -> dict[str, Any]:
        """Totals of nothing."""
        return {name: np.zeros(self.shape) for name in NAMES}

    def index(self, day: int) -> int:
        """Which day of the load a day takes; those before the first take a later year's."""
        past = day - self.warm_days
        return past if past >= 0 else past % (7 * max(1, self.load.days // 7))

    def swap_days(self, begin: int, today: date, crew: Crew) -> NDArray[np.int64]:
        """The days of the next swaps, counted from today; baths without an end of their own have
        none."""
        early, due = self.look_ahead(begin)
        swaps = np.full(self.shape, NO_DAY, dtype=np.int64)
        place = {int(row): n for n, row in enumerate(self.ending)}
        pairs = tuple((place[a], place[b]) for a, b in crew.pairs)
        some = replace(crew, pairs=pairs)
        swaps[self.ending] = swap_days(early[self.ending], due[self.ending], today, LOOK_DAYS, some)
        return swaps

    def onto(self, given: Array) -> Array:
        """What goes from each bath to the one behind it, by the row of that one."""
        found = np.zeros(self.shape)
        if self.is_shared:
            np.add.at(found, self.vessels.behind[self.passing], given[self.passing])
        else:
            found[self.vessels.behind[self.passing]] = given[self.passing]
        return found

    def look_ahead(self, begin: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The days on which the baths meet their limits early and in the middle, unless swapped."""
        vessels, ahead = self.vessels, self.baths.copy()
        early = np.full(self.shape, NOT_SEEN, dtype=np.int64)
        due = early.copy()
        last = self.load.days + self.warm_days
        for n in range(LOOK_DAYS):
            if begin + n < last:
                self._work(ahead, self.index(begin + n))
            percent = masses.percent_of(ahead.resin_g, ahead.solvent_g)
            ends = (ahead.age_days > vessels.life_days) | (ahead.washes > vessels.life_washes)
            early = np.where((early == NOT_SEEN) & (ends | (percent >= vessels.early_percent)), n,
                             early)  # fmt: skip
            is_due = ends | (percent >= np.maximum(vessels.limit_percent, vessels.early_percent))
            due = np.where((due == NOT_SEEN) & is_due, n, due)
        return early, np.where(due == NOT_SEEN, early + LOOK_DAYS, due)

    def live(self, day: int) -> None:
        """A day: what stands low is topped up, then parts are washed and solvent dries."""
        at, vessels, totals = self.index(day), self.vessels, self.totals
        percent = masses.percent_of(self.baths.resin_g, self.baths.solvent_g)
        is_past = percent >= vessels.limit_percent
        is_past = (is_past | is_past[self.last]) & self.firsts
        totals["past_washes"] += self.load.washes[:, at, None] * is_past
        self._work(self.baths, at, totals)

    def _work(self, baths: Baths, at: int, totals: dict[str, Any] | None = None) -> None:
        vessels = self.vessels
        before_g = baths.solvent_g
        level_l = vessels.level_l(baths.resin_g, before_g)
        added_l = masses.missing_l(level_l, vessels.below_l, vessels.capacity_l)
        solvent_g = before_g + added_l * (1000 * vessels.solvent_g_ml)
        level_l = level_l + added_l
        out_l = self.film_l[at] + vessels.removed_l
        kept = masses.kept_share(out_l, level_l)
        film = (1 - kept) * (self.film_l[at] / np.maximum(out_l, 1e-12))
        is_used = at >= vessels.since_day
        evaporated_g = vessels.evaporated_g * is_used
        load_g = self.resin_in_g[at]
        moved = baths.resin_g, solvent_g, film
        baths.resin_g, baths.solvent_g = masses.after_work(
            baths.resin_g, solvent_g, kept, load_g, evaporated_g
        )
        baths.age_days = baths.age_days + is_used
        baths.washes = baths.washes + self.washes[:, at, None]
        passed = self.passes & is_used[vessels.behind]
        if self.has_pairs:
            self._pass_on(baths, moved, passed, totals)
        if totals is not None:
            self._count(totals, moved, kept, added_l, load_g, evaporated_g, passed)

    def _pass_on(
        self, baths: Baths, moved: tuple[Array, Array, Array], passed: NDArray[np.bool_],
        totals: dict[str, Any] | None,
    ) -> None:  # fmt: skip
        """What parts carry of a bath goes into the one behind it."""
        resin_g, solvent_g, film = moved
        brought_g = film * resin_g * passed
        baths.resin_g = baths.resin_g + self.onto(brought_g * self.vessels.carry)
        baths.solvent_g = baths.solvent_g + self.onto(film * solvent_g * passed)
        if totals is not None:
            totals["brought_g"] += self.onto(brought_g)
            totals["resin_in_kg"] += self.onto(brought_g * (self.vessels.carry - 1)) / 1000

    def _count(
        self, totals: dict[str, Any], moved: tuple[Array, Array, Array], kept: Array,
        added_l: Array, load_g: Array, evaporated_g: Array, passed: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        resin_g, solvent_g, film = moved
        removed = 1 - kept - film
        totals["fresh_l"] += added_l
        totals["resin_in_kg"] += load_g / 1000
        totals["lost_kg"] += (evaporated_g + film * solvent_g * ~passed) / 1000
        totals["waste_l"] += removed * self.vessels.level_l(resin_g, solvent_g)
        totals["waste_kg"] += removed * (resin_g + solvent_g) / 1000
        totals["waste_resin_kg"] += removed * resin_g / 1000
        totals["residue_g"] += film * resin_g * ~passed

    def renew(self, is_due: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Drain the baths that are due, or a share of them, and fill them to the mark.

        Gives those that are fresh now: these, and the clean ones that moved up.
        """
        if not is_due.any():
            return is_due
        vessels, baths, totals = self.vessels, self.baths, self.totals
        is_due = self._as_pairs(is_due)
        whole = vessels.renew_share >= 1 - vessels.heel
        share = min(vessels.renew_share, 1 - vessels.heel) * is_due
        percent = masses.percent_of(baths.resin_g, baths.solvent_g)
        totals["renewals"] += is_due
        totals["drained_share"] += is_due * percent / vessels.limit_percent
        self._drain(share)
        is_fresh = is_due
        if self.has_pairs:
            emptied = self._move_up(is_due & vessels.moves, whole=whole)
            self._rinse((is_due & ~vessels.moves) | emptied, whole=whole)
            is_fresh = is_due | emptied
        else:
            self._rinse(is_due, whole=whole)
        self._fill(is_fresh)
        baths.age_days = np.where(is_fresh & whole, 0.0, baths.age_days)
        baths.washes = np.where(is_fresh & whole, 0.0, baths.washes)
        return is_fresh

    def _as_pairs(self, is_due: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Where the clean bath of a pair is due its dirty one is drained, so that it moves up.

        Of several before it, the one that is nearest to its limit.
        """
        vessels = self.vessels
        movers = self.passing[vessels.moves[self.passing, 0]]
        found = is_due.copy()
        for clean in {
            int(vessels.behind[row]) for row in movers if is_due[vessels.behind[row]].any()
        }:
            rows = movers[vessels.behind[movers] == clean]
            paths = np.flatnonzero(is_due[clean] & ~is_due[rows].any(axis=0))
            percent = masses.percent_of(self.baths.resin_g[rows], self.baths.solvent_g[rows])
            nearest = rows[np.argmax(percent / vessels.limit_percent[rows], axis=0)]
            found[nearest[paths], paths] = True
            found[clean] = False
        return found

    def _drain(self, share: Array) -> None:
        """Take a share out of baths, as waste."""
        vessels, baths, totals = self.vessels, self.baths, self.totals
        totals["waste_l"] += share * vessels.level_l(baths.resin_g, baths.solvent_g)
        totals["waste_kg"] += share * (baths.resin_g + baths.solvent_g) / 1000
        totals["waste_resin_kg"] += share * baths.resin_g / 1000
        baths.resin_g = baths.resin_g * (1 - share)
        baths.solvent_g = baths.solvent_g * (1 - share)

    def _rinse(self, is_empty: NDArray[np.bool_], *, whole: bool) -> None:
        """Rinse tanks that are filled afresh, with solvent that goes into the drum."""
        rinse_l = self.vessels.rinse_l * (is_empty & whole)
        self.totals["rinse_l"] += rinse_l
        self.totals["waste_l"] += rinse_l
        self.totals["waste_kg"] += rinse_l * self.vessels.solvent_g_ml

    def _move_up(self, is_drained: NDArray[np.bool_], *, whole: bool) -> NDArray[np.bool_]:
        """The liquid of the clean bath takes the place of what was drained; which were moved.

        It fills the dirty tank as far as it goes. A clean tank is rinsed before it is filled
        afresh, so what is left in it is waste, but for the heel; not where only a part is renewed.
        """
        vessels, baths = self.vessels, self.baths
        level_l = vessels.level_l(baths.resin_g, baths.solvent_g)
        wanted_l = np.maximum(vessels.capacity_l - level_l, 0.0) * (is_drained & self.passes)
        asked_l = self.onto(wanted_l)
        most_l = (1 - vessels.heel) * level_l
        given = np.minimum(1.0, most_l / np.maximum(asked_l, 1e-12))
        share = given * asked_l / np.maximum(level_l, 1e-12)
        taken = wanted_l * given[vessels.behind] / np.maximum(level_l[vessels.behind], 1e-12)
        resin_g, solvent_g = (taken * whole_g[vessels.behind] for whole_g in
                              (baths.resin_g, baths.solvent_g))  # fmt: skip
        baths.resin_g = baths.resin_g * (1 - share) + resin_g
        baths.solvent_g = baths.solvent_g * (1 - share) + solvent_g
        is_moved: NDArray[np.bool_] = asked_l > 0
        if whole:
            rest = 1 - vessels.heel / np.maximum(1 - share, vessels.heel)
            self._drain(np.where(is_moved, rest, 0.0))
        return is_moved

    def _fill(self, is_fresh: NDArray[np.bool_]) -> None:
        vessels, baths = self.vessels, self.baths
        level_l = vessels.level_l(baths.resin_g, baths.solvent_g)
        added_l = np.maximum(vessels.capacity_l - level_l, 0.0) * is_fresh
        baths.solvent_g = baths.solvent_g + added_l * (1000 * vessels.solvent_g_ml)
        self.totals["fresh_l"] += added_l
