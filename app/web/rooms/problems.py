"""The open problems of a room, as the room page and the wall say them: the worst first."""

from dataclasses import dataclass

from app.domain.harm.faults import FAULTS
from app.domain.incidents.book import IncidentState
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds.incidents import PROBLEMS
from app.domain.waste.drums import DrumState
from app.services.acts.incidents import incidents
from app.services.curing.stations import stations
from app.services.waste import drums
from app.store.queries import Board
from app.web import words
from app.web.deps import Visit

WARM = "drum_warm"
QUIET = ("near_miss", "pickup_cancelled")
"""Problems in which nothing happened to anybody: they wait, without a colour."""


@dataclass(frozen=True)
class ProblemLine:
    """A problem that no lead has closed.

    Attributes:
        since: its time, as short as it is clear.
        place: the tank, station or drum it was at; empty where none was named.
        done: what was done or noted when it was reported.
    """

    key: str
    title: str
    since: str
    place: str
    done: str
    is_quiet: bool
    href: str

    @property
    def about(self) -> str:
        """Where it was and what was done, as one text."""
        return ". ".join(text for text in (self.place, self.done.rstrip(".")) if text)


def open_problems(visit: Visit, board: Board) -> list[ProblemLine]:
    """What is open, the worst kind first, of each kind the latest."""
    found = incidents(visit.session, visit.room_id, only_open=True)
    lines = [(state.problem, _line(state, visit, board)) for state in found]
    told = {state.drum for state in found}
    lines += [(WARM, _warm(drum, visit)) for drum in warm_drums(visit) if drum.key not in told]
    lines.sort(key=lambda line: PROBLEMS.index(line[0]))  # the latest stay before others
    return [line for _, line in lines]


def warm_drums(visit: Visit) -> list[DrumState]:
    """Drums that are here and were found warm, hissing or bulging, by a check or a report."""
    here = drums(visit.session, visit.room_id, only_open=True).values()
    return [drum for drum in here if drum.is_warm]


def _warm(drum: DrumState, visit: Visit) -> ProblemLine:
    """A drum whose weekly check found it so: it is as dangerous without a report."""
    at = drum.checked_at
    return ProblemLine(
        f"warm-{drum.key}",
        GUIDES[WARM].title,
        words.moment(at, visit.now, visit.zone) if at is not None else "",
        f"Drum {drum.name or drum.key}",
        FAULTS[WARM].way,
        False,
        visit.address("waste", "drums", drum.key),
    )


def _line(state: IncidentState, visit: Visit, board: Board) -> ProblemLine:
    assert state.at is not None  # it was reported
    return ProblemLine(
        state.key,
        GUIDES[state.problem].title,
        words.moment(state.at, visit.now, visit.zone),
        _place(state, visit, board),
        state.done or state.note,
        state.problem in QUIET,
        visit.address("incidents", state.key),
    )


def _place(state: IncidentState, visit: Visit, board: Board) -> str:
    if state.tank:
        tank = board.tank(state.tank)
        return f"{tank.place} {tank.name}" if tank else state.tank
    if state.station:
        names = {one.key: one.name for one in stations(visit.session, visit.room_id)}
        return names.get(state.station, state.station)
    if state.drum:
        drum = drums(visit.session, visit.room_id).get(state.drum)
        return f"Drum {(drum.name if drum else '') or state.drum}"
    return ""
