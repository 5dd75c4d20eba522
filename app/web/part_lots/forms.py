"""What the forms of part lots do in their own way: which lot they are about, what is accepted."""

from typing import Any
from urllib.parse import urlencode

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.part_lots import BETWEEN, PartLotEntry
from app.services.part_lots.record import record_of
from app.store.site import crew
from app.web.forms import read_entry
from app.web.kinds.different import Asked, Different


def _findings(asked: Asked) -> tuple[str, ...]:
    lot, visit = asked.form.value("lot"), asked.visit
    return record_of(visit.session, visit.room, lot).findings if lot else ()


def _read_release(asked: Asked) -> Entry:
    """Each finding is accepted by a touch of its own."""
    visit, found = asked.visit, _findings(asked)
    accepted = [
        one for number, one in enumerate(found) if asked.typed.get(f"accept-{number}") == one
    ]
    values = {**asked.typed, "accepted": BETWEEN.join(accepted)}
    return read_entry(asked.kind.kind, values, visit.room, visit.person, visit.now)


def _release(asked: Asked) -> dict[str, Any]:
    visit = asked.visit
    return {
        **_back(asked),
        "findings": _findings(asked),
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
    }


def _back(asked: Asked) -> dict[str, Any]:
    return {"back": asked.visit.address("lots")}


def _to(asked: Asked, entry: PartLotEntry) -> str:
    return f"{asked.visit.address('lots', 'record')}?{urlencode({'lot': entry.lot})}"


RELEASE = Different("part_lots/release.html", read=_read_release, context=_release, to=_to)
REJECT = Different(context=_back, to=_to)
ENTER = Different(context=_back, to=_to)
