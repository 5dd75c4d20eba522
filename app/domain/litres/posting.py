"""What each act posts: one function a kind of entry, found in `POSTINGS`.

A kind that names litres and is not there, nor in `STILL` with the reason why it moves none, stops
the program as it starts.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from app.domain.checklists.roles import RINSES, tanks_of
from app.domain.checklists.run import SWAP_BOOK, SwapState
from app.domain.checklists.tank_contents import (
    DRAINED,
    MOVED,
    Standing,
    before_l,
    is_bath,
    standing,
)
from app.domain.litres.accounts import (
    DELIVERED,
    DRAWN,
    DRUM,
    ELSEWHERE,
    EVAPORATED,
    FETCHED,
    FRESH,
    RETIRED,
    RINSE,
    SCRAPPED,
    SET_UP,
    SPILLED,
    TANK,
    UNBOOKED,
    UNEXPLAINED,
    WIPES,
    account,
)
from app.domain.litres.state import UL, Desk, LitresState, Posting, ul
from app.domain.roomlog.kinds import (
    KINDS,
    Entry,
    Removal,
    Swap,
    SwapAbandoned,
    SwapStarted,
    Tank,
    TankChange,
    TopUp,
)
from app.domain.roomlog.kinds.checklists import (
    SWAP,
    StepDone,
    SwapClosed,
    SwapOpened,
    TankContents,
)
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import (
    Item,
    ItemChanged,
    StockCounted,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.domain.site import SITE_BOOK
from app.domain.supplies import ledger
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import Valuation

DRAINED_SHARE = 0.98  # of a bath, where nobody said how much: estimator/transitions MOST_REMOVED
ENDED_KEPT = 4  # swaps that have ended and may still be closed by their list
LOSSES_KEPT = 32  # swaps of which a pour may still be told

Post = Callable[[Desk, Any], None]


def post(state: LitresState, entry: Entry) -> tuple[LitresState, tuple[Posting, ...]]:
    """The book after an entry, and what the entry posts; the state is moved on in place."""
    act = POSTINGS.get(type(entry))
    if act is None:
        return state, ()
    desk = Desk(state)
    act(desk, entry)
    return state, tuple(desk.postings)


# Baths


def _set_up(desk: Desk, entry: Tank) -> None:
    desk.state.capacity_l[entry.tank] = entry.capacity_l
    desk.set_level(entry.tank, entry.capacity_l, SET_UP, "Tank set up")


def _changed(desk: Desk, entry: TankChange) -> None:
    state, tank = desk.state, entry.tank
    if entry.capacity_l is not None:
        state.capacity_l[tank] = entry.capacity_l
    if entry.is_retired:
        state.retired_ul[tank] = desk.level_ul(tank)
        desk.set_level(tank, 0.0, RETIRED, "Tank taken out of use")
    elif entry.is_retired is False and tank in state.retired_ul:
        desk.set_level(tank, state.retired_ul.pop(tank) / UL, RETIRED, "Tank in use again")


def _topped_up(desk: Desk, entry: TopUp) -> None:
    desk.move(account(FRESH, entry.tank), account(TANK, entry.tank), entry.volume_l, "Topped up")
    if entry.to_mark and entry.tank in desk.state.capacity_l:
        desk.seen(entry.tank, desk.state.capacity_l[entry.tank], "Seen at the upper mark")


def _removed(desk: Desk, entry: Removal) -> None:
    tank = entry.tank
    if entry.swap is not None:
        _with_swap(desk, entry)
        if entry.left_l is not None:
            desk.set_level(tank, entry.left_l, account(DRAWN, tank), "Seen after a swap")
        return
    target = account(SPILLED) if entry.incident else account(DRAWN, tank)
    _out_of(desk, tank, entry.volume_l, target, "Taken out")
    if entry.left_l is not None:
        desk.seen(tank, entry.left_l, "Seen after a removal")


def _out_of(desk: Desk, tank: str, litres: float, target: str, why: str) -> None:
    """Out of a tank's bath, and where that holds no more, out of what nobody can explain."""
    desk.take(account(TANK, tank), target, litres, account(UNEXPLAINED, f"level|{tank}"), why)


