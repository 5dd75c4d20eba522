"""What a reading taken now is worth, in words."""

from collections.abc import Sequence

from app.domain.baths.forecast.worth import Worth
from app.domain.instruments import INSTRUMENTS

A_YEAR_DAYS = 330.0


def worth_words(found: Sequence[Worth]) -> str:
    """In a sentence what the best reading is worth; empty where no day is named.

    >>> worth_words([Worth("residue", 15.2, 5.9)])
    'A residue test now narrows the swap from 15 days to 6'
    >>> worth_words([Worth("residue", 15.2, 15.0)])
    'A reading now would not narrow these dates'
    """
    if not found:
        return ""
    best = found[0]
    if not best.is_worthwhile:
        return "A reading now would not narrow these dates"
    name = INSTRUMENTS[best.method].name.lower()
    reading = name if name.endswith("test") else f"{name} reading"
    article = "An" if reading[0] in "aeiou" else "A"
    return f"{article} {reading} now narrows the swap {range_words(best)}"


def range_words(worth: Worth) -> str:
    """From how many days to how many.

    >>> range_words(Worth("residue", 350.0, 40.2))
    'from a year to 40 days'
    """
    then = f"{worth.then_days:.0f}"
    if worth.now_days >= A_YEAR_DAYS:
        return f"from a year to {then} days"
    return f"from {worth.now_days:.0f} days to {then}"
