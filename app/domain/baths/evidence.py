"""What a forecast stands on: how a bath is used, and what a wash carries into it.

Before that, a day would be that of an assumption: no page names one, and nothing is ordered or
booked for it.
"""

from collections.abc import Iterable
from typing import Literal

from app.domain.baths.habits import Habits

FEWEST_WASH_DAYS = 5  # a working week of its use; common practice, no source
Lack = Literal["few_wash_days", "no_reading"]
LACKS: tuple[Lack, ...] = ("few_wash_days", "no_reading")


def has_told(habits: Habits, last_reading_day: int | None) -> bool:
    """Whether a reading of this tank can tell what washes carry in: one since its first wash."""
    first_wash_day = min(habits.washes_on, default=None)
    return (
        first_wash_day is not None
        and last_reading_day is not None
        and last_reading_day >= first_wash_day
    )


def lacks(habits: Habits, tanks_told: Iterable[bool]) -> tuple[Lack, ...]:
    """What is missing before a day may be named for a bath; empty where nothing is.

    Washes on five days in its tank say how it is used; a reading in any tank of the room says what
    the room's washes carry in. Both are the least that the estimator can tell an assumption from
    (common practice, no source).
    """
    found: tuple[Lack, ...] = ()
    if len(habits.washes_on) < FEWEST_WASH_DAYS:
        found += ("few_wash_days",)
    return found if any(tanks_told) else (*found, "no_reading")


def missing_words(found: Iterable[Lack]) -> str:
    """What to log before a day is named, the act first; empty where nothing is missing.

    >>> missing_words(("few_wash_days", "no_reading"))
    'Log washes on 5 days and take one reading to see when to swap'
    >>> missing_words(("no_reading",))
    'Take one reading to see when to swap'
    """
    acts: dict[Lack, str] = {
        "few_wash_days": f"log washes on {FEWEST_WASH_DAYS} days",
        "no_reading": "take one reading",
    }
    lacking = set(found)
    asked = [act for lack, act in acts.items() if lack in lacking]
    if not asked:
        return ""
    text = " and ".join(asked)
    return f"{text[0].upper()}{text[1:]} to see when to swap"
