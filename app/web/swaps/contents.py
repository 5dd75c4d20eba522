"""What is in the tank now? The question with which a swap that stops on the way ends."""

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.checklists.run import SwapState
from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.fields import FieldSpec, check_value
from app.domain.roomlog.kinds import Removal, SwapAbandoned
from app.services import door
from app.services.acts.swaps import contents
from app.services.acts.swaps.contents import AS_BEFORE, EMPTY, LATER, NEW, PARTLY, Answer
from app.services.swaps.amounts import NEARLY_EMPTY
from app.services.swaps.asking import Asked, asked_of, swap_that_asks, swap_that_moved
from app.services.swaps.under_way import open_swap
from app.store import queries
from app.store.log import find_entry
from app.store.tables import TankRow
from app.units import from_display, parse_number
from app.web.asking import CHANGE, SENT_BACK, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.filters import units_of, volume
from app.web.forms import ANSWER, FormDep, FormState, read_entry, unit_label
from app.web.swaps.forms import read_hand
from app.web.swaps.views import shut_gates

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}")
PAGE = "swaps/contents.html"
LITRES = FieldSpec("number", "Litres in the tank", "L", 0.0, 20_000.0)
ASK, PAUSE, GIVE_UP = "ask", "pause", "give-up"
SEEN = "seen"  # the mark of what had been said as the form was shown
FIRST = (
    ("drain", ("Part of the bath in the drum already?", "Enter the drain first", "what went in")),
    ("move", ("Part of the clean bath moved already?", "Enter the move first", "its litres")),
    ("fill", ("Fresh solvent already in the tank?", "Enter the fill first", "its litres and lot")),
)
"""What may have moved before its step is ticked: the question, the way, what is entered there."""


@router.get("/contents")
def contents_page(visit: VisitDep, tank: str, view: str = ASK) -> Response:
    """Say what is in a tank whose swap stopped on the way; or pause a swap, or give it up."""
    visit.tank(tank)
    state = _asking(visit, tank)
    if state is None or not asked_of(visit.session, visit.room_id, state):
        return RedirectResponse(visit.address("tanks", tank, *_back(visit, tank)), 303)
    shown = view if state.is_open and view in (PAUSE, GIVE_UP) else ASK
    return _page(visit, tank, state, shown, FormState({"by": visit.person}))


