"""Movements of one item: used, received, scrapped, opened; and taking back what was entered."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors, NotFound
from app.domain.roomlog.kinds import KINDS, Entry
from app.domain.roomlog.kinds.supplies import ITEM, PURPOSES, SCRAP_REASONS, StockEntry
from app.domain.supplies.state import ItemState
from app.services import door
from app.services.undoing import undo as undo_entries
from app.store import queries
from app.store.things import thing
from app.web.asking import confirmed, nothing, to_ask
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState
from app.web.supplies import words
from app.web.supplies.forms import read_stock

router = APIRouter(prefix="/rooms/{room}/shelf")
MOVES = {
    "use": "stock_used",
    "receive": "stock_received",
    "scrap": "stock_scrapped",
    "open": "stock_opened",
}


def item_of(visit: Visit, key: str) -> ItemState:
    """The item of that key.

    Raises:
        NotFound: there is none.
    """
    state: ItemState | None = thing(visit.session, visit.room_id, ITEM, key)
    if state is None:
        raise NotFound(f"There is no item “{key[:64]}” on this shelf.")
    return state


@router.get("/items/{item}/{move}")
def move_form(visit: VisitDep, item: str, move: str) -> Response:
    """The form of a movement."""
    state = item_of(visit, item)
    asked = {name: visit.request.query_params.get(name, "") for name in ("lot", "order")}
    if move == "receive":  # one container, where their size is known
        sizes = (words.typed_quantity(size, state, visit.room) for size in state.container_sizes)
        asked["quantity"] = next(sizes, "")
    return _page(visit, state, move, FormState({**usual(state, visit), **asked}))


@router.post("/items/{item}/{move}")
def do_move(visit: VisitDep, item: str, move: str, typed: FormDep) -> Response:
    """Store a movement, or show its form again with what does not fit."""
    state, kind = item_of(visit, item), _kind(move)
    try:
        entry = read_stock(kind, typed, state, visit)
        key = typed.get("submission")
        if asked := to_ask(visit, typed, nothing, entries=[entry]):
            return _page(visit, state, move, asked, 422)
        done = door.enter(
            visit.store, visit.room.key, [entry], visit.now, key, confirmed=confirmed(typed)
        )
    except FieldErrors as error:
        return _page(visit, state, move, FormState(typed, _beside(error, move)), 422)
    answer = RedirectResponse(visit.address("shelf", "items", item) + f"?saved={done.ids[0]}", 303)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


@router.post("/undo/{item}/{entry_id}")
def undo(visit: VisitDep, item: str, entry_id: str) -> Response:
    """Take back what was just entered."""

    def is_of_page(entry: Entry) -> bool:
        return isinstance(entry, StockEntry) and entry.item == item

    undo_entries(visit.store, visit.room.key, [entry_id], visit.person, visit.now, is_of_page)
    return RedirectResponse(visit.address("shelf", "items", item) + f"?undone={entry_id}", 303)


def usual(state: ItemState, visit: Visit) -> dict[str, str]:
    """What a form begins with."""
    purpose = words.USUAL_PURPOSE.get(state.category, "other")
    return {"by": visit.person, "quantity": "1", "purpose": purpose}


def move_context(visit: Visit, state: ItemState, move: str, form: FormState) -> dict[str, Any]:
    """What the form of a movement is made from."""
    room = visit.room
    board = queries.board(visit.session, visit.room_id, visit.now)
    left = [(lot.lot, words.quantity(lot.quantity, state, room)) for lot in state.lots]
    to_come = [(o.order, words.quantity(o.outstanding, state, room)) for o in state.on_order]
    return {
        "state": state,
        "move": move,
        "title": KINDS[_kind(move)].summary,
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        "unit": words.unit_of(state, room),
        "lots": [("", "as it comes"), *((lot, f"{lot}: {text}") for lot, text in left)],
        "orders": [(order, f"{order}: {text} to come") for order, text in to_come],
        "tank_names": {tank.key: tank.name for tank in board.tanks},
        "tanks": [(tank.key, f"{tank.place} {tank.name}") for tank in board.tanks],
        "purposes": [(key, words.PURPOSE_WORDS[key]) for key in PURPOSES],
        "reasons": [(key, key) for key in SCRAP_REASONS],
        "people": queries.people(visit.session, visit.room_id),
        "today": visit.today,
        "money": words.money_here(visit),
        "words": words,
    }


def _beside(error: FieldErrors, move: str) -> dict[str, str]:
    """Messages by the form's fields; what concerns the item itself stands at the first field."""
    first = "lot" if move == "open" else "quantity"
    return {first if name == "item" else name: text for name, text in error.by_field().items()}


def _kind(move: str) -> str:
    if move not in MOVES:
        raise NotFound("There is nothing at this address.")
    return MOVES[move]


def _page(
    visit: Visit, state: ItemState, move: str, form: FormState, status: int = 200
) -> Response:
    return visit.page("supplies/move.html", move_context(visit, state, move, form), status)
