"""A step is ticked: who and when, what it was answered, and what follows from it.

The first tick writes its consequences with it, in one transaction: waste into a drum, solvent from
the shelf, the reading of the fresh bath. A later one is kept in the history, without effect.
"""

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.checklists.answers import answer_problems
from app.domain.checklists.roles import RINSES
from app.domain.errors import Doubtful, FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds import Entry, Reading
from app.domain.roomlog.kinds.checklists import StepDone
from app.services import door
from app.services.door import Recorded
from app.services.questions import doubts
from app.services.swaps.amounts import (
    choose_drum,
    drain,
    fill,
    move,
    read,
    rinse,
)
from app.services.swaps.inspected import SENSOR_STATE, finding_waits, inspect, shut_before
from app.services.swaps.measuring import WEIGHED, measured
from app.services.swaps.scene import Outcome, Scene
from app.services.swaps.under_way import Hand, local, under_way
from app.store.engine import Store
from app.store.site import site
from app.store.tables import RoomRow

Settles = Callable[[Sequence[str]], bool]
"""Whether doubts, in sentences, were asked about before and answered."""


def settles_none(_doubts: Sequence[str]) -> bool:
    """Nothing was asked about yet."""
    return False


@dataclass(frozen=True)
class Said:
    """What was said at a step.

    Attributes:
        answers: by name, in the kept units.
        confirmed: places of the points that were confirmed.
        reading: the first reading of the fresh bath, where the step asks for it.
        settles: what was asked about before and answered.
        asked: names of the questions that the answer settles.
    """

    step: str
    hand: Hand
    answers: Mapping[str, Any] = field(default_factory=dict)
    confirmed: frozenset[int] = frozenset()
    reading: Reading | None = None
    settles: Settles = settles_none
    asked: frozenset[str] = frozenset()


def tick(
    store: Store, room: str, key: str, said: Said, now: datetime, submission: str | None = None
) -> Recorded:
    """Tick a step of a swap.

    Raises:
        FieldErrors: an answer does not fit, or a gate is shut (field `gate`).
        Doubtful: something is odd and was not settled.
        NotFound: there is no such swap or step.
        Conflict: the swap has ended.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, key)
        step = state.step(said.step)
        if step is None:
            raise NotFound("This swap has no such step.")
        done = _entry(key, said)
        before = state.tick(step.key)
        if before is not None:
            return [replace(done, repeats=before.id)]
        scene = Scene(
            session, row, state, step, said.hand, said.answers, site(session, row.id), now
        )
        if step.role in ("drain", *WEIGHED) and not gate_problems(scene):
            scene = replace(scene, answers=measured(scene))
            told = replace(said, answers=scene.answers)
            return _first(scene, replace(_entry(key, told), id=done.id), told)
        return _first(scene, done, said)

    sent = {
        "tick": key, "step": said.step, "by": said.hand.by, "note": said.hand.note,
        "answers": dict(said.answers), "confirmed": sorted(said.confirmed),
        "reading": dict(said.reading.values) if said.reading else None,
    }  # fmt: skip
    return door.enter(store, room, door.Act(decide, sent), now, submission, confirmed=said.asked)


def _entry(key: str, said: Said) -> StepDone:
    hand = said.hand
    answers = {name: value for name, value in said.answers.items() if value not in (None, "", "-")}
    if said.reading is not None:
        answers |= {"method": said.reading.method, **said.reading.values}
    return StepDone(
        at=hand.at, id=uuid.uuid4().hex, by=hand.by, note=hand.note, swap=key, step=said.step,
        answers=answers or None,
    )  # fmt: skip


def _first(scene: Scene, done: StepDone, said: Said) -> list[Entry]:
    """The tick that counts, with what follows from it."""
    errors = [*_time_problems(scene), *gate_problems(scene)]
    errors += answer_problems(scene.step, said.answers, said.confirmed, said.hand.by)
    if waits := finding_waits(scene.session, scene.room_id, scene.state, done):
        errors.append(FieldError(SENSOR_STATE, waits))
    if errors:
        raise FieldErrors(errors)
    follow = _ROLES.get(scene.step.role)
    outcome = follow(scene, said.reading) if follow else None
    if outcome is not None and outcome.errors:
        raise FieldErrors(outcome.errors)
    made = outcome.entries if outcome else []
    named = doubts(scene.session, scene.room, [done, *made], scene.now)
    own = outcome.doubts if outcome else ()
    asked = [*(one for one in own if not any(one in other for other in named)), *named]
    if asked and not said.settles(asked):
        raise Doubtful(asked)
    entries = [replace(entry, id=f"{done.id}.{place}") for place, entry in enumerate(made, 1)]
    wrote = [entry.id for entry in entries] or None
    return [replace(done, wrote=wrote), *entries]


def gate_problems(scene: Scene) -> list[FieldError]:
    """The gates that are shut before the step, as messages."""
    shut = shut_before(scene.session, scene.room_id, scene.state, scene.step)
    return [FieldError("gate", one.message) for one in shut]


def _time_problems(scene: Scene) -> list[FieldError]:
    started_at = scene.state.started_at
    if started_at is not None and scene.hand.at < started_at:
        began = local(scene.session, scene.room_id, started_at)
        return [FieldError("at", f"This swap began later, at {began}.")]
    return []


_ROLES: Mapping[str, Callable[[Scene, Reading | None], Outcome]] = {
    "drum": lambda scene, _: choose_drum(scene),
    "drain": lambda scene, _: drain(scene),
    "inspection": lambda scene, _: inspect(scene),
    **{role: lambda scene, _: rinse(scene) for role in RINSES},
    "move": lambda scene, _: move(scene),
    "fill": lambda scene, _: fill(scene),
    "reading": read,
}