def _swapped(desk: Desk, entry: Swap) -> None:
    """A new bath: drained to what was left, filled with what is said, off the shelf or another."""
    led, before = _with_swap(desk, entry)
    tank, stands = entry.tank, before.get(entry.tank)
    there_l, drawn = desk.state.level_l(tank), account(DRAWN, tank)
    left_l = (1 - DRAINED_SHARE) * there_l if entry.drained_l is None else there_l - entry.drained_l
    if entry.heel_l is not None:
        left_l = entry.heel_l
    left_l = max(0.0, left_l)
    filled_l = entry.filled_l
    if filled_l is None:
        filled_l = max(0.0, desk.state.capacity_l.get(tank, 0.0) - left_l)
    is_emptied = stands is None or stands.stage == (MOVED if tank == led.from_tank else DRAINED)
    if not is_emptied and stands is not None and stands.stage:
        desk.set_level(tank, left_l + filled_l, drawn, "New bath")
        return
    desk.set_level(tank, left_l, drawn, "Drained")
    if entry.from_tank is not None:
        filled_l = min(filled_l, desk.state.level_l(entry.from_tank))
        desk.move(account(TANK, entry.from_tank), account(TANK, tank), filled_l, "Moved here")
        return
    desk.move(account(FRESH, tank), account(TANK, tank), filled_l, "Filled")


# Swaps that a list leads


def _with_swap(desk: Desk, entry: Any) -> tuple[SwapState, dict[str, Standing]]:
    """Take an entry into its swap: the swap after it, and what stood in its tanks before it."""
    key = next((key for kind, key in entry.things() if kind == SWAP), None)
    if key is None:
        return SwapState(""), {}
    state = desk.state
    old = state.swaps.get(key) or SwapState(key)
    new: SwapState = SWAP_BOOK.apply(old, entry)
    if isinstance(entry, SwapOpened):
        state.losses.pop(key, None)
    elif key in state.losses and key not in state.swaps and not isinstance(entry, SwapAbandoned):
        return new, {}  # it has ended: what is told of it late does not open it
    state.swaps[key] = new
    if new.end and new.end != "entered" and not new.asks:
        del state.swaps[key]
        state.losses[key] = {}
        for one in list(state.losses)[:-LOSSES_KEPT]:
            del state.losses[one]
    ended = [one for one, swap in state.swaps.items() if swap.end and not swap.asks]
    for one in ended[:-ENDED_KEPT]:
        del state.swaps[one]
    return new, _stood(old, state.site.heel_percent)


def _stood(swap: SwapState, heel_percent: float) -> dict[str, Standing]:
    """What stands in the tanks of a swap that no new bath is entered of yet: of a pair the first
    one ends the swap before the second one is said."""
    going_on = replace(swap, end="") if swap.end == "entered" else swap
    found = _standing(going_on, heel_percent)
    return {tank: stands for tank, stands in found.items() if tank not in swap.filled}


def _standing(swap: SwapState, heel_percent: float) -> dict[str, Standing]:
    tanks = [tank for tank in (swap.tank, swap.from_tank) if tank]
    found = {tank: standing(swap, tank, heel_percent) for tank in tanks}
    return {tank: stands for tank, stands in found.items() if stands is not None}


def _follow(desk: Desk, swap: SwapState, why: str) -> None:
    """Let stand in the tanks of a swap what its steps and words say."""
    for tank, stands in _standing(swap, desk.state.site.heel_percent).items():
        is_heel = stands.stage == DRAINED or (stands.stage == MOVED and tank == swap.from_tank)
        desk.set_level(tank, stands.litres, account(DRAWN, tank), why, is_heel=is_heel)


def _opened(desk: Desk, entry: SwapOpened) -> None:
    _with_swap(desk, entry)
    found = ((entry.tank, entry.estimated_l), (entry.from_tank, entry.from_estimated_l))
    for tank, litres in found:
        if tank is not None:
            _sweep(desk, tank, 0.0)
            desk.seen(tank, litres or 0.0, "Estimated as the swap began")


def _stepped(desk: Desk, entry: StepDone) -> None:
    before = desk.state.swaps.get(entry.swap)
    counts = before is not None and entry.repeats is None and before.tick(entry.step) is None
    led, _ = _with_swap(desk, entry)
    step = led.step(entry.step)
    if step is None or not counts or led.end:
        return
    answers = entry.answers or {}
    if step.role in RINSES:
        litres, (tank,) = _number(answers.get("rinse_l")), tanks_of(step.role, *_pair(led))
        desk.move(account(FRESH, tank), account(RINSE, tank), litres, "Rinsed")
    if step.role == "move" and led.from_tank:
        source, litres = account(TANK, led.from_tank), _number(answers.get("moved_l"))
        desk.move(source, account(TANK, led.tank), litres, "Moved here")
    if step.role == "fill":
        tank, litres = led.filled_tank, _number(answers.get("filled_l"))
        desk.move(account(FRESH, tank), account(TANK, tank), litres, "Filled")
    _follow(desk, led, step.done)


def _pair(led: SwapState) -> tuple[str, str | None]:
    return led.tank, led.from_tank


