"""The two looks around the empty one: at the full tank before the drain, at the refilled one after.

They are asked of tanks whose parts show something then; a room that sets up no parts is not asked.
"""

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime, timedelta

from sqlmodel import Session

from app.domain.checklists.gates import Block
from app.domain.checklists.run import Overrule, SwapState
from app.domain.checklists.template import Step
from app.domain.inspections.components import ComponentState
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import EMPTY
from app.domain.roomlog.kinds.inspections import COMPONENT, INSPECTION
from app.services.knowing import knew, signed_at
from app.services.swaps.under_way import local
from app.store.instants import from_us
from app.store.tables import TankRow
from app.store.things import things

FULL, REFILLED = "full", "refilled"
LOOKS = (FULL, EMPTY, REFILLED)
FULL_COUNTS = timedelta(days=1)
"""How long before its swap a look at the full tank may be: common practice, no source."""
WEEPS_AFTER = timedelta(minutes=10)
"""How long a dry cloth lies under a joint before it says anything: common practice, no source."""
BEFORE = {"drain": FULL, "restart": REFILLED}
"""The step that waits for a look, by its role."""
GATE_OF = {FULL: "full_look", REFILLED: "refilled_look"}
FOUND = {"full_look": FULL, "refilled_look": REFILLED}


def looks_missing(session: Session, room_id: int, state: SwapState, step: Step) -> list[Block]:
    """The gate of a look that nobody has signed yet, for each tank of the swap; those left out that
    a lead let pass, of a leak once it was found."""
    look = BEFORE.get(step.role, "")
    if not look:
        return []
    gate = GATE_OF[look]
    words = [one for one in state.overrules if one.step == step.key and one.gate == gate]
    return list(_missing(session, room_id, state, look, words))


def full_looks_missing(session: Session, room_id: int, state: SwapState) -> list[Block]:
    """The looks at full tanks that are still to come, while their pumps may run."""
    steps = state.with_role("drain")
    is_past = any(state.is_settled(one) for one in (*steps, *state.with_role("isolate")))
    if is_past or not steps:
        return []
    return looks_missing(session, room_id, state, steps[0])


def refilled_from(state: SwapState, tank: str) -> datetime | None:
    """From when on the look at a refilled tank says something, as pages say it: a whole minute.

    None before it is filled.
    """
    role = "fill" if tank == state.filled_tank else "move"
    ticks = [tick.at for step in state.with_role(role) if (tick := state.tick(step.key))]
    return _weeps_from(ticks[-1]) if ticks else None


def cloth_from(session: Session, room_id: int, state: SwapState, tank: str) -> datetime | None:
    """The same, and ten minutes after the last new part that may leak; None before the fill."""
    filled = refilled_from(state, tank)
    if filled is None:
        return None
    parts: list[ComponentState] = list(things(session, room_id, COMPONENT, only_open=True).values())
    fitted = (
        _weeps_from(part.past[-1].replaced_at)
        for part in parts
        if part.tank == tank and part.past and part.part and asked(part.part, REFILLED)
    )
    return max([filled, *fitted])


def _weeps_from(wet_at: datetime) -> datetime:
    weeps = wet_at + WEEPS_AFTER
    begun = weeps.replace(second=0, microsecond=0)
    return begun if begun == weeps else begun + timedelta(minutes=1)


def looked_since(session: Session, room_id: int, tank: str, since: datetime) -> bool:
    """Somebody has signed a look at the refilled tank whose answers are no older than that."""
    looks: list[InspectionState] = list(things(session, room_id, INSPECTION).values())
    return any(
        _counts(one, REFILLED, since) for one in looks if one.tank == tank and one.when == REFILLED
    )


def looks_around(
    session: Session, room_id: int, state: SwapState, looks: Collection[str] = (FULL, REFILLED)
) -> list[InspectionState]:
    """The looks at the full and the refilled tanks of a swap, or those asked for, in their
    order."""
    since = _since(session, room_id, state, state.tank, FULL)
    tanks = (state.tank, state.from_tank)
    found = [
        (one.started_at, one.key, one)
        for one in things(session, room_id, INSPECTION).values()
        if one.tank in tanks and one.when in looks and one.started_at is not None
        and since is not None and one.started_at >= since
        and (state.ended_at is None or one.started_at <= state.ended_at)
    ]  # fmt: skip
    return [one for _, _, one in sorted(found, key=lambda each: each[:2])]


