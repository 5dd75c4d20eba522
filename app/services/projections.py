"""All projections of a room's log, in the order in which they need each other."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime

from sqlmodel import Session, col, select

from app.domain.folds import in_order
from app.domain.roomlog.kinds import Entry
from app.services.backlog import wait_behind
from app.services.baths.projection import Baths
from app.services.baths.states import first_of_baths
from app.services.books import Books
from app.services.changes import Progress, changes_of
from app.services.projecting import Projection, Write
from app.services.spend.projection import Costs, rebuild_spend
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.projection_tables import ProjectionRow
from app.store.tables import RoomRow

COSTS = Costs()
ALL: tuple[Projection, ...] = in_order((COSTS, Baths(), Books()))


def project(
    session: Session, store: Store, room: RoomRow, entries: Sequence[Entry],
    rest: Sequence[Entry], now: datetime, progress: Progress | None = None,
) -> None:  # fmt: skip
    """Bring all that is worked out from the log up to entries that were just appended.

    `rest` are those of them that the books have not taken in yet. Where a room's figures follow
    later, the first place that was touched is noted instead.
    """
    assert room.id is not None
    changes = changes_of(session, room.id, entries)
    left = changes if len(rest) == len(entries) else changes_of(session, room.id, rest)
    waiting = wait_behind(session, room.id, first_of_baths(changes), entries)
    write = Write(session, store, room, now, changes, left, waiting, progress)
    for projection in ALL:
        projection.move(write)


def rebuild(
    session: Session, store: Store, room: RoomRow, now: datetime,
    progress: Progress | None = None, outdated: Mapping[str, Collection[str]] | None = None,
) -> None:  # fmt: skip
    """Work out anew what is outdated, or all of it, and what needs that.

    Where figures were to follow later, all is worked out: nothing is left to follow.
    """
    done: set[str] = set()
    behind = session.get(BehindRow, room.id)
    if behind is not None:
        outdated = None
        session.delete(behind)
    for one in ALL:
        kinds = one.versions(room).keys() if outdated is None else outdated.get(one.name, ())
        if one.needs and done & set(one.needs):
            kinds = one.versions(room).keys()
        if not kinds:
            continue
        one.rebuild(session, store, room, kinds, now, progress)
        note_versions(session, room, [one])
        done.add(one.name)


def rebuild_costs(session: Session, room: RoomRow) -> None:
    """Work the costs out anew: the room's weeks begin at other instants."""
    rebuild_spend(session, room)
    note_versions(session, room, [COSTS])


def note_versions(session: Session, room: RoomRow, projections: Iterable[Projection] = ALL) -> None:
    """Note that what is kept of a room is of this program's versions."""
    assert room.id is not None
    for one in projections:
        for kind, version in one.versions(room).items():
            session.merge(ProjectionRow(room_id=room.id, name=one.name, kind=kind, version=version))


def outdated(session: Session, room: RoomRow) -> dict[str, set[str]]:
    """What of a room another version has kept, or none: kinds by projection."""
    query = select(ProjectionRow).where(col(ProjectionRow.room_id) == room.id)
    there = {(row.name, row.kind): row.version for row in session.exec(query)}
    found = {
        one.name: {
            kind for kind, version in one.versions(room).items()
            if there.get((one.name, kind)) != version
        }
        for one in ALL
    }  # fmt: skip
    return {name: kinds for name, kinds in found.items() if kinds}