def _number(value: Any) -> float:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else 0.0


def _said(desk: Desk, entry: TankContents) -> None:
    led, before = _with_swap(desk, entry)
    tank, stands = entry.tank, _standing(led, desk.state.site.heel_percent)
    _follow(desk, led, "Said to be in the tank")
    if tank in before and tank not in stands and entry.found == "as_before":
        desk.set_level(tank, before_l(led, tank), account(DRAWN, tank), "As before the swap")


def _of_swap(desk: Desk, entry: SwapStarted | SwapAbandoned) -> None:
    """A start or a giving up moves nothing; what is said of the tank is an entry of its own."""
    led, _ = _with_swap(desk, entry)
    _follow(desk, led, "Given up")


def _closed(desk: Desk, entry: SwapClosed) -> None:
    led = desk.state.swaps.get(entry.swap)
    _with_swap(desk, entry)
    capacity_l = (led.capacity_l + (led.from_capacity_l or 0.0)) if led is not None else 0.0
    tolerance_l = desk.state.site.loss_tolerance_percent / 100 * capacity_l
    for tank in filter(None, (entry.tank, led.from_tank if led is not None else None)):
        desk.state.losses.setdefault(entry.swap, {})[tank] = _sweep(desk, tank, tolerance_l)


def _sweep(desk: Desk, tank: str, tolerance_l: float) -> tuple[str, int]:
    """Close what is on its way to or from a tank: a loss within the tolerance has evaporated, more
    is not explained; what was filled off no lot comes from outside. Where the loss went, and how
    much it was."""
    balances, drawn, fresh = desk.state.balances_ul, account(DRAWN, tank), account(FRESH, tank)
    through_ul = min(balances.get(fresh, 0), -balances.get(drawn, 0))
    desk.move_ul(fresh, drawn, max(0, through_ul), "Rinse, off the shelf and into the drum")
    left_ul = balances.get(drawn, 0)
    is_loss = 0 <= left_ul <= ul(tolerance_l)
    word = "swap" if tolerance_l else "drawn"
    target = account(EVAPORATED, tank) if is_loss else account(UNEXPLAINED, f"{word}|{tank}")
    desk.move_ul(drawn, target, left_ul, "Left over from the drain")
    loss = target, left_ul
    left_ul = balances.get(fresh, 0)
    target = UNBOOKED if left_ul < 0 else account(UNEXPLAINED, f"fresh|{tank}")
    desk.move_ul(fresh, target, left_ul, "Left over from the fill")
    rinse = account(RINSE, tank)
    desk.move_ul(rinse, account(UNEXPLAINED, f"drawn|{tank}"), balances.get(rinse, 0), "Rinse")
    return loss


def _settings(desk: Desk, entry: SiteRules) -> None:
    desk.state.site = SITE_BOOK.apply(desk.state.site, entry)
    for led in list(desk.state.swaps.values()):
        _follow(desk, led, "Heel by site settings")


# Drums


def _new_drum(desk: Desk, entry: Drum) -> None:
    desk.move(SET_UP, account(DRUM, entry.drum), entry.volume_l or 0.0, "Drum set up")


def _poured(desk: Desk, entry: Pour) -> None:
    if _told_late(desk, entry):
        return
    led, _ = _with_swap(desk, entry)
    desk.move(_source(led, entry), account(DRUM, entry.drum), entry.volume_l, "Poured")
    _follow(desk, led, "Left after the drain")


def _told_late(desk: Desk, entry: Pour) -> bool:
    """A pour of a swap that is closed is a part of its loss: that is so much less."""
    losses = desk.state.losses.get(entry.swap or "", {})
    if entry.tank is None or entry.tank not in losses or entry.incident:
        return False
    name, loss_ul = losses[entry.tank]
    found_ul = ul(entry.volume_l)
    if name == account(EVAPORATED, entry.tank):
        evaporated_ul = min(max(0, loss_ul), found_ul)
        desk.move_ul(name, account(DRUM, entry.drum), evaporated_ul, "Poured")
        losses[entry.tank] = name, loss_ul - evaporated_ul
        found_ul -= evaporated_ul
    unexplained = account(UNEXPLAINED, f"swap|{entry.tank}")
    desk.move_ul(unexplained, account(DRUM, entry.drum), found_ul, "Poured")
    return True


def _source(led: SwapState, entry: Pour) -> str:
    if entry.incident:
        return account(SPILLED)
    if not entry.tank:
        return ELSEWHERE
    is_of_bath = entry.swap is None or is_bath(led, entry.corrects or entry.id)
    return account(DRAWN if is_of_bath else RINSE, entry.tank)


