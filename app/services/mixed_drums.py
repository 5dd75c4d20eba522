"""Drums that hold two streams by the log: told by an import, or by tablets that sent late.

A fold sees of a pour no more than its drum. Which solvent stood in the tank it came from is
read from what the tanks were filled with.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, TypeVar

from sqlmodel import Session

from app.domain.roomlog.kinds.waste import DRUM, Drum
from app.domain.solvents.own import sheet_of
from app.domain.waste.drums import MIXED_UP, DrumState, Filling
from app.domain.waste.streams import OWN_MIXED, STREAMS, fits_bath
from app.services.entries import entry_of
from app.services.tank_fills import Fill, Fills, tank_fills
from app.services.then import thing_before
from app.store.solvents import own_solvents
from app.store.things import book

Answer = TypeVar("Answer")
UNNAMED = "a solvent of your own that nobody has named"
ABOUT = timedelta(days=1)
"""A bath that is drained and its new fill are written down within a day; common practice."""
Known = dict[tuple[str, str], Any]
"""What is known of the drums that things were moved from, by question and id of the move: each
is looked into once, however often two drums were poured to and fro."""
MOST_MOVES = 60  # one behind the other; a drum behind a longer chain counts by its own book


def with_mixed(
    session: Session, room_id: int, drum: DrumState, known: Known | None = None
) -> DrumState:
    """The drum, flagged where the bath of another stream went into it since it was last known."""
    known = {} if known is None else known
    if drum.is_mixed or not drum.fillings or drum.stream == "unknown" or drum.is_shipped:
        return drum
    fills = tank_fills(session, room_id)
    foreign = (_is_foreign(session, room_id, drum, one, fills, known) for one in drum.fillings)
    if any(foreign) or len(own_in(session, room_id, drum, known)) > 1:
        return replace(drum, flags=(*drum.flags, MIXED_UP))
    return drum


def source_of(session: Session, room_id: int, filling: Filling) -> DrumState:
    """The drum that a filling came from as it stood before: emptied since, it would say nothing of
    what was moved."""
    state: DrumState = thing_before(session, room_id, DRUM, filling.from_drum, filling.entry)
    return state


def of_source(
    session: Session, room_id: int, filling: Filling, what: str, known: Known,
    ask: Callable[[DrumState], Answer], otherwise: Answer,
) -> Answer:  # fmt: skip
    """What is to be known of the drum that a filling came from; each is asked once."""
    place, depth = (what, filling.entry), ("depth", what)
    if place not in known:
        known[depth] = known.get(depth, 0) + 1
        is_near = known[depth] <= MOST_MOVES
        known[place] = ask(source_of(session, room_id, filling)) if is_near else otherwise
        known[depth] -= 1
    answer: Answer = known[place]
    return answer


def own_in(
    session: Session, room_id: int, drum: DrumState, known: Known | None = None
) -> frozenset[str]:
    """Names of the site's own solvents whose baths went into a drum for such mixtures.

    All of them share that stream, and two of them are two wastes all the same.
    """
    if drum.stream != OWN_MIXED:
        return frozenset()
    known = {} if known is None else known
    fills, names = tank_fills(session, room_id), set[str]()
    for one in drum.fillings:
        if drum.tested_at is not None and one.at < drum.tested_at:
            continue
        if one.from_drum:
            names |= of_source(
                session, room_id, one, "own", known,
                lambda other: own_in(session, room_id, other, known), frozenset[str](),
            )  # fmt: skip
        elif one.tank:
            names |= _own_names(_stood_in(fills.get(one.tank, ()), one.at))
    return frozenset(names)


def other_own(session: Session, room_id: int, drum: DrumState, solvents: Iterable[str]) -> str:
    """The own solvent in a drum that the bath of another one may not join; empty without one."""
    return _apart(session, room_id, drum, frozenset(_own_names(solvents)), is_named=True)


def other_own_drum(session: Session, room_id: int, drum: DrumState, source: DrumState) -> str:
    """The own solvent in a drum that the contents of another drum may not join; else empty."""
    coming = own_in(session, room_id, source)
    return _apart(
        session, room_id, drum, coming, is_named=not _is_unnamed(session, room_id, source)
    )


def _apart(
    session: Session, room_id: int, drum: DrumState, coming: frozenset[str], *, is_named: bool
) -> str:
    """What is in a drum that what comes does not join, by what both may be."""
    if drum.stream != OWN_MIXED or not (coming or not is_named):
        return ""
    held, is_held_named = own_in(session, room_id, drum), not _is_unnamed(session, room_id, drum)
    known = _own_known(session, room_id)
    may_be = coming | (frozenset() if is_named else known)
    may_hold = held | (frozenset() if is_held_named else known)
    if not may_hold or len(may_be | may_hold) < 2:
        return ""
    return ", ".join(sorted(held)) or UNNAMED


def _is_unnamed(
    session: Session, room_id: int, drum: DrumState, known: Known | None = None
) -> bool:
    """Some of what is in a drum for mixtures of own solvents came without a word of which: it was
    in it as the drum was set up, or a pour named no tank."""
    if drum.stream != OWN_MIXED or drum.is_empty:
        return False
    since, seen = drum.tested_at, {} if known is None else known
    counts = (one for one in drum.fillings if since is None or one.at >= since)
    for one in counts:
        if one.from_drum and of_source(
            session, room_id, one, "unnamed", seen,
            lambda other: _is_unnamed(session, room_id, other, seen), True,
        ):  # fmt: skip
            return True
        if not one.tank and not one.from_drum:
            return True
    first = (row for row in book(session, room_id, DRUM, drum.key) if row.kind == Drum.kind)
    entries = (entry_of(row) for row in first if row.voided_by is None)
    return any(
        isinstance(one, Drum) and (one.volume_l or 0) > 0 and (since is None or one.at >= since)
        for one in entries
    )


def _own_known(session: Session, room_id: int) -> frozenset[str]:
    """Names of all own solvents of the site, and of those that stood in its tanks."""
    stood = (one.solvent for fills in tank_fills(session, room_id).values() for one in fills)
    return frozenset(_own_names([*own_solvents(session, room_id).keys, *stood]))


def _own_names(solvents: Iterable[str]) -> set[str]:
    return {sheet.name for one in solvents if (sheet := sheet_of(one)) is not None}


def solvents_in(session: Session, room_id: int, tank: str, at: datetime) -> set[str]:
    """The solvents that stood in a tank within a day of an instant."""
    return _stood_in(tank_fills(session, room_id).get(tank, ()), at)


def solvent_before(session: Session, room_id: int, tank: str, at: datetime) -> str | None:
    """The solvent of the last fill of a tank that had begun by an instant; None where none had."""
    fills = tank_fills(session, room_id).get(tank, ())
    return next((one.solvent for one in reversed(fills) if one.solvent and one.at <= at), None)


def _is_foreign(
    session: Session, room_id: int, drum: DrumState, filling: Filling, fills: Fills, known: Known
) -> bool:
    if drum.tested_at is not None and filling.at < drum.tested_at:
        return False
    if filling.from_drum:
        return of_source(
            session, room_id, filling, "mixed", known,
            lambda other: with_mixed(session, room_id, other, known).is_mixed, False,
        )  # fmt: skip
    if not filling.tank:
        return False
    if not STREAMS[drum.stream].is_liquid:
        return not filling.is_weighed and not filling.is_taken_up
    stood = _stood_in(fills.get(filling.tank, ()), filling.at)
    return bool(stood) and not any(fits_bath(drum.stream, solvent) for solvent in stood)


def _stood_in(fills: Sequence[Fill], at: datetime) -> set[str]:
    """The solvents that stood in a tank within a day of an instant."""
    named = [one for one in fills if one.solvent]
    last = next((one.solvent for one in reversed(named) if one.at <= at - ABOUT), None)
    near = {one.solvent for one in named if at - ABOUT < one.at <= at + ABOUT}
    return near if last is None else near | {last}
