"""The vessel of the room page: a bath in percent of its own first limit.

All figures are percent of the picture's height from the top, so that the drawing stretches with
its column and no text is distorted. The scale reaches from empty to somewhat past the limit.
"""

from dataclasses import dataclass

from app.store.queries import TankView

TOP_PERCENT_OF_LIMIT = 122.0


@dataclass(frozen=True)
class Gauge:
    """Where a vessel's parts lie, in percent from the top of its picture.

    Attributes:
        limit: the one line that runs through all vessels.
        level: the waterline.
        band_top, band_height: the likely range of the level.
        stop: the second limit, None where it lies above the picture.
        tomorrow: where the level is forecast to stand in a day; None without a forecast.
        of_limit: the estimate in percent of the first limit, for reading.
        is_over: the level stands above the limit.
    """

    limit: float
    level: float
    band_top: float
    band_height: float
    stop: float | None
    tomorrow: float | None
    of_limit: int
    is_over: bool


def gauge_of(tank: TankView) -> Gauge:
    """The vessel of a tank."""
    top = _from_top(tank.of_limit(tank.p95_percent))
    bottom = _from_top(tank.of_limit(tank.p05_percent))
    stop_of_limit = tank.of_limit(tank.stop_percent)
    tomorrow = tank.tomorrow_percent
    return Gauge(
        limit=_from_top(100.0),
        level=_from_top(tank.of_limit(tank.mean_percent)),
        band_top=top,
        band_height=max(0.4, bottom - top),
        stop=_from_top(stop_of_limit) if stop_of_limit <= TOP_PERCENT_OF_LIMIT else None,
        tomorrow=None if tomorrow is None else _from_top(tank.of_limit(tomorrow)),
        of_limit=round(tank.of_limit(tank.mean_percent)),
        is_over=tank.of_limit(tank.mean_percent) > 100.0,
    )


def _from_top(of_limit: float) -> float:
    shown = min(max(of_limit, 0.0), TOP_PERCENT_OF_LIMIT)
    return round(100.0 * (1 - shown / TOP_PERCENT_OF_LIMIT), 2)
