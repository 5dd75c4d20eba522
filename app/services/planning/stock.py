"""What a room has for the swaps to come, gathered from its books."""

from collections.abc import Iterable
from datetime import date, timedelta, tzinfo

from app.domain.planning.allotment import Parcel
from app.domain.planning.days import starts_at
from app.domain.planning.needs import Bath, SwapNeed, swap_need
from app.domain.planning.parts import due_by_item
from app.domain.planning.scheduling import Proposal
from app.domain.planning.stock import Fire, Looks, Part, Solvent, Stock, SwapAhead
from app.domain.planning.under_way import left_of
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.inspections import COMPONENT
from app.domain.roomlog.kinds.planning import PLAN
from app.domain.roomlog.kinds.site import CREW, SITE
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM, PICKUP, WASTE_RULES
from app.domain.site import SiteState
from app.domain.storage import DRUMS, SHELF, TANKS, category_of_key, fire_area
from app.domain.supplies.state import ItemState
from app.domain.waste.counters import month_limit_kg, month_totals
from app.domain.waste.streams import stream_of_bath
from app.services.carried import FLASH_LOWERED, is_slow
from app.services.incidents.doubts import WRONG_SOLVENT
from app.services.planning.books import Books
from app.services.planning.drums import drum_room
from app.services.storage import baths_there
from app.store.queries import TankView

KINDS = (SITE, CREW, ITEM, DRUM, PICKUP, WASTE_RULES, HOLD, PLAN, SWAP, COMPONENT)
NEAR_PERCENT = 3.0  # of purity: further apart, a solvent on the shelf is another one


def stock_of(books: Books, tanks: Iterable[TankView], today: date, zone: tzinfo) -> Stock:
    """What the room has: solvent, drum space, the month so far, parts, people."""
    drums = drum_room(books, today)
    totals = month_totals(books.drums.values(), lambda _: books.rules, zone)
    hands = _hands(books)
    return Stock(
        solvents=_solvents(books, today),
        drums={stream: tuple(parcels) for stream, parcels in drums.items()},
        month_kg={month: total.counted_kg for month, total in totals.items()},
        month_limit_kg=_month_limit_kg(books),
        fire=_fire(books, tanks, today),
        people=len(hands) or None,
        names=tuple(hands),
        swappers=_swappers(books, today, zone),
        parts=_parts(books, today),
        holds={key: hold.reason for key, hold in books.holds.items()},
        looks=_looks(books),
    )


def _swappers(books: Books, today: date, zone: tzinfo) -> dict[str, date] | None:
    """Who may do swaps, each with their last day, managers left out. None where the room
    qualifies nobody for swaps, so that everybody may."""
    if not books.qualified.is_asked(("swap",), starts_at(today + timedelta(days=1), zone)):
        return None
    return books.qualified.until(_hands(books), "swap")


def _hands(books: Books) -> list[str]:
    """Who does swaps: who is here, managers left out, since they review."""
    return [one.name for one in books.crew.people if not one.has_left and one.role != "manager"]


def _month_limit_kg(books: Books) -> float | None:
    """The site's own limit, else that of the category it chose; nothing it did not enter."""
    by_category = month_limit_kg(books.rules) if books.rules.is_chosen else None
    return books.site.waste_month_limit_kg or by_category


def need_of(tank: TankView, site: SiteState) -> SwapNeed:
    """What the swap of a tank takes; its bath is taken to hold no less resin than at its limit."""
    percent = max(tank.mean_percent, tank.limit_percent)
    return swap_need(
        Bath(
            tank.volume_l, tank.capacity_l, tank.min_l, percent, tank.solvent_density_g_ml,
            tank.resin_density_g_ml,
        ),
        site,
    )  # fmt: skip


def swap_ahead(
    tank: TankView, books: Books, proposal: Proposal, early_on: date | None = None
) -> SwapAhead:
    """A swap with what it takes and the shelf and stream it belongs to; of the next one what its
    list says is done already is left out, a later one counts by its chance."""
    is_mixed = FLASH_LOWERED in tank.flags
    is_spoiled = WRONG_SOLVENT in tank.flags and not is_slow(tank.solvent) and not proposal.round
    stream = "unknown" if is_spoiled else stream_of_bath(tank.solvent, is_mixed=is_mixed)
    need, led = need_of(tank, books.site), books.swaps.get(tank.key)
    if proposal.round:
        need = need.times(proposal.share)
    elif led is not None:
        need = left_of(need, tank.key, led, books.site, tank.solvent_density_g_ml)
    is_crowded = bool({"over_capacity", "with_pair"} & set(proposal.warnings))
    is_crowded &= tank.swap_started_at is None  # its day is today, whatever the others do
    return SwapAhead(
        tank=tank.key,
        need=need,
        solvent=_shelf_of(tank, books),
        stream=stream,
        is_flammable=is_mixed
        or category_of_key(tank.solvent, books.rules.flammable_to_c) is not None,
        early_on=early_on,
        day=proposal.day,
        counts=books.rules.counts(stream),
        is_crowded=is_crowded,
        is_fixed=proposal.is_pinned,
        waits_for=proposal.waits_for,
        drum=str(led.answer("drum", "drum") or "") if led and not proposal.round else "",
        round=proposal.round,
        share=proposal.share,
    )


