"""Questions that need more than a rule of the table: a fill, a close, a soak test."""

from collections.abc import Sequence
from datetime import timedelta

PURITY_UNLIKE, CLOSE_UNLIKE, SOAK_SHORT = "purity_unlike", "close_unlike_log", "soak_too_short"
PADS_IN_LIQUID, SWAP_BEGUN, NOW_METAL = "pads_in_liquid", "swap_begun", "now_metal"
READING_UNLIKE, REJECT_UNLIKE = "reading_unlike", "reject_without_wash"
OVERFULL, WASH_UNKNOWN, OTHER_LOT = "drum_overfull", "wash_time_unknown", "part_lot_unlike_wash"
RAISED_LIMIT = "limit_raised"
STILL_FULL, WARM_DRUM = "tank_still_full", "drum_still_warm"
LOT_RESIN, LOT_DONE = "part_lot_other_resin", "part_lot_done"
LOT_UNKNOWN = "part_lot_unknown"
LEAKS_UNSEEN = "leaks_unseen"
SOURCE_UNSAID, PARTS_WET = "pour_source_unsaid", "parts_wet"
MONTH_OVER, WASH_UNLOGGED = "waste_month_over", "wash_time_unlogged"
STALE = timedelta(days=10)  # parts wait that long before somebody finds them bad; no source
FAR_SD = 5.0
OVER_MARK = 1.02  # how far over the mark a reading of litres may be: common practice, no source

PURITY_POINTS = 5.0  # labels of one grade differ by less: common practice, no source
CLOSE_L, CLOSE_SHARE = 2.0, 0.5  # a top-up forgotten now and then: common practice, no source
READ_LOW, READ_HIGH, READ_NEAR = 0.4, 2.0, 0.5  # of the estimate, and mass percent beside it
LONG_ENOUGH = timedelta(hours=70)  # ASTM D471 test lengths are 70 h and more; second hand


def purity_words(percent: float, usual_percent: float | None) -> str:
    """Why a fill's purity is odd beside that of the bath before; empty where it is not.

    Both in mass percent.

    >>> purity_words(50.0, 99.0)
    'This is 50 % by mass, and the bath was filled with 99 % before. Is this what the label says?'
    """
    if usual_percent is None or abs(percent - usual_percent) <= PURITY_POINTS:
        return ""
    return (
        f"This is {percent:.3g} % by mass, and the bath was filled with {usual_percent:.3g} % "
        "before. Is this what the label says?"
    )


def close_words(added_l: float | None, logged_l: float) -> str:
    """Why what is said to be added is odd beside what the log has; empty where it is not.

    >>> close_words(500.0, 0.9)
    'The log has 0.9 L added since the last close; this says 500 L. Was it read in another unit?'
    """
    if added_l is None or abs(added_l - logged_l) <= max(CLOSE_L, CLOSE_SHARE * logged_l):
        return ""
    return (
        f"The log has {logged_l:.1f} L added since the last close; this says {added_l:g} L. "
        "Was it read in another unit?"
    )


def soak_words(soaked: timedelta) -> str:
    """Why a soak test says little; empty where it was long enough.

    >>> soak_words(timedelta(seconds=30))
    'It soaked for less than an hour. Less than 70 hours shows nothing about swelling.'
    """
    if soaked >= LONG_ENOUGH:
        return ""
    hours = soaked / timedelta(hours=1)
    said = "less than an hour" if hours < 1 else f"{hours:.0f} h"
    return f"It soaked for {said}. Less than 70 hours shows nothing about swelling."


def pads_words(drum: str) -> str:
    """Why what was taken up after a spill is odd in a drum of liquid.

    Pads block the contractor's pump, and a bin of solids is other waste (common practice, no
    source; 40 CFR 262.11 asks that waste be determined where it is made: from memory).
    """
    return (
        f"{drum} is for liquid. Pads and absorbent go into the solids. Was it liquid only, pumped "
        "or scooped up without pads?"
    )


