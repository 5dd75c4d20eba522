"""When a bath will pass its limits: many possible futures from what the filter and the log know."""

from app.domain.baths.forecast.outlook import (
    HORIZON_DAYS,
    Crossing,
    FanPoint,
    Forecast,
    first_limit_ahead,
    forecast,
    look_ahead,
    passing_days,
)

__all__ = [
    "HORIZON_DAYS",
    "Crossing",
    "FanPoint",
    "Forecast",
    "first_limit_ahead",
    "forecast",
    "look_ahead",
    "passing_days",
]
