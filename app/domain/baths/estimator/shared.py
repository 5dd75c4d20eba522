"""What the baths of a room share: how much resin the parts of each resin carry in."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator.settings import Settings

Array = NDArray[np.floating[Any]]

CARRY_IN, CM2_PER_G, CM2_PER_PART, HYDROMETER, SUSPENDED, FILM, REFRACTOMETER = range(7)
FIRST_RESIN = 7
ENOUGH_SIZES = 150.0
LEAST_FILM_ML_CM2 = 1e-9


class Shared:
    """A Gaussian over the shared quantities.

    The columns are the logarithms of the room's carry-in (g/cm2), of cm2 per gram and of cm2 per
    part, the room's hydrometer bias (mass %), how far filler shows in the density that a hydrometer
    reads (0: as if all had settled; 1: as if what dissolved had the label's density), the
    logarithm of the film of bath liquid on parts (mL/cm2), the bias of a refractometer that is not
    calibrated for the solvent (mass %), then each resin's logarithm against the
    room.

    Attributes:
        sizes_seen: washes logged both by surface and by mass, and by surface and by parts.
        version: grows with each change of the Gaussian.
    """

    def __init__(self, settings: Settings) -> None:
        spreads = np.array([
            settings.carry_in_ln_sd, settings.cm2_per_g_ln_sd, settings.cm2_per_part_ln_sd,
            settings.hydrometer_room_bias_sd_percent, settings.suspended_sd,
            settings.drag_out_ln_sd, settings.refractometer_bias_sd_percent,
        ])  # fmt: skip
        sizes = np.log([settings.carry_in_g_cm2, settings.cm2_per_g, settings.cm2_per_part])
        film = math.log(max(settings.drag_out_ml_cm2, LEAST_FILM_ML_CM2))
        mean = np.append(sizes, [0.0, settings.suspended, film, 0.0])
        mean[CARRY_IN] += np.log(1 - settings.unlogged_share)
        self.settings = settings
        self.resins: list[str] = []
        self.mean: Array = mean
        self.covariance: Array = np.diag(spreads**2)
        self.sizes_seen: Array = np.zeros(2)
        self.version = 0
        self._root: Array | None = None

    @property
    def size(self) -> int:
        """Number of shared quantities."""
        return len(self.mean)

    @property
    def root(self) -> Array:
        """The lower triangular matrix whose square is the covariance."""
        if self._root is None:
            self._root = np.linalg.cholesky(self.covariance)
        return self._root

    def column(self, resin: str) -> int:
        """The column of a resin."""
        return FIRST_RESIN + self.resins.index(resin)

    def add_resin(self, resin: str, mean: float, filler_ln_sd: float) -> None:
        """A resin that nothing is known of but its filler, and that within `filler_ln_sd`."""
        grown = np.zeros((self.size + 1, self.size + 1))
        grown[:-1, :-1] = self.covariance
        grown[-1, -1] = self.settings.resin_ln_sd**2 + filler_ln_sd**2
        self.resins.append(resin)
        self.change(np.append(self.mean, mean), grown)

    def set_resin(self, resin: str, mean: float, filler_ln_sd: float) -> None:
        """Another label for a resin that was never washed."""
        column, means, covariance = self.column(resin), self.mean.copy(), self.covariance.copy()
        means[column] = mean
        covariance[column] = covariance[:, column] = 0.0
        covariance[column, column] = self.settings.resin_ln_sd**2 + filler_ln_sd**2
        self.change(means, covariance)

    def change(self, mean: Array, covariance: Array) -> None:
        """Replace the Gaussian."""
        self.mean = mean
        self.covariance = np.ascontiguousarray((covariance + covariance.T) / 2)
        self.version += 1
        self._root = None

    def match(self, means: Array, covariances: Array, weights: Array) -> None:
        """Become the Gaussian with the mean and covariance of a mixture."""
        mean = weights @ means
        apart = means - mean
        spread = covariances + apart[:, :, None] * apart[:, None, :]
        self.change(mean, np.tensordot(weights, spread, 1))

    def learn_size(self, column: int, ln_size: float) -> None:
        """A wash logged by surface and also by mass or parts tells the one from the other."""
        seen = self.sizes_seen[column - CM2_PER_G]
        if seen >= ENOUGH_SIZES:
            return
        settings = self.settings
        sd = settings.mass_ln_sd if column == CM2_PER_G else settings.parts_ln_sd
        shift = self.covariance[column]
        gain = shift / (shift[column] + sd**2)
        self.sizes_seen[column - CM2_PER_G] = seen + 1
        mean = self.mean + gain * (ln_size - self.mean[column])
        self.change(mean, self.covariance - gain[:, None] * shift)

    def numbers(self) -> Array:
        """All that changes, in a row."""
        return np.concatenate([self.covariance.ravel(), self.mean, self.sizes_seen])

    def restore(self, resins: list[str], numbers: Array) -> None:
        """Take back what `numbers` gave, with the resins of its columns."""
        self.resins = list(resins)
        size = FIRST_RESIN + len(resins)
        covariance, mean, seen = np.split(numbers, [size * size, size * size + size])
        self.sizes_seen = seen.copy()
        self.change(mean.copy(), covariance.reshape(size, size).copy())
