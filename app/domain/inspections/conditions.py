"""What is asked of each part: its questions, by part."""

from collections.abc import Mapping

from app.domain.inspections.part import Condition
from app.domain.inspections.parts import PARTS

CONDITIONS: Mapping[str, tuple[Condition, ...]] = {
    key: part.conditions for key, part in PARTS.items()
}
