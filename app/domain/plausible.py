"""Figures that a log, a label or physics make unlikely: what is asked about on every door."""

from datetime import timedelta

PURITY_UNLIKE, CLOSE_UNLIKE, SOAK_SHORT = "purity_unlike", "close_unlike_log", "soak_too_short"
PADS_IN_LIQUID = "pads_in_liquid"
OVERFULL, WASH_UNKNOWN, OTHER_LOT = "drum_overfull", "wash_time_unknown", "part_lot_unlike_wash"
NAMES = (PURITY_UNLIKE, CLOSE_UNLIKE, SOAK_SHORT, OVERFULL, WASH_UNKNOWN, OTHER_LOT, PADS_IN_LIQUID)
"""The names of these questions."""

PURITY_POINTS = 5.0  # labels of one grade differ by less: common practice, no source
CLOSE_L, CLOSE_SHARE = 2.0, 0.5  # a top-up forgotten now and then: common practice, no source
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
    'It soaked for less than an hour. Less than 70 hours say nothing of swelling.'
    """
    if soaked >= LONG_ENOUGH:
        return ""
    hours = soaked / timedelta(hours=1)
    said = "less than an hour" if hours < 1 else f"{hours:.0f} h"
    return f"It soaked for {said}. Less than 70 hours say nothing of swelling."


def pads_words(drum: str) -> str:
    """Why what was taken up after a spill is odd in a drum of liquid.

    Pads block the contractor's pump, and a bin of solids is other waste (common practice, no
    source; 40 CFR 262.11 asks that waste be determined where it is made: from memory).
    """
    return (
        f"{drum} is for liquid: pads and absorbent go into the solids. Was it liquid alone, pumped "
        "or scooped up without pads?"
    )
