"""What does not belong in a tank that its swap has drained, or whose contents nobody knows."""

from sqlmodel import Session

from app.domain.checklists.tank_contents import standing
from app.domain.errors import FieldError
from app.domain.holds import CONTENTS, HoldState
from app.domain.roomlog.kinds import Entry, Reading, Removal, Swap, TopUp, Wash
from app.domain.roomlog.kinds.incidents import HOLD
from app.services.swaps.under_way import local, open_swap
from app.store.site import site
from app.store.things import thing

WORDS: dict[type[Entry], str] = {Wash: "wash", TopUp: "top-up", Reading: "reading"}


def drained_problems(session: Session, room_id: int, entry: Entry) -> list[FieldError]:
    """Why a wash, top-up, reading or swap is refused: its tank was drained before it in a swap that
    is under way, or nobody has said what is in it.

    The reading of the fresh solvent is a step of the swap.
    """
    tank = getattr(entry, "tank", None)
    if tank is None:
        return []
    if isinstance(entry, TopUp | Reading | Swap | Removal):
        state: HoldState | None = thing(session, room_id, HOLD, tank)
        asked = [one for one in state.holds if one.cause == CONTENTS] if state else []
        is_answer = isinstance(entry, Removal | Swap) and entry.swap is not None
        if asked and entry.at >= asked[0].since_at and not is_answer:
            message = "First say what is in this tank, on its page."
            return [FieldError("tank", message, "contents are said first")]
    word = WORDS.get(type(entry))
    if word is None or (isinstance(entry, Reading) and entry.of_fresh):
        return []
    return _in_a_swap(session, room_id, tank, entry, word)


def _in_a_swap(
    session: Session, room_id: int, tank: str, entry: Entry, word: str
) -> list[FieldError]:
    state = open_swap(session, room_id, tank)
    if state is None:
        return []
    found = standing(state, tank, site(session, room_id).heel_percent)
    if found is None or entry.at < found.since_at:
        return []
    since = local(session, room_id, found.since_at)
    message = (
        f"A swap emptied this tank at {since} and is not complete: a {word} after that is not "
        "stored. Complete the swap first, or give it up."
    )
    return [FieldError("tank", message)]


def begun_words(session: Session, room_id: int, entry: Wash) -> str:
    """What is asked of a wash after a swap of its tank began; empty where none did.

    Once its liquid is out the wash is refused.
    """
    state = open_swap(session, room_id, entry.tank)
    if state is None or state.started_at is None or entry.at < state.started_at:
        return ""
    who, at = state.started_by or "Somebody", local(session, room_id, state.started_at)
    began = f"{who} began a swap of this bath at {at}."
    if any(state.tick(step.key) is not None for step in state.with_role("isolate")):
        return f"{began} Its power is off, and somebody may have hands in it. Wash here anyway?"
    return f"{began} Wash here anyway?"