def shelf_key(solvent: str, purity_percent: float | None) -> str:
    """The word for a solvent of a purity on the shelf."""
    return solvent if purity_percent is None else f"{solvent}@{purity_percent:g}"


def _shelf_of(tank: TankView, books: Books) -> str:
    """The shelf whose purity is nearest to what fills the tank; else the solvent alone."""
    purities = {i.purity_percent for i in books.items.values() if i.solvent == tank.solvent}
    far = {
        purity: 0.0 if purity is None else abs(purity - tank.fresh_purity_percent)
        for purity in purities
    }
    near = [purity for purity, distance in far.items() if distance <= NEAR_PERCENT]
    if not near:
        return shelf_key(tank.solvent, None)
    return shelf_key(tank.solvent, min(near, key=lambda p: (p is None, far[p], p or 0.0)))


def _solvents(books: Books, today: date) -> dict[str, Solvent]:
    parcels: dict[str, list[Parcel]] = {}
    sizes: dict[str, set[float]] = {}
    for item in books.items.values():
        if item.solvent is None:
            continue
        key = shelf_key(item.solvent, item.purity_percent)
        parcels.setdefault(key, []).extend(_parcels(item, books, today))
        sizes.setdefault(key, set()).update(item.container_sizes)
    return {
        key: Solvent(tuple(parcels[key]), tuple(sorted(sizes[key], reverse=True)))
        for key in sorted(parcels)
    }


def _parcels(item: ItemState, books: Books, today: date) -> list[Parcel]:
    """What there is of an item, and what is on order; an overdue order comes tomorrow at best."""
    lots = [Parcel(lot.lot, lot.quantity, None, lot.usable_until(item.rules)) for lot in item.lots]
    for order in item.on_order:
        usual = books.workdays.later(order.placed_on, books.site.solvent_lead_days)
        come_on = books.workdays.on_or_after(order.expected_on or usual)
        come_on = max(come_on, books.workdays.later(today, 1))
        lots.append(Parcel(order.order, order.outstanding, come_on))
    return lots


def _parts(books: Books, today: date) -> tuple[Part, ...] | None:
    """What swaps take from the shelf besides solvent: what an item says each swap takes, and what
    the last look found due for replacement; None where nothing says so."""
    due = due_by_item(books.components)
    found = []
    for key, item in sorted(books.items.items()):
        per_swap = item.rules.used_per_swap or 0.0
        if item.category != "solvent" and (per_swap or key in due):
            parcels = tuple(_parcels(item, books, today))
            found.append(Part(key, item.name, item.unit, per_swap, parcels, due.get(key, {})))
    found += [
        Part(key, f"{key} (not an item on the shelf)", "piece", 0.0, (), due[key])
        for key in sorted(due.keys() - books.items.keys())
    ]
    return tuple(found) if found else None


def _looks(books: Books) -> dict[str, Looks]:
    """The parts of each tank that wait for a look; those to be replaced are counted as parts."""
    missed: dict[str, list[str]] = {}
    watched: dict[str, list[str]] = {}
    for _, part in sorted(books.components.items()):
        if part.tank and part.missed is not None:
            missed.setdefault(part.tank, []).append(part.name)
        elif part.tank and part.verdict == "watch":
            watched.setdefault(part.tank, []).append(part.name)
    return {
        tank: Looks(tuple(missed.get(tank, ())), tuple(watched.get(tank, ())))
        for tank in missed.keys() | watched.keys()
    }


def _fire(books: Books, tanks: Iterable[TankView], today: date) -> Fire:
    """What stands in the fire area, and what of it comes and goes."""
    to_c = books.rules.flammable_to_c
    area = fire_area(
        baths_there(tanks, books.flash_c),
        books.all_items,
        books.drums.values(),
        books.site.flammable_limit_l,
        to_c,
    )
    burning = [i for i in books.items.values() if i.solvent and category_of_key(i.solvent, to_c)]
    parcels = [parcel for item in burning for parcel in _parcels(item, books, today)]
    booked = books.coming(today)
    return Fire(
        tanks_l=area.litres(where=TANKS),
        fresh_l=area.litres(where=SHELF),
        waste_l=area.litres(where=DRUMS),
        deliveries=tuple((p.from_on, p.amount) for p in parcels if p.from_on is not None),
        pickups=tuple(
            (booked[one.key], one.litres)
            for one in area.stored
            if one.where == DRUMS and one.category is not None and one.key in booked
        ),
    )