@router.post("/contents")
def say_contents(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Store what is in the tank, or show the question again with what does not fit."""
    return _store(visit, tank, typed, typed.get("view", ASK))


@router.post("/swap/abandon")
def give_up(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Give the swap up, with what is in its tanks; one without a list just ends."""
    if open_swap(visit.session, visit.room_id, tank) is not None:
        return _store(visit, tank, typed, GIVE_UP)
    row = visit.session.get(TankRow, (visit.room_id, tank))
    if row is not None and row.swap_started_at_us is None:
        return _is_over(visit, tank, typed)
    entry = read_entry(
        SwapAbandoned.kind, {**typed, "tank": tank}, visit.room, visit.person, visit.now
    )
    door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    return RedirectResponse(visit.address("tanks", tank), 303)


def _asking(visit: Visit, tank: str) -> SwapState | None:
    """The swap that the question is about: one that waits for it, else the one under way."""
    asks = swap_that_asks(visit.session, visit.room_id, tank)
    return asks or swap_that_moved(visit.session, visit.room_id, tank) or open_swap(
        visit.session, visit.room_id, tank
    )  # fmt: skip


def _back(visit: Visit, tank: str) -> tuple[str, ...]:
    return ("swap",) if open_swap(visit.session, visit.room_id, tank) is not None else ()


def _store(visit: Visit, tank: str, typed: dict[str, str], view: str) -> Response:
    state = _asking(visit, tank)
    if state is None:
        return _is_over(visit, tank, typed)
    asked = asked_of(visit.session, visit.room_id, state)
    key = typed.get("submission")
    if typed.get(ANSWER) == CHANGE:
        return _page(visit, tank, state, view, FormState(typed), 422)

    def settles(doubts: Sequence[str]) -> bool:
        return FormState(typed, doubts=tuple(doubts)).is_answered

    try:
        hand = read_hand(visit, typed, needs_name=bool(asked))
        answers = read_answers(visit, asked, typed)
        if view == GIVE_UP:
            done = contents.give_up(
                visit.store, visit.room.key, state.key, hand, visit.now, key, answers,
                settles=settles,
            )  # fmt: skip
        else:
            done = contents.say(
                visit.store, visit.room.key, state.key, answers, hand, visit.now, key,
                settles=settles,
            )  # fmt: skip
    except SENT_BACK as back:
        return _page(visit, tank, state, view, form_of(back, typed), 422)
    still_open = open_swap(visit.session, visit.room_id, tank) is not None and view == ASK
    address = visit.address("tanks", tank, *(("swap",) if still_open else ()))
    last = find_entry(visit.session, visit.room_id, done.ids[-1]) if done.ids else None
    is_removal = last is not None and last.kind == Removal.kind  # the tank's page undoes it
    return go_on(f"{address}?saved={done.ids[-1]}" if is_removal else address, hand.by)


def _is_over(visit: Visit, tank: str, typed: Mapping[str, str]) -> Response:
    """The same touch twice goes to the tank; another person's answer is not dropped unsaid.

    Raises:
        Conflict: somebody ended the swap meanwhile, and said what is in the tank.
    """
    visit.tank(tank)
    if not visit.is_repeated(typed):
        raise Conflict(
            "Somebody ended this swap meanwhile and entered what is in the tank. Nothing was "
            "stored. Check the level on the tank's page."
        )
    return RedirectResponse(visit.address("tanks", tank), 303)


def read_answers(visit: Visit, asked: list[Asked], typed: Mapping[str, str]) -> list[Answer]:
    """What was said of each tank, in litres.

    Raises:
        FieldErrors: nothing was said of one, or no number where it is a part.
    """
    errors: list[FieldError] = []
    answers = []
    for one in asked:
        found, name = typed.get(f"{one.prefix}found", ""), f"{one.prefix}left_l"
        if found not in (AS_BEFORE, EMPTY, PARTLY, NEW, LATER):
            errors.append(FieldError(f"{one.prefix}found", f"Say what is in {one.name}."))
            continue
        left_l = None
        if found == PARTLY and (text := typed.get(name, "").strip()):
            try:
                litres = from_display(parse_number(text), "volume", units_of(visit.room))
                left_l = check_value(name, LITRES, litres)
            except FieldError as error:
                errors.append(FieldError(name, error.message))
                continue
        answers.append(Answer(one.tank, found, left_l, typed.get(SEEN)))
    if errors:
        raise FieldErrors(errors)
    return answers


def choices(visit: Visit, asked: Asked) -> list[tuple[str, str]]:
    """What may be in a tank, each in words with its litres."""
    room = visit.room
    as_before = f"As before the swap: about {volume(asked.before_l, room)}"
    partly, later = "Partly full", "Nobody can look now: hold the tank"
    if asked.is_filled:
        return [
            (NEW, f"The new bath: {volume(asked.stands.litres, room)}"), (PARTLY, partly),
            (EMPTY, "Empty"), (LATER, later),
        ]  # fmt: skip
    if asked.unticked:
        as_before = f"As before, nothing taken out: about {volume(asked.before_l, room)}"
        return [(AS_BEFORE, as_before), (PARTLY, partly), (EMPTY, "Empty"), (LATER, later)]
    is_empty = asked.heel_l <= NEARLY_EMPTY * asked.capacity_l
    left = f"{'Empty' if is_empty else 'As entered'}: {volume(asked.heel_l, room)} left"
    return [(EMPTY, left), (PARTLY, partly), (AS_BEFORE, as_before), (LATER, later)]


def hint(visit: Visit, asked: Asked) -> str:
    """What the steps say of a tank, in a sentence."""
    room = visit.room
    if asked.unticked:
        return "According to the steps, nothing was taken out."
    if asked.is_filled:
        return f"According to the steps, {volume(asked.stands.litres, room)} is in it."
    went = f"went into {asked.drums}" if asked.drums else "were taken out"
    share = f"{volume(asked.out_l, room)} of {volume(asked.before_l, room)}"
    return f"According to the steps, {share} {went}."


def _first(visit: Visit, state: SwapState, role: str) -> str:
    """Key of the step by which liquid that has moved already is entered; empty where it is not that
    step's turn, or it is done."""
    steps = state.with_role(role) if state.is_open else ()
    ready = (
        one for one in steps if state.tick(one.key) is None and not shut_gates(visit, state, one)
    )
    return next((one.key for one in ready), "")


def _page(
    visit: Visit, tank: str, state: SwapState, view: str, form: FormState, status: int = 200
) -> Response:
    asked = asked_of(visit.session, visit.room_id, state)
    context: dict[str, Any] = {
        "tank": visit.tank(tank),
        "state": state,
        "first": [(one, words) for role, words in FIRST if (one := _first(visit, state, role))],
        "view": view,
        "seen": form.value(SEEN) or contents.mark_of(state),
        "asked": [(one, hint(visit, one), choices(visit, one)) for one in asked],
        "unit": unit_label(LITRES, visit.room),
        "people": queries.people(visit.session, visit.room_id),
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(PAGE, context, status)
