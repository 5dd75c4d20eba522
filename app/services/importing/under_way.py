"""What people here are at, and what they have said: a file does neither in their place.

A swap's gates open by what is ticked on its page, an inspection is answered on its own, and a
report is taken back by the way that is meant for it. A swap or an inspection that an import brought
goes on by a file that tells of all of it again.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.incidents import INCIDENT, Incident
from app.domain.roomlog.kinds.inspections import INSPECTION
from app.services.books import BOOKS
from app.services.entries import START
from app.services.guards import standing_problems
from app.services.importing.chains import target_of
from app.services.importing.deciding import has_own_entries
from app.services.importing.slots import Parts
from app.services.importing.standing import is_of_file, targets
from app.store.things import thing, things

UNDER_WAY: Mapping[str, str] = {
    SWAP: "This swap is under way here. Tick its steps on its page.",
    INSPECTION: "This inspection is under way here. Answer and sign it on its page.",
}
REPORTED = "This problem is reported here. A lead withdraws a wrong report, with the reason."


def refused_lines(
    session: Session, room_id: int, entries: Mapping[int, Entry], told: frozenset[str],
    now: datetime,
) -> Iterator[tuple[int, FieldError]]:  # fmt: skip
    """Lines that act on what is under way here, or on what stands, and why they do not fit."""
    if not has_own_entries(session, room_id):
        return  # a log that is restored or copied, perhaps in several goes
    here = _Here(session, room_id, told)
    before = targets(session, room_id, entries.values())
    gone = frozenset(before)
    for line, entry in entries.items():
        old = before.get(target_of(entry))
        found = here.reported(entry) or here.under_way(entry)
        if found is None and old is not None:
            found = here.under_way(old)
        if found is None and old is not None:
            # Nobody is named: whom a line names is no sign that they do this.
            found = next(iter(standing_problems(session, room_id, entry, "", now, gone)), None)
        if found is not None:
            yield line, found


class _Here:
    """What of the room is under way or reported, and was not brought by the same file before."""

    def __init__(self, session: Session, room_id: int, told: frozenset[str]) -> None:
        self._session, self._room_id, self._told = session, room_id, told
        self._parts = Parts(session, room_id)
        self._open = {
            (sort, key) for sort in UNDER_WAY
            for key in things(session, room_id, sort, only_open=True)
        }  # fmt: skip
        self._own: dict[tuple[str, str], bool] = {}

    def under_way(self, entry: Entry) -> FieldError | None:
        """It belongs to what is under way here."""
        for key in entry.things():
            if key in self._open and self._is_own(key):
                return FieldError(key[0], UNDER_WAY[key[0]], "a file ticks no step")
        return None

    def reported(self, entry: Entry) -> FieldError | None:
        """It says anew what somebody reported here, in place of a correction."""
        if not isinstance(entry, Incident) or entry.corrects or entry.id in self._told:
            return None
        key = (INCIDENT, entry.incident)
        state = thing(self._session, self._room_id, *key)
        if state is None or not state.problem or not self._is_own(key):
            return None
        return FieldError("incident", REPORTED, "a lead closes an incident")

    def _is_own(self, key: tuple[str, str]) -> bool:
        if key not in self._own:
            rows = BOOKS.source.after(self._session, self._room_id, key, START)
            self._own[key] = any(not is_of_file(row, self._told, self._parts) for row in rows)
        return self._own[key]
