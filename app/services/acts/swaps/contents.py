"""What is in the tank now? Asked where a swap stops on the way, from the drain on.

While the swap is under way the answer sets the level. Once it is given up the answer is what the
log of the bath lacks: a removal, the new bath where it was filled already, or that all is as
before. Until somebody answers the tank is held.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.litres import Found
from app.domain.checklists.run import SwapState
from app.domain.errors import Conflict, Doubtful, FieldError, FieldErrors
from app.domain.roomlog.checks import MOST_OF_CAPACITY
from app.domain.roomlog.kinds import Entry, Removal, SwapAbandoned
from app.domain.roomlog.kinds.checklists import TankContents
from app.services import door
from app.services.acts.swaps.closing import balance_of, made_l, new_baths
from app.services.acts.swaps.ticking import Settles, settles_none
from app.services.door import Recorded
from app.services.swaps.asking import Asked, asked_of
from app.services.swaps.scene import LEAST_POUR_L
from app.services.swaps.under_way import Hand, local, swap_state, under_way
from app.store.engine import Store
from app.store.site import site
from app.store.tables import RoomRow
from app.units import volume_words

SETTLED = frozenset({"contents are said first", "a bath after a given-up swap is told in litres"})
"""Rules that an answer keeps by itself: it is what is to be said first, and writes the litres."""

LATER = "asked"
AS_BEFORE, EMPTY, PARTLY, NEW = "as_before", "empty", "partly", "filled"


@dataclass(frozen=True)
class Answer:
    """What somebody says is in a tank; `left_l` where it is a part.

    `seen` is the mark (`mark_of`) of what had been said as the form was shown: what another said
    since is told before it is replaced. None where no form was shown.
    """

    tank: str
    found: str
    left_l: float | None = None
    seen: str | None = None


def give_up(
    store: Store, room: str, key: str, hand: Hand, now: datetime, submission: str | None = None,
    answers: Sequence[Answer] = (), *, settles: Settles = settles_none,
) -> Recorded:  # fmt: skip
    """Give a swap up. What its tanks hold is written with it; a tank of which nobody says it is
    held until somebody does. Its pours stay.

    Raises:
        NotFound, Conflict: there is no such swap, or it has ended.
        FieldErrors: an answer that cannot be.
        Doubtful: an answer that contradicts what went into drums, not settled.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = under_way(session, row.id, key)
        asked = asked_of(session, row.id, state)
        said = {one.tank: one for one in answers if one.found != LATER}
        moved = {one.tank for one in asked}  # asked with the giving up, answered behind it
        of = [one for one in asked if one.tank in said]
        since = _said_since(session, row, state, of, said)
        _check(session, row, of, said, settles, since, is_open=True)
        over: list[Entry] = [
            SwapAbandoned(
                at=hand.at, by=hand.by, note=hand.note, tank=tank, swap=key,
                asks_contents=True if tank in moved else None,
            )
            for tank in filter(None, (state.tank, state.from_tank))
        ]  # fmt: skip
        return over + _over(session, row.id, state, asked, said, hand)

    act = door.Act(decide, _sent("abandon", key, hand, answers), SETTLED)
    return door.enter(store, room, act, now, submission)


