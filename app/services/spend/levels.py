"""How much stood in each bath at instants, without walking its whole log each time.

What the log says of the baths up to the end of the weeks that are looked at is read once and kept
until one of these entries is corrected or withdrawn, or another one comes among them.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.checklists.standing import as_of, standing
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SWAP, TankContents
from app.domain.roomlog.kinds.waste import Pour
from app.domain.spend.cost_folds import BATHS
from app.domain.spend.mass_balance import Change, Levels, levels_at
from app.services.entries import entry_of
from app.services.kept import kept
from app.store import spend_baths as reads
from app.store.instants import to_us
from app.store.site import site
from app.store.things import things

KINDS = sorted(BATHS | {Pour.kind, TankContents.kind})
MOST_KEPT = 4


@dataclass(frozen=True)
class _Past:
    """What the log says of the baths up to an instant.

    Attributes:
        last_id: the last entry that was stored by then.
        before: the baths as all entries before the weeks that are looked at leave them.
        entries: those of these weeks.
    """

    last_id: int
    before: Levels
    entries: tuple[Entry, ...]


def levels_between(
    session: Session, room_id: int, since: datetime, moments: Sequence[datetime], change: Change
) -> list[dict[str, float]]:
    """Litres in each bath at each of the instants, which rise and lie behind `since`.

    `change` is the expected change of a volume behind `since`, litres; before it there is none.
    """
    past = _past(session, room_id, to_us(since), to_us(moments[-1]))
    found = levels_at(past.entries, moments, change, past.before)
    _lay_over(session, room_id, moments, found)
    return found


def _lay_over(
    session: Session, room_id: int, moments: Sequence[datetime], found: list[dict[str, float]]
) -> None:
    """In tanks whose swap is under way stands what its steps left or filled by each instant."""
    states: Iterable[SwapState] = things(session, room_id, SWAP, only_open=True).values()
    for state in states:
        heel_percent = site(session, room_id).heel_percent
        for moment, levels in zip(moments, found, strict=True):
            for tank in filter(None, (state.tank, state.from_tank)):
                stands = standing(as_of(state, moment), tank, heel_percent)
                if stands is not None and tank in levels:
                    levels[tank] = stands.litres


def _past(session: Session, room_id: int, since_us: int, until_us: int) -> _Past:
    known: dict[tuple[int, int], _Past] = kept(session, room_id, "levels of baths", "", dict)
    found, last_id = known.get((since_us, until_us)), reads.last_entry(session)

    def stands(end_us: int) -> bool:
        return found is not None and not reads.has_changed_before(
            session, room_id, found.last_id, end_us, KINDS
        )

    if found is not None and stands(until_us):
        past = _Past(max(last_id, found.last_id), found.before, found.entries)
    else:
        is_old = found is not None and stands(since_us)
        before = found.before if found and is_old else _walked(session, room_id, since_us)
        past = _Past(last_id, before, tuple(_entries(session, room_id, since_us, until_us)))
        if len(known) >= MOST_KEPT:
            known.clear()
    known[since_us, until_us] = past
    return past


def _walked(session: Session, room_id: int, until_us: int) -> Levels:
    walk = Levels(lambda *_: 0.0)
    for entry in _entries(session, room_id, None, until_us):
        walk.take(entry)
    return walk


def _entries(
    session: Session, room_id: int, since_us: int | None, until_us: int
) -> Iterator[Entry]:
    """What was set up, filled and drained between two instants, in the order of truth."""
    rows = reads.counting_between(session, room_id, KINDS, since_us, until_us)
    return (entry_of(row) for row in rows)
