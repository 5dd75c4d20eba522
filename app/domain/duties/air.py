"""What the speeds of air at a hood say over time."""

from collections.abc import Sequence

STEADY = 0.05  # of the first speed: less is the meter's own scatter; common practice, no source


def speed_words(speeds_m_s: Sequence[float]) -> str:
    """The latest speed with its trend, oldest first, in m/s; nothing where none was measured.

    >>> speed_words([0.60, 0.55, 0.48])
    '0.48 m/s, before that 0.55; 20 % less than at first'
    >>> speed_words([0.5])
    '0.50 m/s'
    """
    if not speeds_m_s:
        return ""
    first, last = speeds_m_s[0], speeds_m_s[-1]
    if len(speeds_m_s) == 1:
        return f"{last:.2f} m/s"
    words = f"{last:.2f} m/s, before that {speeds_m_s[-2]:.2f}"
    change = (last - first) / first if first > 0 else 0.0
    if abs(change) <= STEADY:
        return f"{words}; steady"
    return f"{words}; {abs(change):.0%} ".replace("%", " %") + (
        "less than at first" if change < 0 else "more than at first"
    )