def source_words(drum: str, stream: str, others: Sequence[str]) -> str:
    """What to ask of a pour that names no tank, in a room that washes in other solvents too.

    Two wastes in one drum may react, and are another waste (40 CFR 265.177 and 262.11: from
    memory). `others` are the names of solvents whose baths do not go into the drum.

    >>> source_words("W-13", "Spent isopropanol with resin", [])
    ''
    """
    if not others:
        return ""
    return (
        f"No tank is named. {drum} takes “{stream}” only, and this room has {', '.join(others)} "
        "too. Is it certain that none of that is in it?"
    )


def wet_words(dried_minutes: float | None, asked_minutes: float | None) -> str:
    """Why parts do not go under the light yet; empty where they have dried as long as their recipe
    asks, or nobody knows.

    >>> wet_words(20.0, 20.0), wet_words(None, 20.0)
    ('', '')
    """
    if dried_minutes is None or asked_minutes is None or dried_minutes >= asked_minutes:
        return ""
    return (
        f"The parts left the wash {dried_minutes:.0f} min before. They should dry "
        f"{asked_minutes:.0f} min. Solvent stops the surface curing, and its vapour can catch fire "
        "at a hot lamp."
    )


def unlogged_words(
    said: str, logged: str, tank: str, minutes: float, asked_minutes: float | None
) -> str:
    """What to ask of a cure whose wash is not logged, where one that is ended too short before it.

    >>> unlogged_words("10:00", "10:15", "Oak", 20.0, 20.0)
    ''
    """
    if asked_minutes is None or minutes >= asked_minutes:
        return ""
    return (
        f"No wash in {tank} is logged at {said}. The last one of this resin ended at {logged}, "
        f"{minutes:.0f} min before, and parts should dry {asked_minutes:.0f} min. Are these other "
        "parts?"
    )


def reading_words(measured_percent: float, mean_percent: float, sd_percent: float) -> str:
    """Why a reading is so far from the estimate that a slip is likelier than a drift.

    What is odd and no more is asked on the page of readings: a sensor that drifts sends its figures
    by itself and answers nobody.

    >>> reading_words(45.0, 4.4, 0.4)
    'It means 45.0 % resin; the log says about 4.4 %.'
    """
    low, high = READ_LOW * mean_percent - READ_NEAR / 2, READ_HIGH * mean_percent + READ_NEAR
    is_near = abs(measured_percent - mean_percent) <= FAR_SD * sd_percent
    if is_near or low <= measured_percent <= high:
        return ""
    return f"It means {measured_percent:.1f} % resin; the log says about {mean_percent:.1f} %."


def reject_words(since_wash: timedelta | None) -> str:
    """Why parts can hardly come out of a tank bad; `since_wash` None where nothing was washed.

    >>> reject_words(None)
    'Nothing was ever washed in this tank.'
    """
    if since_wash is None:
        return "Nothing was ever washed in this tank."
    if since_wash <= STALE:
        return ""
    return f"Nothing was washed in this tank for {since_wash.days} days before."


def still_full_words(name: str, left_l: float, more_l: float, capacity_l: float) -> str:
    """What is asked before a tank is filled whose bath was moved only in part; else empty.

    >>> still_full_words("2 CLEAN", 28.0, 38.0, 40.0)
    'According to the steps, about 28 L are still in 2 CLEAN. With 38 L more it runs over its \
upper mark, 40 L. Look into it: is there room?'
    >>> still_full_words("2 CLEAN", 1.0, 38.0, 40.0)
    ''
    """
    if left_l + more_l <= capacity_l * OVER_MARK:
        return ""
    return (
        f"According to the steps, about {left_l:.0f} L are still in {name}. With {more_l:g} L more "
        "it runs "
        f"over its upper mark, {capacity_l:g} L. Look into it: is there room?"
    )
