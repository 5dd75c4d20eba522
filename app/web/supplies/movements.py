"""What the forms of an item do in their own way: its unit, its lots, the orders to come.

All else about a movement is the body of every kind's form (`kinds/body`).
"""

from dataclasses import replace
from datetime import date
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import PURPOSES, SCRAP_REASONS, STANDINGS, LotHeld
from app.domain.supplies.state import ItemState
from app.store import queries
from app.store.site import crew
from app.web.deps import Visit
from app.web.kinds.different import Asked, Different
from app.web.supplies import words
from app.web.supplies.forms import read_stock


def usual(state: ItemState, visit: Visit) -> dict[str, str]:
    """What a form begins with."""
    purpose = words.USUAL_PURPOSE.get(state.category, "other")
    return {"by": visit.person, "quantity": "1", "purpose": purpose}


def move_context(visit: Visit, state: ItemState) -> dict[str, Any]:
    """What the form of a movement is made from."""
    room = visit.room
    board = queries.board(visit.session, visit.room_id, visit.now)
    good, rest = _lots(visit, state)
    to_come = [(o.order, words.quantity(o.outstanding, state, room)) for o in state.on_order]
    return {
        "state": state,
        "unit": words.unit_of(state, room),
        "lots": [("", "any lot"), *good, *rest],
        "good_lots": [("", "any lot"), *good],
        "held_lots": [(lot.lot, lot.lot) for lot in state.held_lots],
        "standings": [(key, LotHeld.specs()["standing"].word_of(key)) for key in STANDINGS],
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "orders": [(order, f"{order}: {text} to come") for order, text in to_come],
        "tank_names": {tank.key: tank.name for tank in board.tanks},
        "tanks": [(tank.key, f"{tank.place} {tank.name}") for tank in board.tanks],
        "purposes": [(key, words.PURPOSE_WORDS[key]) for key in PURPOSES],
        "reasons": [(key, key) for key in SCRAP_REASONS],
        "today": visit.today,
        "money": words.money_here(visit),
        "words": words,
    }


def _lots(visit: Visit, state: ItemState) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """The good lots, the one that expires first first; then those that are not to be used."""
    good, rest = [], []
    for lot in sorted(state.lots, key=lambda one: one.use_by(state.rules) or date.max):
        end, standing = lot.use_by(state.rules), lot.standing(state.rules, visit.today)
        text = f"{lot.lot}: {words.quantity(lot.quantity, state, visit.room)}"
        if end is not None:
            text += f", use by {words.day_words(end, visit.today)}"
        if standing == "good":
            good.append((lot.lot, text))
        else:
            rest.append((lot.lot, f"{text} ({words.STANDING_WORDS[standing].lower()})"))
    return good, rest


def _start(asked: Asked) -> dict[str, str]:
    return usual(asked.thing, asked.visit)


def _one_container(asked: Asked) -> dict[str, str]:
    """What comes is one container, where their size is known."""
    state, room = asked.thing, asked.visit.room
    sizes = (words.typed_quantity(size, state, room) for size in state.container_sizes)
    return {**usual(state, asked.visit), "quantity": next(sizes, "")}


def _read(asked: Asked) -> Entry:
    return read_stock(asked.kind.kind, asked.typed, asked.thing, asked.visit)


def _context(asked: Asked) -> dict[str, Any]:
    return move_context(asked.visit, asked.thing)


MOVE = Different(
    "supplies/move.html", _start, _read, context=_context,
    beside={"item": "quantity"},
)  # fmt: skip
RECEIVE = replace(MOVE, start=_one_container)
OPEN = replace(MOVE, beside={"item": "lot"})
