"""What is asked of each part: its questions, by part and by look."""

from collections.abc import Mapping

from app.domain.inspections.part import Condition
from app.domain.inspections.parts import PARTS

CONDITIONS: Mapping[str, tuple[Condition, ...]] = {
    key: part.conditions for key, part in PARTS.items()
}
"""Those of the look with the tank empty, which every part has."""
BY_KEY: Mapping[str, Condition] = {
    one.key: one for part in PARTS.values() for one in part.all_conditions
}


def asked(part: str, look: str) -> tuple[Condition, ...]:
    """What is asked of a part at a look; nothing where it shows nothing then."""
    return PARTS[part].asked(look)
