"""What is asked of each part, and what a yes means. A new part is one module of this package.

Sources: the rules for washers, impellers with their O-rings and seals are common practice, no
source. So are the levels at which a finding is only watched. ISO 14224 gives the terms alone.
"""

import sys
from collections.abc import Mapping

from app.domain.inspections.part import Part, Where
from app.domain.registry import found_in

PARTS: Mapping[str, Part] = found_in(sys.modules[__name__], Part)


def sitting(where: Where) -> tuple[str, ...]:
    """Keys of the parts that are set up somewhere, as they are offered there."""
    here = [part for part in PARTS.values() if where in part.sits]
    return tuple(part.key for part in sorted(here, key=lambda part: part.sits[where]))
