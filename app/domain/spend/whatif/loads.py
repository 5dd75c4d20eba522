"""A room's logged washes in many versions, one for each path of what the filter believes."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from statistics import NormalDist
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import Draws, Settings
from app.domain.baths.forecast.loads import CarryIn, carry_in

Array = NDArray[np.float64]

PATHS = 16
DRAWN_FOR_EACH = 20
WEEK = 7
SPREAD_OF_SIZES = 1.3  # mean square of a wash's size against the square of its mean


class Believes(Protocol):
    """What of a room filter is asked here."""

    @property
    def settings(self) -> Settings: ...
    def draw(self, tank: str, at: datetime, n: int, rng: np.random.Generator) -> Draws: ...


@dataclass(frozen=True, slots=True)
class Washes:
    """Washes of a tank on a day, of one resin and sized one way, summed.

    Attributes:
        day: counted from the first day looked at.
        measure: 0 where they are sized in cm2, 1 in grams, 2 in parts.
    """

    tank: str
    day: int
    resin: str
    measure: int
    size: float
    count: int


@dataclass(frozen=True)
class Load:
    """What washes did, by bath, day and path.

    Attributes:
        resin_g: resin that the parts brought in, the washes that nobody logged included.
        film_l: bath liquid that left with the parts.
        washes: logged ones, by bath and day.
        evaporation_per_day: share of a fill, by bath and path.
        lived_days: for how many of the last days each bath was in use.
        carry: of a clean bath, how many times the resin of the film that they carry of the dirty
            one parts bring into it, by path; 1 where the room's own record does not say.
    """

    resin_g: Array
    film_l: Array
    washes: Array
    evaporation_per_day: Array
    lived_days: tuple[int, ...]
    carry: Array = field(default_factory=lambda: np.ones((0, 0)))

    def __post_init__(self) -> None:
        """Without a record the film alone is carried on."""
        if self.carry.shape != self.evaporation_per_day.shape:
            object.__setattr__(self, "carry", np.ones_like(self.evaporation_per_day))

    @property
    def days(self) -> int:
        """Number of days."""
        return int(self.resin_g.shape[1])

    @property
    def paths(self) -> int:
        """Number of paths."""
        return int(self.resin_g.shape[2])

    def some(self, count: int) -> "Load":
        """Paths spread evenly over all of them."""
        chosen = np.linspace(0, self.paths - 1, count).round().astype(int)
        return replace(
            self, resin_g=self.resin_g[:, :, chosen], film_l=self.film_l[:, :, chosen],
            evaporation_per_day=self.evaporation_per_day[:, chosen], carry=self.carry[:, chosen],
        )  # fmt: skip

    def of_rows(self, rows: Sequence[int]) -> "Load":
        """The load of some baths, in that order."""
        return Load(
            self.resin_g[rows], self.film_l[rows], self.washes[rows],
            self.evaporation_per_day[rows], tuple(self.lived_days[row] for row in rows),
            self.carry[rows],
        )  # fmt: skip

    def between(self, first: int, until: int) -> "Load":
        """Its days from the first up to another, not included."""
        later = self.days - until
        return replace(
            self, resin_g=self.resin_g[:, first:until], film_l=self.film_l[:, first:until],
            washes=self.washes[:, first:until],
            lived_days=tuple(max(0, lived - later) for lived in self.lived_days),
        )  # fmt: skip

    def ahead(self, days: int, level: Array) -> "Load":
        """So many days to come: each bath's own past weeks over again, times a level by path.

        Weekdays stay what they are: the last day of the past is followed by the first.
        """
        index = np.empty((len(self.lived_days), days), dtype=np.int64)
        stretch = np.ones((len(self.lived_days), 1))
        for row, lived in enumerate(self.lived_days):
            span = WEEK * max(1, min(lived, self.days) // WEEK)
            index[row] = self.days - span + np.arange(days) % span
            stretch[row] = WEEK / max(lived, 1) if lived < WEEK else 1.0
        # A past shorter than a week starts before the first day looked at: those days were empty.
        rows = np.arange(len(index))[:, None]
        is_known, index = index >= 0, np.maximum(index, 0)
        factor = (is_known * stretch)[:, :, None]
        return replace(
            self, resin_g=self.resin_g[rows, index] * factor * level,
            film_l=self.film_l[rows, index] * factor * level,
            washes=self.washes[rows, index] * factor[:, :, 0],
        )  # fmt: skip

    def weekly_g(self) -> Array:
        """Resin of the whole room by week, the mean of the paths, the newest week last."""
        by_day = self.resin_g.mean(axis=2).sum(axis=0)
        weeks = len(by_day) // WEEK
        found: Array = by_day[len(by_day) - WEEK * weeks :].reshape(weeks, WEEK).sum(axis=1)
        return found


def load_of(
    room: Believes, tanks: Sequence[str], washes: Sequence[Washes], lived_days: Sequence[int],
    days: int, now: datetime, rng: np.random.Generator, paths: int = PATHS,
) -> Load:  # fmt: skip
    """The washes of some days as the filter sees them now: carry-in, film, evaporation.

    The paths differ in what is not known: each resin's carry-in, what a gram or a part has of
    surface, how thick the film is, how fast each bath evaporates. They are drawn from the filter,
    many more than are kept, and those kept lie evenly over the room's whole load.
    """
    resins = sorted({one.resin for one in washes})
    draws = room.draw(tanks[0], now, DRAWN_FOR_EACH * paths, rng)
    carried = _even(carry_in(draws, resins), washes, paths)
    shape = (len(tanks), days)
    grams, cm2 = np.zeros((*shape, paths)), np.zeros((*shape, paths))
    for (resin, measure), sizes in _sizes(tanks, washes, days).items():
        area = sizes[:, :, None] * carried.cm2[measure]
        cm2 += area
        grams += area * carried.grams[resin]
    count = _counts(tanks, washes, days)
    logged = 1 - room.settings.unlogged_share
    film = np.exp(room.settings.drag_out_noise * even_normals(paths, rng))
    film_ml = room.settings.drag_out_ml_cm2 / logged * film / film.mean()
    rates = [
        np.quantile(room.draw(tank, now, DRAWN_FOR_EACH * paths, rng).evaporation_per_day,
                    _middles(paths))[rng.permutation(paths)]
        for tank in tanks
    ]  # fmt: skip
    scatter = _scatter(room.settings, count, paths, rng)
    return Load(
        grams * scatter,
        cm2 * film_ml / 1000,
        count,
        np.array(rates, dtype=np.float64).reshape(-1, paths),
        tuple(lived_days),
    )


def even_normals(paths: int, rng: np.random.Generator | None) -> Array:
    """Standard normal numbers that lie evenly over their distribution; shuffled by `rng`."""
    normal = NormalDist()
    rising = np.array([normal.inv_cdf(q) for q in _middles(paths)])
    return rising if rng is None else rng.permutation(rising)


def _middles(paths: int) -> list[float]:
    return [(number + 0.5) / paths for number in range(paths)]


def _even(carried: CarryIn, washes: Sequence[Washes], paths: int) -> CarryIn:
    """Of many draws so few that their whole loads lie evenly over the loads of all."""
    totals: dict[tuple[str, int], float] = {}
    for one in washes:
        key = one.resin, one.measure
        totals[key] = totals.get(key, 0.0) + one.size
    grams, _ = carried.of(totals)
    order = np.argsort(grams, kind="stable")
    chosen = order[(len(order) * np.array(_middles(paths))).astype(int)]
    by_resin = {resin: some[chosen] for resin, some in carried.grams.items()}
    one_cm2, per_gram, per_part = (some[chosen] for some in carried.cm2)
    return CarryIn(carried.resins, by_resin, (one_cm2, per_gram, per_part))


def _sizes(
    tanks: Sequence[str], washes: Sequence[Washes], days: int
) -> dict[tuple[str, int], Array]:
    """Summed sizes by bath and day, for each resin and way to size."""
    rows = {tank: row for row, tank in enumerate(tanks)}
    found: dict[tuple[str, int], Array] = {}
    for one in washes:
        if one.tank in rows and 0 <= one.day < days:
            sizes = found.setdefault((one.resin, one.measure), np.zeros((len(tanks), days)))
            sizes[rows[one.tank], one.day] += one.size
    return found


def _counts(tanks: Sequence[str], washes: Sequence[Washes], days: int) -> Array:
    rows, found = {tank: row for row, tank in enumerate(tanks)}, np.zeros((len(tanks), days))
    for one in washes:
        if one.tank in rows and 0 <= one.day < days:
            found[rows[one.tank], one.day] += one.count
    return found


def _scatter(settings: Settings, count: Array, paths: int, rng: np.random.Generator) -> Array:
    """How a day's washes scatter about their mean, those that nobody logged among them."""
    logged = 1 - settings.unlogged_share
    of_wash = logged * math.expm1(settings.wash_ln_sd**2) + SPREAD_OF_SIZES * (1 - logged)
    ln_variance = np.log1p(of_wash / np.maximum(count, 1.0))[:, :, None]
    z = rng.standard_normal((*count.shape, paths))
    found: Array = np.exp(np.sqrt(ln_variance) * z - ln_variance / 2)
    return found
