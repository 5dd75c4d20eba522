"""The purity of what a swap fills its tank with: another grade waits for a lead's word on it."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlmodel import Session

from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState, said_percent
from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.solvents import SOLVENTS
from app.domain.solvents.fit import SAME_PERCENT, other_purity
from app.domain.solvents.purity import in_mass_percent
from app.domain.supplies.state import ItemState
from app.store.tables import TankRow
from app.store.things import thing, things

RULE = "a lead lets another purity pass"
USUAL_RESIN_G_ML = 1.1
BY_LABEL = ("fresh_purity_percent", "fresh_purity_volume_percent")


def purity_problems(
    session: Session, room_id: int, state: SwapState, said: Mapping[str, Any]
) -> list[FieldError]:
    """What is filled is of another purity than what was there before, and no lead let it pass: by
    its label where that was read, else by what the shelf says of its lots."""
    found = []
    for name, percent in _purities(session, room_id, state, said):
        if any(state.purity_word(step.key, percent) for step in state.with_role("fill")):
            continue
        if words := purity_words(session, room_id, state, percent):
            way = "a lead lets it pass."
            if not _is_on_shelf(session, room_id, state, percent):
                way = "enter it as a separate item under Supplies. Then a lead lets it pass."
            message = f"{words} If it has to be this one, {way}"
            found.append(FieldError(name, message, RULE))
    return found


def use_problems(session: Session, room_id: int, use: StockUsed) -> list[FieldError]:
    """The same of a lot that is taken from the shelf for the fill of a swap under way."""
    state: SwapState | None = thing(session, room_id, SWAP, use.swap) if use.swap else None
    if state is None or not state.is_open or use.tank not in (None, state.filled_tank):
        return []
    fills = state.with_role("fill")
    to_rinse = [one for one in state.steps if one.role in RINSES and not state.is_settled(one)]
    if not fills or (to_rinse and not any(map(state.is_settled, fills))):
        return []  # it rinses
    found = purity_problems(session, room_id, state, {"lot": f"{use.item}|{use.lot or ''}"})
    return [FieldError("item", one.message, one.rule) for one in found]


def bath_problems(session: Session, room_id: int, bath: Swap) -> list[FieldError]:
    """The same of the new bath that a swap made: its label may say another purity than its fill.

    A mixture of two lots lies between what was there before and what a lead let pass.
    """
    state: SwapState | None = thing(session, room_id, SWAP, bath.swap) if bath.swap else None
    if state is None or bath.tank != state.filled_tank:
        return []
    label = {name: getattr(bath, name) for name in BY_LABEL}
    said = [percent for _, percent in _purities(session, room_id, state, label)]
    row = session.get(TankRow, (room_id, state.filled_tank))
    let = [said_percent(one.about) for one in state.overrules if one.gate == "purity"]
    known = [row.fresh_purity_percent if row else None, *let]
    passed = [one for one in known if one is not None]
    if passed and all(min(passed) <= percent <= max(passed) for percent in said):
        return []
    return purity_problems(session, room_id, state, label)


def _is_on_shelf(session: Session, room_id: int, state: SwapState, percent: float) -> bool:
    """The page of problems offers a lead this purity: something on the shelf has it."""
    found = other_purities(session, room_id, state)
    return any(abs(one - percent) <= SAME_PERCENT for one, _ in found)


def other_purities(session: Session, room_id: int, state: SwapState) -> list[tuple[float, str]]:
    """The purities on the shelf, in mass percent, with which a fill is another bath, each with what
    it does in words; the weakest first."""
    items: list[ItemState] = list(things(session, room_id, ITEM).values())
    percents = {
        item.purity_percent
        for item in items
        if item.solvent == state.solvent and item.lots and item.purity_percent is not None
    }
    told = ((one, purity_words(session, room_id, state, one)) for one in sorted(percents))
    return [(one, words) for one, words in told if words]


def _purities(
    session: Session, room_id: int, state: SwapState, said: Mapping[str, Any]
) -> Iterator[tuple[str, float]]:
    """Fields with the mass percent that each of them means."""
    given = {
        name: float(said[name]) for name in BY_LABEL if isinstance(said.get(name), int | float)
    }
    liquid = SOLVENTS.get(state.solvent)
    by_label = in_mass_percent(liquid, *map(given.get, BY_LABEL)) if liquid else None
    if by_label is not None:
        yield next(iter(given)), by_label
        return
    for name in ("lot", "lot_2"):
        key = str(said.get(name) or "").partition("|")[0]
        item: ItemState | None = thing(session, room_id, ITEM, key) if key else None
        if item is not None and item.purity_percent is not None:
            yield name, item.purity_percent


def purity_words(session: Session, room_id: int, state: SwapState, percent: float) -> str:
    """What filling with a purity in mass percent does to the tank that is filled, in words; nothing
    where it is the usual one."""
    row = session.get(TankRow, (room_id, state.filled_tank))
    if row is None or not row.fresh_purity_percent:
        return ""
    return other_purity(
        state.solvent, row.fresh_purity_percent, percent, row.resin_density_g_ml or USUAL_RESIN_G_ML
    )
