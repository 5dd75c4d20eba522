"""The labour of swaps and inspections: each job's line, worked out from its entries together."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import bindparam
from sqlalchemy import select as sql_select
from sqlmodel import col, select

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.spend.cost_folds import (
    ENTRY_JOB,
    INSPECTION_JOB,
    JOB,
    LABOUR,
    SWAP_JOB,
    job_lines,
)
from app.services.entries import Place, entry_of, place_of
from app.services.spend.following import Follower
from app.store.spend_lines import drop_lines, put_states, rows_of, states_in
from app.store.tables import EntryRow, LinkRow

SOME = 200
ENTRIES: Any = EntryRow.__table__  # type: ignore[attr-defined]
LINKS: Any = LinkRow.__table__  # type: ignore[attr-defined]
STEPS_OF = (
    sql_select(LINKS.c.key, ENTRIES)
    .join(ENTRIES, ENTRIES.c.id == LINKS.c.entry_id)
    .where(
        LINKS.c.room_id == bindparam("room_id"), LINKS.c.thing == bindparam("thing"),
        LINKS.c.key.in_(bindparam("keys", expanding=True)), ENTRIES.c.voided_by.is_(None),
        ENTRIES.c.kind.in_(LABOUR),
    )
)  # fmt: skip
WITHIN, NO_WEEK = "within", -(2**31)

Steps = dict[str, list[tuple[Place, Entry]]]


def keep_jobs(follower: Follower, jobs: Iterable[str]) -> None:
    """Work the lines of these jobs out anew."""
    names = sorted(jobs)
    for start in range(0, len(names), SOME):
        _keep_some(follower, names[start : start + SOME])


def _keep_some(follower: Follower, names: Sequence[str]) -> None:
    inspections = _keys(names, INSPECTION_JOB)
    looks = _steps(follower, INSPECTION_JOB, inspections)
    swaps = set(_keys(names, SWAP_JOB))
    news: dict[str, set[str]] = {}
    done: dict[str, list[tuple[Place, Entry]]] = {}
    for inspection in inspections:
        within = _swaps_of(looks.get(inspection, []))
        for swap in within:
            news.setdefault(swap, set()).add(inspection)
        swaps |= within
        done[f"{INSPECTION_JOB}:{inspection}"] = [] if within else looks.get(inspection, [])
    done |= _swaps(follower, swaps, news)
    for uid in _keys(names, ENTRY_JOB):
        query = select(EntryRow).where(
            EntryRow.room_id == follower.room_id, EntryRow.uid == uid,
            col(EntryRow.voided_by).is_(None),
        )  # fmt: skip
        rows = follower.session.exec(query).all()
        done[f"{ENTRY_JOB}:{uid}"] = [(place_of(row), entry_of(row)) for row in rows]
    _store(follower, done)


def _store(follower: Follower, done: Steps) -> None:
    """Store the lines of jobs that are others than before; most often a step moves none."""
    rows = {}
    for name, steps in done.items():
        ordered = [entry for _, entry in sorted(steps, key=lambda step: step[0])]
        lines = [
            (follower.week_at(line.line.at), line) for line in job_lines(ordered, follower.basis)
        ]
        rows[f"{JOB}:{name}"] = follower.rows(f"{JOB}:{name}", lines)
    there = rows_of(follower.session, follower.room_id, sorted(rows))
    other = [part for part, own in rows.items() if own != there.get(part, [])]
    drop_lines(follower.session, follower.room_id, [part for part in other if part in there])
    follower.change(
        [row for part in other for row in rows[part]],
        [row for part in other for row in there.get(part, ())],
    )


def _swaps(follower: Follower, swaps: set[str], news: dict[str, set[str]]) -> Steps:
    """The entries of swaps, and of the inspections that are steps of them."""
    own = _steps(follower, SWAP_JOB, sorted(swaps))
    names = [f"{WITHIN}:{swap}" for swap in sorted(swaps)]
    kept = states_in(follower.session, follower.room_id, names, NO_WEEK)
    within: dict[str, set[str]] = {
        swap: set(json.loads(kept.get(f"{WITHIN}:{swap}", "[]"))) for swap in swaps
    }
    rows = []
    for swap, inspections in news.items():
        if not inspections <= within[swap]:
            within[swap] |= inspections
            rows.append(_within_row(follower.room_id, swap, within[swap]))
    put_states(follower.session, rows)
    looks = _steps(follower, INSPECTION_JOB, sorted({x for some in within.values() for x in some}))
    found: Steps = {}
    for swap in swaps:
        theirs = [
            step
            for inspection in within[swap]
            if swap in _swaps_of(looks.get(inspection, []))
            for step in looks[inspection]
        ]
        found[f"{SWAP_JOB}:{swap}"] = [*own.get(swap, []), *theirs]
    return found


def _within_row(room_id: int, swap: str, inspections: set[str]) -> dict[str, Any]:
    return {
        "room_id": room_id, "part": f"{WITHIN}:{swap}", "week": NO_WEEK, "moment_us": 0, "rank": 0,
        "sequence": 0, "state": json.dumps(sorted(inspections)),
    }  # fmt: skip


def _swaps_of(steps: Iterable[tuple[Place, Entry]]) -> set[str]:
    return {step.swap for _, step in steps if isinstance(step, InspectionStarted) and step.swap}


def _keys(names: Iterable[str], kind: str) -> list[str]:
    return [name.split(":", 1)[1] for name in names if name.startswith(f"{kind}:")]


def _steps(follower: Follower, thing: str, keys: Sequence[str]) -> Steps:
    """The entries of labour in the books of swaps or inspections, by their key."""
    found: Steps = {}
    for start in range(0, len(keys), SOME):
        some = {
            "room_id": follower.room_id, "thing": thing, "keys": keys[start : start + SOME],
        }  # fmt: skip
        for row in follower.session.execute(STEPS_OF, some):
            entry = entry_of(row)
            if thing == SWAP_JOB and getattr(entry, "inspection", None):
                continue
            found.setdefault(row.key, []).append((place_of(row), entry))
    return found
