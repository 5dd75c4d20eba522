"""The vessel of the room page: a bath in percent of its own first limit.

All figures are percent of the picture's height from the top, so that the drawing stretches with
its column and no text is distorted. The scale reaches from empty to somewhat past the limit.
"""

from dataclasses import dataclass

from app.store.queries import TankView

TOP_PERCENT_OF_LIMIT = 122.0
LABEL_FITS_FROM = 45.0
"""From this percent of the limit on, the figure has room inside the fluid."""
THINNEST_BAND = 0.6


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
        is_label_inside: the figure stands in the fluid, otherwise beside the band in the void.
    """

    limit: float
    level: float
    band_top: float
    band_height: float
    stop: float | None
    tomorrow: float | None
    of_limit: int
    is_over: bool
    is_label_inside: bool


def gauge_of(tank: TankView) -> Gauge:
    """The vessel of a tank."""
    tomorrow = tank.tomorrow_percent
    return gauge(
        tank.of_limit(tank.mean_percent),
        tank.of_limit(tank.p05_percent),
        tank.of_limit(tank.p95_percent),
        stop=tank.of_limit(tank.stop_percent),
        tomorrow=None if tomorrow is None else tank.of_limit(tomorrow),
    )


def gauge(
    level: float,
    low: float,
    high: float,
    stop: float | None = None,
    tomorrow: float | None = None,
) -> Gauge:
    """The vessel of a bath whose figures are all in percent of its own first limit.

    What is off the scale is drawn at its edge; `of_limit` still says how much it is.
    """
    top, bottom = level_of(high), level_of(low)
    return Gauge(
        limit=level_of(100.0),
        level=level_of(level),
        band_top=top,
        band_height=round(max(THINNEST_BAND, bottom - top), 2),
        stop=level_of(stop) if stop is not None and stop <= TOP_PERCENT_OF_LIMIT else None,
        tomorrow=None if tomorrow is None else level_of(tomorrow),
        of_limit=round(level),
        is_over=level > 100.0,
        is_label_inside=level >= LABEL_FITS_FROM,
    )


def level_of(of_limit: float) -> float:
    """Where a level in percent of the limit lies, in percent of the picture from its top."""
    shown = min(max(of_limit, 0.0), TOP_PERCENT_OF_LIMIT)
    return round(100.0 * (1 - shown / TOP_PERCENT_OF_LIMIT), 2)
