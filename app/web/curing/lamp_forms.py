"""What the forms of a lamp show of it: its hours until now; and what a new one is asked about."""

from collections.abc import Sequence
from typing import Any

from app.domain.roomlog.kinds.curing import Relamped
from app.services.curing.doubts import new_output_doubts
from app.web.curing import words
from app.web.kinds.different import Asked, Different


def _hours(_: Asked) -> dict[str, Any]:
    return {"hours": words.hours}


def _output_doubts(asked: Asked, entry: Relamped) -> Sequence[str]:
    return new_output_doubts(asked.thing, entry)


HOURS = Different("curing/hours.html", context=_hours)
RELAMP = Different("curing/relamp.html", context=_hours, doubts=_output_doubts)
