"""Solvents, streams, containers and chances in words."""

from collections.abc import Iterable

from app.domain.waste.streams import STREAMS
from app.store.tables import RoomRow
from app.web.filters import solvent_name, volume

NARROW = "\N{NO-BREAK SPACE}"


def solvent_words(key: str) -> str:
    """A solvent of the shelf: its name and purity."""
    solvent, _, purity = key.partition("@")
    return f"{solvent_name(solvent)} {purity} % by mass" if purity else solvent_name(solvent)


def stream_words(key: str) -> str:
    """A waste stream by its name."""
    return STREAMS[key].name if key in STREAMS else key


def containers_words(buy: Iterable[tuple[float, int]], litres: float, room: RoomRow) -> str:
    """Containers such as “2 × 18.9 L and 1 × 3.80 L”; the volume where any amount is sold."""
    parts = [f"{count} × {volume(size, room)}" for size, count in buy]
    return joined(parts) if parts else volume(litres, room)


def joined(parts: list[str]) -> str:
    """Parts with commas, and “and” before the last.

    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def chance_words(chance: float) -> str:
    """A chance in whole percent, the ends in words.

    >>> chance_words(0.237).replace(NARROW, " ")
    '24 %'
    """
    if chance < 0.01:
        return f"under 1{NARROW}%"
    return f"over 99{NARROW}%" if chance > 0.99 else f"{100 * chance:.0f}{NARROW}%"