def say(
    store: Store, room: str, key: str, answers: Sequence[Answer], hand: Hand, now: datetime,
    submission: str | None = None, *, settles: Settles = settles_none,
) -> Recorded:  # fmt: skip
    """Say what is in the tanks of a swap that paused, is held, was reopened or given up.

    Raises:
        NotFound: there is no such swap.
        Conflict: it has ended otherwise, or somebody has answered meanwhile.
        FieldErrors, Doubtful: as `give_up`.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        state = swap_state(session, row.id, key)
        if state.end and not state.asks:
            raise Conflict(_answered(session, row.id, state))
        asked = asked_of(session, row.id, state)
        if not asked:
            raise Conflict("Nothing was drained or filled in this swap. Its bath is as before.")
        said = {one.tank: one for one in answers}
        missing = [one for one in asked if one.tank not in said]
        if missing:
            message = f"Say what is in {missing[0].name}."
            raise FieldErrors([FieldError(f"{missing[0].prefix}found", message)])
        since = _said_since(session, row, state, asked, said)
        _check(session, row, asked, said, settles, since, is_open=state.is_open)
        if state.end:
            return _over(session, row.id, state, asked, said, hand)
        return [_word(state, said[one.tank], hand) for one in asked]

    act = door.Act(decide, _sent("contents", key, hand, answers), SETTLED)
    return door.enter(store, room, act, now, submission)


def mark_of(state: SwapState) -> str:
    """What has been said of the tanks of a swap so far, as a mark that a form brings back."""
    said = [(one.tank, one.found, one.at.isoformat(), one.left_l) for one in _words(state)]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:16]


def _words(state: SwapState) -> list[Found]:
    return [one for one in state.said if not one.is_asked]


def _said_since(
    session: Session,
    row: RoomRow,
    state: SwapState,
    asked: Sequence[Asked],
    said: Mapping[str, Answer],
) -> list[str]:
    """What somebody else said of each tank since the form was shown; nothing where nobody did."""
    last, mark = {one.tank: one for one in _words(state)}, mark_of(state)
    found = []
    for one in asked:
        word = last.get(one.tank)
        if word is not None and said[one.tank].seen not in (None, mark):
            when = local(session, row.id or 0, word.at)
            found.append(
                f"{word.by or 'Somebody'} said meanwhile that {one.name} holds "
                f"{_holds(row, one, word)}, seen {when}. Do your figures count instead?"
            )
    return found


def _holds(row: RoomRow, asked: Asked, word: Found) -> str:
    if word.found == PARTLY:
        return volume_words(word.left_l or 0.0, row.volume_unit)
    if word.found == AS_BEFORE:
        return "its bath as before the swap"
    litres = volume_words(_left_l(asked, Answer(word.tank, word.found)), row.volume_unit)
    return f"the new bath, {litres}" if word.found == NEW else f"{litres} (empty)"


def _sent(what: str, key: str, hand: Hand, answers: Sequence[Answer]) -> dict[str, object]:
    said = sorted((one.tank, one.found, one.left_l) for one in answers)
    return {what: key, "by": hand.by, "note": hand.note, "answers": said}


def _answered(session: Session, room_id: int, state: SwapState) -> str:
    last = next((one for one in reversed(state.said) if not one.is_asked), None)
    if last is None:
        return "This swap has ended. Nothing was stored."
    when = local(session, room_id, last.at)
    return f"{last.by or 'Somebody'} said what is in the tank, at {when}. Nothing was stored."


def _word(state: SwapState, said: Answer, hand: Hand) -> TankContents:
    return TankContents(
        at=hand.at, by=hand.by, note=hand.note, tank=said.tank, swap=state.key, found=said.found,
        left_l=said.left_l if said.found == PARTLY else None,
    )  # fmt: skip


def _over(
    session: Session, room_id: int, state: SwapState, asked: Sequence[Asked],
    said: dict[str, Answer], hand: Hand,
) -> list[Entry]:  # fmt: skip
    """What the log of the baths lacks once the swap is given up."""
    baths = {
        one.tank: one
        for one in new_baths(session, room_id, state, balance_of(session, room_id, state), hand)
    }
    found: list[Entry] = []
    for one in asked:
        answer = said.get(one.tank)
        if answer is None:
            continue
        if answer.found in (AS_BEFORE, LATER):
            found.append(_word(state, answer, hand))
            continue
        left_l = _left_l(one, answer)
        gone_l = one.out_l or one.before_l - left_l
        if one.is_filled:
            found.append(baths[one.tank])
            gone_l = made_l(baths[one.tank]) - left_l
        if one.is_filled and gone_l < LEAST_POUR_L:
            found.append(_word(state, Answer(one.tank, NEW), hand))
            continue
        found.append(
            Removal(
                at=hand.at, by=hand.by, note=hand.note, tank=one.tank, swap=state.key,
                volume_l=round(max(gone_l, LEAST_POUR_L), 4), left_l=round(left_l, 4),
            )
        )  # fmt: skip
    return found


def _left_l(asked: Asked, answer: Answer) -> float:
    if answer.found == PARTLY:
        return answer.left_l or 0.0
    return asked.heel_l if answer.found == EMPTY else asked.stands.litres


def _check(
    session: Session,
    row: RoomRow,
    asked: Sequence[Asked],
    said: dict[str, Answer],
    settles: Settles,
    since: Sequence[str],
    *,
    is_open: bool,
) -> None:
    errors = [error for one in asked for error in _problems(one, said[one.tank])]
    if errors:
        raise FieldErrors(errors)
    percent = site(session, row.id or 0).loss_tolerance_percent
    found = ((one, _doubt(row, one, said[one.tank], percent)) for one in asked)
    doubts = [*since, *(doubt + _fresh_too(one, said[one.tank], is_open=is_open)
                        for one, doubt in found if doubt)]  # fmt: skip
    if doubts and not settles(doubts):
        raise Doubtful(doubts)


def _problems(asked: Asked, said: Answer) -> list[FieldError]:
    name, message = f"{asked.prefix}found", ""
    if said.found == NEW and not asked.is_filled:
        message = f"{asked.name} is not filled yet."
    elif said.found == AS_BEFORE and asked.is_filled:
        message = (
            f"{asked.name} is filled according to the steps. If that did not happen, undo the fill."
        )
    elif said.found == PARTLY:
        name, message = f"{asked.prefix}left_l", _no_part(asked, said.left_l)
    return [FieldError(name, message)] if message else []


def _no_part(asked: Asked, left_l: float | None) -> str:
    """Why so many litres cannot be what is left; empty where they can."""
    if left_l is None:
        return f"Say how many litres are in {asked.name}."
    if left_l > asked.capacity_l * MOST_OF_CAPACITY:
        return "This is more than the tank holds up to its upper mark."
    if asked.is_filled and left_l > asked.stands.litres + LEAST_POUR_L:
        return "This is more than its steps say. Undo the fill and enter what was filled."
    return ""


def _fresh_too(asked: Asked, said: Answer, *, is_open: bool) -> str:
    """What to do where more is in a drained tank than its old bath can have left: most likely the
    fill had begun, and its litres are still on the shelf in the books."""
    if (
        said.found != PARTLY
        or asked.is_filled
        or asked.unticked
        or (said.left_l or 0.0) <= asked.heel_l
    ):
        return ""
    if (said.left_l or 0.0) <= asked.before_l - asked.out_l:
        return ""
    if is_open:
        return " If fresh solvent was poured in, go back and enter the fill first, with its lot."
    return " If fresh solvent was poured in, choose Empty here and then log it as a top-up."


def _doubt(row: RoomRow, asked: Asked, said: Answer, tolerance_percent: float) -> str:
    """How an answer contradicts what went into drums or was filled; empty where it does not."""

    def words(volume_l: float) -> str:
        return volume_words(volume_l, row.volume_unit)

    if said.found in (LATER, NEW) or (said.found == AS_BEFORE and asked.unticked):
        return ""
    where = f"are in {asked.drums}" if asked.drums else "were taken out"
    if said.found == AS_BEFORE:
        return (
            f"According to the steps of this swap, {words(asked.out_l)} of {asked.name} {where}. "
            "If nothing "
            "was taken out, go back and undo that step. If it is still full, store it."
        )
    left_l, tolerance_l = _left_l(asked, said), tolerance_percent / 100 * asked.capacity_l
    if asked.is_filled:
        expected_l, rest = asked.stands.litres, "its steps leave"
    else:
        expected_l, rest = max(0.0, asked.before_l - asked.out_l), "leaves"
    if abs(left_l - expected_l) <= tolerance_l:
        return ""
    if asked.unticked:
        return (
            f"{asked.name} held about {words(asked.before_l)} and its steps say that nothing was "
            f"taken out, but you say {words(left_l)}. Is that right? Enter what went into a drum "
            "on the drum's page."
        )
    if asked.is_filled:
        return (
            f"{words(asked.stands.litres)} should be in {asked.name} after the steps of this "
            f"swap, but you say {words(left_l)}. Is that right? Enter what went into a drum on "
            "the drum's page."
        )
    return (
        f"{asked.name} held about {words(asked.before_l)}, and {words(asked.out_l)} {where}: that "
        f"{rest} about {words(expected_l)}, but you say {words(left_l)}. Is that right?"
    )