def questions_of(
    session: Session, room_id: int, state: SwapState, step: Step
) -> list[tuple[str, str]]:
    """What the look that a step waits for asks: names of parts and questions."""
    look = BEFORE.get(step.role, "")
    tanks = (state.tank, state.from_tank)
    parts = things(session, room_id, COMPONENT, only_open=True).values()
    return [
        (part.name, one.question)
        for part in parts
        if look and part.part and part.tank in tanks
        for one in asked(part.part, look)
    ]


def _missing(
    session: Session, room_id: int, state: SwapState, look: str, words: Sequence[Overrule]
) -> Iterator[Block]:
    parts: list[ComponentState] = list(things(session, room_id, COMPONENT, only_open=True).values())
    done: list[InspectionState] | None = None
    for tank in filter(None, (state.tank, state.from_tank)):
        if not any(one.tank == tank and one.part and asked(one.part, look) for one in parts):
            continue
        since = _since(session, room_id, state, tank, look)
        if done is None:
            done = list(things(session, room_id, INSPECTION).values())
        mine = [one for one in done if one.tank == tank and one.when == look]
        leak = _leak(mine, state) if look == REFILLED else None
        new_at = _new_since(session, room_id, tank, parts) if look == FULL else None
        is_done = since is not None and any(
            _counts(one, look, max(since, new_at) if new_at else since) for one in mine
        )
        is_done &= leak is None
        found = signed_at(session, room_id, leak.key) if leak is not None and words else ()
        if is_done or knew(session, room_id, words, found):
            continue
        row = session.get(TankRow, (room_id, tank))
        name = row.name if row is not None else tank
        message = _words(session, room_id, look, name, since)
        if leak is not None:
            message = f"The last look found a leak at {name}. Once it is fixed, look again."
        yield Block(GATE_OF[look], message, tank=tank)


def _new_since(
    session: Session, room_id: int, tank: str, parts: Sequence[ComponentState]
) -> datetime | None:
    """Since when the bath of a tank, and what a look at the full tank asks of, is what it is now: a
    look at the seal before this one, or before the last swap, says nothing of it."""
    row = session.get(TankRow, (room_id, tank))
    filled = [from_us(row.fill_started_at_us)] if row is not None else []
    fitted = [
        part.past[-1].replaced_at
        for part in parts
        if part.tank == tank and part.past and part.part and asked(part.part, FULL)
    ]
    return max([*filled, *fitted], default=None)


def _leak(looks: list[InspectionState], state: SwapState) -> InspectionState | None:
    """The last signed look of this swap, where it found what takes the tank out of service: whoever
    let the tank go since has not seen it dry. None where it found nothing."""
    signed = [
        (one.closed_at, one.blocks_refill, one.key, one)
        for one in looks
        if one.closed_at is not None and state.started_at is not None
        and one.closed_at >= state.started_at
    ]  # fmt: skip
    last = max(signed, key=lambda each: each[:3], default=None)
    return last[3] if last is not None and last[1] else None


def _since(
    session: Session, room_id: int, state: SwapState, tank: str, look: str
) -> datetime | None:
    if look == REFILLED:
        return cloth_from(session, room_id, state, tank)
    return state.started_at - FULL_COUNTS if state.started_at is not None else None


def _counts(one: InspectionState, look: str, since: datetime) -> bool:
    """It is signed, and each answer came late enough; a cloth that nobody saw is no look, a noise
    that nobody could hear is left to the empty look."""
    if not one.is_closed or any(each.at is None or each.at < since for each in one.looks):
        return False
    return not one.not_seen if look == REFILLED else len(one.not_seen) < len(one.looks)


def _words(session: Session, room_id: int, look: str, name: str, since: datetime | None) -> str:
    if look == FULL:
        return f"Look at {name} while it is full: drips, noise and level show only then."
    if since is None:
        return f"Look at {name} ten minutes after the fill."
    return (
        f"Look at {name} from {local(session, room_id, since)} on: a slow leak needs ten minutes."
    )
