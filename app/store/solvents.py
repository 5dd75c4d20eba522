"""Reading which solvents a room may choose from."""

from collections.abc import Mapping

from sqlmodel import Session

from app.domain.own_solvents import OwnSolvents
from app.domain.roomlog.kinds.solvents import OWN_SOLVENTS, SOLVENT_LIMITS
from app.domain.solvent_limits import SolventLimits
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.waste.streams import STREAMS
from app.store.things import thing


def own_solvents(session: Session, room_id: int) -> OwnSolvents:
    """The solvents that the site has entered itself."""
    return thing(session, room_id, OWN_SOLVENTS, OWN_SOLVENTS) or OwnSolvents()


def solvent_limits(session: Session, room_id: int) -> SolventLimits:
    """The exposure limits that the site has set itself."""
    return thing(session, room_id, SOLVENT_LIMITS, SOLVENT_LIMITS) or SolventLimits()


def streams_here(session: Session, room_id: int) -> list[tuple[str, str]]:
    """All waste streams to choose from, those of own solvents before what is mixed or unknown."""
    own = [(key, STREAMS[key].name) for key in own_solvents(session, room_id).solvents]
    return [*own, *((stream.key, stream.name) for stream in STREAMS.values())]


def solvents_here(session: Session, room_id: int, *more: str | None) -> Mapping[str, Solvent]:
    """All solvents to choose from: the table's, the site's own, and those of the keys given."""
    own = own_solvents(session, room_id).solvents
    held = {key: SOLVENTS[key] for key in more if key and key in SOLVENTS}  # by an older sheet
    return {**dict(SOLVENTS.items()), **own, **held}
