"""What was learned of an instrument, in words."""

from datetime import datetime, tzinfo

from app.domain.baths.estimator import Passport
from app.domain.calendar_words import day_words

Z90 = 1.6448536269514722  # half of the 90 % interval in standard deviations
LEAST_PERCENT = 0.1
NOT_FOLLOWED = "Used as read. Drift is not tracked for this instrument."


def bias_sentence(
    bias: tuple[float, float] | None, since: datetime | None, now: datetime, zone: tzinfo
) -> str:
    """How far an instrument is off, give or take half of the 90 % interval.

    Args:
        bias: mean and standard deviation in mass percent, too high above nothing.
        since: from when on the bias is sure.
    """
    if bias is None:
        return NOT_FOLLOWED
    mean, reach = bias[0], Z90 * bias[1]
    side = "high" if mean > 0 else "low"
    if abs(mean) <= max(reach, LEAST_PERCENT):
        return (
            f"Reads true within {max(abs(mean) + reach, LEAST_PERCENT):.1f} %, as far as we know."
        )
    when = f" since {_day(since, now, zone)}" if since is not None else ""
    return f"Reads {abs(mean):.1f} ± {reach:.1f} % too {side}{when}; corrected for."


def in_tank(passport: Passport, tank: str) -> tuple[float, float] | None:
    """Mean and sd of the bias as it shows in a tank: what the tank's bath adds included."""
    own = next(((mean, sd) for key, mean, sd in passport.in_tanks if key == tank), None)
    return own or passport.bias


def _day(at: datetime, now: datetime, zone: tzinfo) -> str:
    return day_words(at.astimezone(zone).date(), now.astimezone(zone).date())