def _transferred(desk: Desk, entry: DrumTransfer) -> None:
    source, target = account(DRUM, entry.from_drum), account(DRUM, entry.drum)
    beyond = account(UNEXPLAINED, f"moved|{entry.from_drum}")
    desk.take(source, target, entry.volume_l, beyond, "Moved from drum to drum")


def _shipped(desk: Desk, entry: PickupShipped) -> None:
    for drum in dict.fromkeys(entry.drums):
        name = account(DRUM, drum)
        desk.move_ul(name, FETCHED, desk.state.balances_ul.get(name, 0), "Collected")


# The shelf


def _stocked(counter: Callable[[Any], str], why: str) -> Post:
    """What an entry about an item's stock posts against an account."""
    return lambda desk, entry: _stock(desk, entry, counter(entry), why)


def _stock(desk: Desk, entry: Any, counter: str, why: str) -> None:
    """The lots of an item as the shelf's own ledger has them."""
    old = desk.state.items.get(entry.item) or ItemState(entry.item)
    new = slim(ledger.after(old, entry))
    desk.state.items[entry.item] = new
    if new.category != "solvent" and old.category != "solvent":
        return
    got_ul = desk.lots(entry.item, lots_of(old), lots_of(new), counter, why)
    _owed(desk, entry, got_ul, counter)


def _owed(desk: Desk, entry: Any, got_ul: int, counter: str) -> None:
    """What the lots did not have, or what a receipt settles of it."""
    whole_ul = {
        StockReceived: ul(getattr(entry, "quantity", 0.0)),
        StockUsed: -ul(getattr(entry, "quantity", 0.0)),
        StockScrapped: -ul(getattr(entry, "quantity", 0.0)),
    }.get(type(entry), got_ul)
    name = account(UNEXPLAINED, f"owed|{entry.item}")
    desk.move_ul(counter, name, whole_ul - got_ul, "More than the shelf had")


def lots_of(item: ItemState) -> dict[str, float]:
    """What lies on the shelf of an item, by lot; nothing of what is no solvent."""
    if item.category != "solvent":
        return {}
    return {lot.lot: lot.quantity for lot in item.lots}


def slim(item: ItemState) -> ItemState:
    """An item as far as its lots go."""
    return replace(
        item, worth=Valuation(), on_order=(), past_orders=(), weeks=(), first_week=None, recent=()
    )


def _used_for(entry: StockUsed) -> str:
    if entry.purpose == "spill":
        return account(SPILLED)
    if entry.purpose in ("swap", "top_up") or (entry.purpose is None and entry.tank):
        return account(FRESH, entry.tank or "")
    return account(WIPES)


POSTINGS: Mapping[type[Entry], Post] = {
    Tank: _set_up,
    TankChange: _changed,
    TopUp: _topped_up,
    Removal: _removed,
    Swap: _swapped,
    SwapStarted: _of_swap,
    SwapAbandoned: _of_swap,
    SwapOpened: _opened,
    StepDone: _stepped,
    TankContents: _said,
    SwapClosed: _closed,
    SiteRules: _settings,
    Drum: _new_drum,
    Pour: _poured,
    DrumTransfer: _transferred,
    PickupShipped: _shipped,
    Item: _stocked(lambda _: SET_UP, "Item on the shelf"),
    ItemChanged: _stocked(lambda _: SET_UP, "Item on the shelf"),
    StockReceived: _stocked(lambda _: DELIVERED, "Delivered"),
    StockUsed: _stocked(_used_for, "Taken off the shelf"),
    StockOpened: _stocked(lambda _: SET_UP, "Opened"),
    StockCounted: _stocked(lambda entry: account(UNEXPLAINED, f"counted|{entry.item}"), "Counted"),
    StockScrapped: _stocked(lambda _: SCRAPPED, "Thrown away"),
}
"""What each kind of act posts."""

STILL: Mapping[str, str] = {
    "drum_changed": "a drum's size, not what it holds",
    "order_placed": "it is on its way: its delivery posts it",
    "incident": "its removal, its use and its pour are separate entries",
    "month_close": "it counts what others have posted",
}
"""Kinds that name litres and move none, and why."""


def unposted(kinds: Iterable[type[Entry]]) -> list[str]:
    """Kinds that name litres, or amounts of the shelf, and neither post them nor say why not."""
    return [
        kind.kind
        for kind in kinds
        if any(spec.unit == "L" or spec.counted_as == "item" for spec in kind.specs().values())
        and (kind in POSTINGS) == (kind.kind in STILL)
    ]


if LACKING := unposted(KINDS.values()):
    raise ValueError(f"these name litres, and neither post them nor say why not: {LACKING}")
