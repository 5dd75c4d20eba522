"""What the baths of a room share: how much resin the parts of each resin carry in."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator.settings import Settings

Array = NDArray[np.floating[Any]]

CARRY_IN, CM2_PER_G, CM2_PER_PART, HYDROMETER = range(4)
FIRST_RESIN = 4
ENOUGH_SIZES = 150.0


class Shared:
    """A Gaussian over the shared quantities, kept as precision and pull (precision times mean).

    The columns are the logarithms of the room's carry-in (g/cm2), of cm2 per gram and of cm2 per
    part, the room's hydrometer bias (mass %), then each resin's logarithm against the room.

    Attributes:
        sizes_seen: washes logged both by surface and by mass, and by surface and by parts.
        version: grows with each change of the Gaussian.
    """

    def __init__(self, settings: Settings) -> None:
        spreads = np.array([
            settings.carry_in_ln_sd, settings.cm2_per_g_ln_sd, settings.cm2_per_part_ln_sd,
            settings.hydrometer_room_bias_sd_percent,
        ])  # fmt: skip
        means = np.log([settings.carry_in_g_cm2, settings.cm2_per_g, settings.cm2_per_part, 1.0])
        means[CARRY_IN] += np.log(1 - settings.unlogged_share)
        self.settings = settings
        self.resins: list[str] = []
        self.precision: Array = np.diag(spreads**-2)
        self.pull: Array = self.precision @ means
        self.sizes_seen: Array = np.zeros(2)
        self.version = 0
        self._moments: tuple[Array, Array] | None = None

    @property
    def size(self) -> int:
        """Number of shared quantities."""
        return len(self.pull)

    def moments(self) -> tuple[Array, Array]:
        """Mean and covariance."""
        if self._moments is None:
            covariance: Array = np.linalg.inv(self.precision)
            self._moments = covariance @ self.pull, covariance
        return self._moments

    def column(self, resin: str) -> int:
        """The column of a resin."""
        return FIRST_RESIN + self.resins.index(resin)

    def add_resin(self, resin: str, mean: float) -> None:
        """A resin that nothing is known of but its filler."""
        precision = self.settings.resin_ln_sd**-2
        grown = np.zeros((self.size + 1, self.size + 1))
        grown[:-1, :-1] = self.precision
        grown[-1, -1] = precision
        self.resins.append(resin)
        self.change(grown, np.append(self.pull, precision * mean))

    def set_resin(self, resin: str, mean: float) -> None:
        """Another label for a resin that was never washed."""
        pull = self.pull.copy()
        pull[self.column(resin)] = mean * self.precision[self.column(resin), self.column(resin)]
        self.change(self.precision, pull)

    def change(self, precision: Array, pull: Array) -> None:
        """Replace the Gaussian."""
        self.precision, self.pull = precision, pull
        self.version += 1
        self._moments = None

    def match(self, means: Array, covariances: Array, weights: Array) -> None:
        """Become the Gaussian with the mean and covariance of a mixture."""
        mean = weights @ means
        apart = means - mean
        spread = covariances + apart[:, :, None] * apart[:, None, :]
        covariance = np.tensordot(weights, spread, 1)
        precision = np.linalg.inv(covariance)
        precision = np.ascontiguousarray((precision + precision.T) / 2)
        self.change(precision, precision @ mean)

    def learn_size(self, column: int, ln_size: float) -> None:
        """A wash logged by surface and also by mass or parts tells the one from the other."""
        seen = self.sizes_seen[column - CM2_PER_G]
        if seen >= ENOUGH_SIZES:
            return
        settings = self.settings
        sd = settings.mass_ln_sd if column == CM2_PER_G else settings.parts_ln_sd
        precision, pull = self.precision.copy(), self.pull.copy()
        precision[column, column] += sd**-2
        pull[column] += ln_size / sd**2
        self.sizes_seen[column - CM2_PER_G] = seen + 1
        self.change(precision, pull)

    def numbers(self) -> Array:
        """All that changes, in a row."""
        return np.concatenate([self.precision.ravel(), self.pull, self.sizes_seen])

    def restore(self, resins: list[str], numbers: Array) -> None:
        """Take back what `numbers` gave, with the resins of its columns."""
        self.resins = list(resins)
        size = FIRST_RESIN + len(resins)
        precision, pull, seen = np.split(numbers, [size * size, size * size + size])
        self.sizes_seen = seen.copy()
        self.change(precision.reshape(size, size).copy(), pull.copy())
