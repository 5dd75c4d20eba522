"""What the room knows that typed figures are held against: facts, what came before, what others
have. The rules are data (`domain/plausible`); here the books and the log are read for them.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import islice
from typing import Any, cast

from sqlmodel import Session, col, select

from app.domain.curing.lamp import lamp
from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.duties.book import CloseState
from app.domain.duties.catalogue import in_force
from app.domain.inspections.books import SoakState
from app.domain.lot_keys import PART_LOT, RESIN_LOT, SOLVENT_LOT
from app.domain.money import EURO_LIKE
from app.domain.money import plain as amount
from app.domain.plausible import Known, numbers
from app.domain.plausible.rules import Before, Others
from app.domain.plausible.rules import plain as plain_words
from app.domain.roomlog.kinds import Entry, Removal, TankChange
from app.domain.roomlog.kinds.curing import CURE_RECIPE, STATION, Cure, CureRecipe
from app.domain.roomlog.kinds.duties import CLOSE, DUTY, MonthClose
from app.domain.roomlog.kinds.inspections import SOAK
from app.domain.roomlog.kinds.supplies import COUNTED_UNITS, ITEM
from app.domain.roomlog.kinds.waste import DRUM, WASTE_RULES, PickupShipped, WasteRules
from app.domain.site import SiteState
from app.domain.solvents import SOLVENTS
from app.domain.supplies.state import ItemState
from app.domain.waste.drums import DrumState
from app.domain.waste.measures import mass_kg
from app.domain.waste.rulebook import RuleBook
from app.domain.waste.streams import STREAMS
from app.services.curing.stations import with_certificates, with_figures
from app.services.duties.due import moved_since
from app.services.entries import entry_of
from app.services.spend.price_book import prices_of
from app.store.instants import from_us
from app.store.queries import LOW_SHARE
from app.store.site import site
from app.store.tables import EntryRow, LinkRow, RoomRow, TankRow
from app.store.things import thing, things
from app.units import KEPT_UNITS, Quantity, UnitSystem, format_value

MOST_BEFORE = 60
APART = ("swap", "incident", "pickup", PART_LOT, RESIN_LOT, SOLVENT_LOT)
"""Things by which entries of one kind are not alike."""
LATE = timedelta(hours=6)  # what is entered that late is not held against a level of now
IN_KG = 10_000.0  # g and more are written in kilograms
NEAR_PIECES, NEAR_L = 3.0, 0.3  # of a movement of the shelf: never asked about
FULL_DRUM_KG = 160.0  # 205 L to nine tenths, at 0.85 kg/L
QUANTITIES: Mapping[str, Quantity] = {"L": "volume", "C": "temperature", "g": "mass", "cm2": "area"}
ALIKE: Mapping[str, tuple[str, ...]] = {
    "stock_used": ("purpose", "tank"), "cure": ("resin",), "duty_done": ("of",),
    "pour": ("tank",),
}  # fmt: skip
"""Beside its thing or tank, what two entries of a kind share to be of the same place."""

Facts = dict[str, float]


def known_of(session: Session, room: RoomRow, entry: Entry) -> Known:
    """What an entry's figures are held against."""
    rules = [(name, rule) for name, _, found in numbers(entry) for rule in found]
    before = {name for name, rule in rules if isinstance(rule, Before)}
    others = any(isinstance(rule, Others) for _, rule in rules) or isinstance(entry, CureRecipe)
    currency = getattr(entry, "currency", None) or room.currency
    return Known(
        facts=_facts(session, room, entry),
        before=_before(session, room, entry, before) if before else {},
        others=_others(session, room, entry) if others else {},
        say=saying(room, currency),
        is_euro_like=not currency or currency in EURO_LIKE,
    )


def known_alone(session: Session, room: RoomRow, entry: Entry) -> Known:
    """What an entry's figures are held against by what it says itself."""
    currency = getattr(entry, "currency", None) or room.currency
    facts = _solvent(session, room, entry) if getattr(entry, "solvent", None) else {}
    return Known(
        facts=facts, say=saying(room, currency), is_euro_like=not currency or currency in EURO_LIKE
    )


def saying(room: RoomRow, currency: str) -> Callable[[float, str], str]:
    """How a figure is written in the room's units and in a currency."""
    system = UnitSystem(
        volume=cast(Any, room.volume_unit), temperature=cast(Any, room.temperature_unit),
        mass=cast(Any, room.mass_unit), area=cast(Any, room.area_unit),
    )  # fmt: skip

    def say(value: float, unit: str) -> str:
        if unit == "money":
            return f"{amount(round(value), currency)} {currency}".strip()
        quantity = QUANTITIES.get(unit)
        if unit == "g" and value >= IN_KG and system.mass == "g":
            return f"{value / 1000:.1f} kg"
        if quantity is None or system.unit(quantity) == KEPT_UNITS[quantity]:
            return plain_words(value, "°C" if unit == "C" else unit.replace("cm2", "cm²"))
        return format_value(value, quantity, system)

    return say


def _before(
    session: Session, room: RoomRow, entry: Entry, names: Iterable[str]
) -> dict[str, list[float]]:
    """Past values of its kind in the same place, the latest first; what it corrects left out."""
    room_id, shared = room.id or 0, ALIKE.get(entry.kind, ())
    rows = _rows(session, room_id, entry)
    past = (entry_of(row) for row in rows if row.uid != entry.corrects)
    place = [getattr(entry, name) for name in shared]
    of_place = (one for one in past if [getattr(one, name) for name in shared] == place)
    alike = list(islice(of_place, MOST_BEFORE))  # the others are not read: each wash asks
    return {
        name: [float(value) for one in alike if (value := getattr(one, name, None)) is not None]
        for name in names
    }


def _rows(session: Session, room_id: int, entry: Entry) -> Sequence[Any]:
    """The latest entries of a kind about the same thing, else the same tank, else in the room."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    query = (
        table.select()  # plain rows: the mapper's cost more than the rest, at every entry
        .where(EntryRow.room_id == room_id, col(EntryRow.kind).in_(_kinds(entry.kind)))
        .where(col(EntryRow.voided_by).is_(None))
    )
    if of := [one for one in entry.things() if one[0] not in APART]:
        kind, key = of[0]
        query = query.join(LinkRow, cast(Any, col(LinkRow.entry_id) == col(EntryRow.id))).where(
            LinkRow.room_id == room_id, LinkRow.thing == kind, LinkRow.key == key
        )
        query = query.order_by(col(LinkRow.moment_us).desc(), col(LinkRow.sequence).desc())
    else:
        if tank := getattr(entry, "tank", None):
            query = query.where(EntryRow.tank == tank)
        query = query.order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
    return session.execute(query.limit(2 * MOST_BEFORE)).all()


def _kinds(kind: str) -> tuple[str, ...]:
    """A wash that is planned is as large as those that were done."""
    return ("planned_wash", "wash") if kind == "planned_wash" else (kind,)


def _others(session: Session, room: RoomRow, entry: Entry) -> dict[str, list[float]]:
    """What the room's other things of the kind have."""
    room_id = room.id or 0
    found: dict[str, list[float]] = {}
    if (look := _BESIDE.get(entry.kind)) is None:
        return found
    for state in look(session, room_id, entry):
        for name in _names_of(entry):
            value = state.get(name)
            if isinstance(value, int | float) and value:
                found.setdefault(name, []).append(float(value))
            elif isinstance(value, tuple):
                found.setdefault(name, []).extend(map(float, value))
    return found


def _names_of(entry: Entry) -> list[str]:
    return [*entry.specs(), "dose_mj_cm2"]


def _tanks(session: Session, room_id: int, entry: Entry) -> list[dict[str, Any]]:
    rows = session.exec(select(TankRow).where(TankRow.room_id == room_id)).all()
    return [row.model_dump() for row in rows if row.key != getattr(entry, "tank", "")]


def _of_book(kind: str, field: str) -> Callable[[Session, int, Entry], list[dict[str, Any]]]:
    def look(session: Session, room_id: int, entry: Entry) -> list[dict[str, Any]]:
        states = things(session, room_id, kind)
        return [_figures(one) for key, one in states.items() if key != getattr(entry, field)]

    return look


def _items(session: Session, room_id: int, entry: Any) -> list[dict[str, Any]]:
    """Items of the same category."""
    here: ItemState | None = thing(session, room_id, ITEM, entry.item)
    category = getattr(entry, "category", None) or (here.category if here else "")
    unit = getattr(entry, "unit", None) or (here.unit if here else "")
    states = things(session, room_id, ITEM)
    return [
        _figures(one.rules)
        for key, one in states.items()
        if key != entry.item and (one.category, one.unit) == (category, unit)
    ]


def _was(state: Any) -> dict[str, Any]:
    """Figures as they stand, for rules that look at a change."""
    return {
        f"was.{name}": value
        for name, value in _figures(state).items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }


def _figures(state: Any) -> dict[str, Any]:
    return {name: getattr(state, name) for name in state.__dataclass_fields__}


_BESIDE: Mapping[str, Callable[[Session, int, Any], list[dict[str, Any]]]] = {
    "tank": _tanks, "drum": _of_book(DRUM, "drum"), "station": _of_book(STATION, "station"),
    "station_changed": _of_book(STATION, "station"),
    "cure_recipe": _of_book(CURE_RECIPE, "resin"), "item": _items, "item_changed": _items,
}  # fmt: skip


def _facts(session: Session, room: RoomRow, entry: Entry) -> Facts:
    room_id = room.id or 0
    found: dict[str, float | None] = {}
    if tank := getattr(entry, "tank", None):
        found |= _of_tank(session, room_id, tank, entry)
    for look in _FACTS.get(entry.kind, ()):
        found |= look(session, room, entry)
    return {name: value for name, value in found.items() if value is not None}


def _of_tank(session: Session, room_id: int, tank: str, entry: Entry) -> Facts:
    """A tank's marks and limits; its level only where nothing was entered after this happened."""
    row = session.get(TankRow, (room_id, tank))
    if row is None:
        return {}
    solvent = SOLVENTS.get(row.solvent)
    found: dict[str, Any] = {
        "capacity_l": row.capacity_l, "limit_percent": row.limit_percent,
        "stop_percent": row.stop_percent or None,
        "usual_purity_percent": solvent.usual_purity_percent if solvent else None,
        "lower_l": row.min_l if row.min_l is not None else LOW_SHARE * row.capacity_l,
    }  # fmt: skip
    last_at = from_us(row.last_entry_at_us) if row.last_entry_at_us is not None else entry.at
    if not entry.corrects and entry.at >= last_at - LATE:
        found |= {
            "held_l": row.volume_l, "free_l": row.capacity_l - row.volume_l,
            "mean_percent": row.mean_percent,
        }  # fmt: skip
        if isinstance(entry, Removal):
            found["left_after_l"] = max(0.0, row.volume_l - entry.volume_l)
    if isinstance(entry, TankChange):
        found |= {
            "was.capacity_l": row.capacity_l, "was.min_l": row.min_l,
            "was.life_days": row.life_days, "was.life_washes": row.life_washes,
            f"was.limit_{_BASIS[row.limit_basis]}": row.limit_entered,
            f"was.stop_{_BASIS[row.stop_basis]}": row.stop_entered,
        }  # fmt: skip
    return found


_BASIS = {"mass_percent": "percent", "volume_percent": "volume_percent", "g_per_l": "g_l"}


def _solvent(_: Session, __: RoomRow, entry: Any) -> Facts:
    solvent = SOLVENTS.get(entry.solvent or "")
    return {"usual_purity_percent": solvent.usual_purity_percent} if solvent else {}


def _item(session: Session, room: RoomRow, entry: Any) -> Facts:
    """An item's stock, what its last lots cost, what it comes in, what is on order."""
    state: ItemState | None = thing(session, room.id or 0, ITEM, entry.item)
    if state is None or not state.name:
        return {}
    solvent = SOLVENTS.get(state.solvent or "")
    prices = [cents for lot in state.lots if (cents := lot.price_cents_per_unit)]
    order = state.order(getattr(entry, "order", None) or "")
    found: dict[str, Any] = {
        "on_hand": state.on_hand,
        "unit_price_cents": prices[-1] if prices else state.rules.list_price_cents,
        "outstanding": order.outstanding if order else None,
        "delivery": max((one.received_quantity for one in state.lots), default=None),
        "usual_purity_percent": solvent.usual_purity_percent if solvent else None,
    }  # fmt: skip
    if state.unit in COUNTED_UNITS:
        found |= {"capacity_l": None, "near.quantity": NEAR_PIECES}
    else:
        found["near.quantity"] = NEAR_L
    if sizes := state.container_sizes:
        found |= {"size_least": min(sizes), "size_most": max(sizes)}
    if entry.kind == "item_changed":
        found |= _was(state.rules)
        found["lead_days"] = state.rules.lead_days
        found["shelf_life_days"] = state.rules.shelf_life_days
        found["max_on_shelf"] = state.rules.max_on_shelf
        found["used_per_swap"] = state.rules.used_per_swap or None
    return found


def _new_item(session: Session, room: RoomRow, entry: Any) -> Facts:
    """Its container sizes, and what others of its category cost."""
    sizes = entry.container_sizes or ()
    found = {"size_least": min(sizes), "size_most": max(sizes)} if sizes else {}
    kin = [
        cents
        for state in things(session, room.id or 0, ITEM).values()
        if state.category == entry.category and state.key != entry.item
        for lot in state.lots[-1:]
        if (cents := lot.price_cents_per_unit)
    ]
    return found | ({"kin_price_cents": sorted(kin)[len(kin) // 2]} if kin else {})


def _drum(session: Session, room: RoomRow, entry: Any) -> Facts:
    state: DrumState | None = thing(session, room.id or 0, DRUM, entry.drum or "")
    if state is None or not state.name:
        return {}
    is_loose = not STREAMS[getattr(entry, "stream", None) or state.stream].is_liquid
    found: dict[str, Any] = {
        "drum_capacity_l": state.capacity_l, "drum_height_cm": state.inner_height_cm,
        "drum_held_l": state.volume_l,
        "drum_tare_kg": state.tare_kg, "is_loose": 1.0 if is_loose else None,
    }  # fmt: skip
    if state.last_pour_at is None or entry.at >= state.last_pour_at:
        found["drum_kg"] = state.mass_kg
    if entry.kind == "drum_changed":
        found |= {
            "was.capacity_l": state.capacity_l, "was.tare_kg": state.tare_kg,
            "was.inner_height_cm": state.inner_height_cm,
        }  # fmt: skip
    return found


def _rinse(session: Session, room: RoomRow, _: Entry) -> Facts:
    return cast(Facts, {"rinse_percent": site(session, room.id or 0).rinse_percent})


def _source(session: Session, room: RoomRow, entry: Any) -> Facts:
    state: DrumState | None = thing(session, room.id or 0, DRUM, entry.from_drum)
    return {"source_l": state.volume_l} if state is not None else {}


def _shipped(session: Session, room: RoomRow, entry: PickupShipped) -> Facts:
    """What the drums weigh by the log, and what their disposal costs by the rates."""
    drums = [thing(session, room.id or 0, DRUM, key) for key in entry.drums]
    known: list[DrumState] = [drum for drum in drums if drum is not None]
    kg = sum((drum.mass_kg or mass_kg(drum.volume_l, drum.stream)) + (drum.tare_kg or 0)
             for drum in known)  # fmt: skip
    rates = prices_of(session, room.id or 0).latest
    cents: float | None = None
    if rates is not None and rates.disposal_cents_per_kg:
        cents = rates.disposal_cents_per_kg * sum(drum.mass_kg for drum in known)
    elif rates is not None and rates.disposal_cents_per_drum:
        cents = rates.disposal_cents_per_drum * len(known)
    found: dict[str, Any] = {"drums_kg": kg or None, "per_drum_cents": cents}
    return cast(Facts, found)


def _station(session: Session, room: RoomRow, entry: Any) -> Facts:
    state: StationState | None = thing(session, room.id or 0, STATION, entry.station)
    if state is None or not state.is_known:
        return {}
    found: dict[str, Any] = {
        "wavelength_nm": state.wavelength_nm, "former_new_mw_cm2": state.new_mw_cm2 or
        state.first_mw_cm2,
    }  # fmt: skip
    meter = state.meter
    if meter is not None and entry.at >= meter.at:
        found |= {
            "lamp_h": state.hours_h, "passed_h": (entry.at - meter.at) / timedelta(hours=1),
        }  # fmt: skip
    if state.readings and not entry.corrects:
        last = state.readings[-1].positions
        found |= {f"last.{place}_mw_cm2": value for place, value in last.items()}
    if entry.kind == "station_changed":
        found |= _was(state)
        found["is_led"] = 1.0 if state.source == "led" else None
    return found


def _cure(session: Session, room: RoomRow, entry: Cure) -> Facts:
    """What the time gives at the station's output, beside the recipe's dose."""
    full = with_figures(session, room.id or 0, _bare(entry))
    found: dict[str, Any] = {
        "given_mj_cm2": full.dose_mj_cm2, "least_mj_cm2": full.weakest_dose_mj_cm2,
        "asked_mj_cm2": full.dose_asked_mj_cm2, "dry_minutes": full.dry_asked_minutes,
    }  # fmt: skip
    return cast(Facts, found)


def _bare(entry: Cure) -> Cure:
    return replace(
        entry, dose_mj_cm2=None, weakest_dose_mj_cm2=None, dose_asked_mj_cm2=None,
        dry_asked_minutes=None,
    )  # fmt: skip


def _recipe(session: Session, room: RoomRow, entry: CureRecipe) -> Facts:
    room_id = room.id or 0
    state: RecipeState | None = thing(session, room_id, CURE_RECIPE, entry.resin)
    stations: Mapping[str, StationState] = things(session, room_id, STATION, only_open=True)
    known = (with_certificates(session, room_id, one) for one in stations.values() if one.is_known)
    outputs = [lamp(one, entry.at).mw_cm2 for one in known]
    found: dict[str, Any] = {
        "best_mw_cm2": max((one for one in outputs if one is not None), default=None)
    }
    if state is not None and state.is_known:
        found |= _was(state)
    return found


def _site(session: Session, room: RoomRow, _: Entry) -> Facts:
    state: SiteState = site(session, room.id or 0)
    rows = session.exec(select(TankRow.capacity_l).where(TankRow.room_id == room.id)).all()
    tanks = {"tanks_l": sum(rows)} if rows else {}
    month = state.waste_month_limit_kg
    return cast(Facts, _was(state) | tanks | {"waste_month_limit_kg": month})


def _prices(session: Session, room: RoomRow, entry: Entry) -> Facts:
    """The rates so far; nothing where another currency is named: amounts do not compare."""
    if (getattr(entry, "currency", None) or room.currency) != room.currency:
        return {}
    rates = prices_of(session, room.id or 0).latest
    given = {} if rates is None else _figures(rates)
    known = {name: float(value) for name, value in given.items() if isinstance(value, int | float)}
    found = {f"was.{name}": value for name, value in known.items()} | known
    # A drum's price that stands unchanged is not held against the price per kg that replaces it.
    is_new = getattr(entry, "disposal_cents_per_drum", None) != known.get("disposal_cents_per_drum")
    if is_new and (per_kg := known.get("disposal_cents_per_kg")):
        found["drum_by_kg_cents"] = FULL_DRUM_KG * per_kg
    litres = [
        cents
        for state in things(session, room.id or 0, ITEM).values()
        if state.solvent
        for lot in state.lots[-1:]
        if (cents := lot.price_cents_per_unit)
    ]
    if litres:
        found["shelf_cents_per_l"] = sorted(litres)[len(litres) // 2]
    return found


def _duty(session: Session, room: RoomRow, entry: Any) -> Facts:
    states = things(session, room.id or 0, DUTY)
    duty = in_force(states.values()).get(entry.duty)
    state = states.get(entry.duty)
    found: dict[str, Any] = {"every_days_usual": duty.every_days or None if duty else None}
    if state is not None:
        found |= {"was.every_days": state.every_days, "was.grace_days": state.grace_days}
    return cast(Facts, found)


def _close(session: Session, room: RoomRow, entry: MonthClose) -> Facts:
    state: CloseState | None = thing(session, room.id or 0, CLOSE, entry.tank)
    if state is None or state.last is None:
        return {}
    moved = moved_since(session, room.id or 0, entry.tank, state.last.at)
    return {} if moved.unstated else {"removed_l_log": moved.removed_l}


def _soak(session: Session, room: RoomRow, entry: Any) -> Facts:
    state: SoakState | None = thing(session, room.id or 0, SOAK, entry.soak)
    return {"mass_before_g": state.mass_before_g} if state is not None else {}


def _rules(session: Session, room: RoomRow, _: WasteRules) -> Facts:
    book: RuleBook | None = thing(session, room.id or 0, WASTE_RULES, WASTE_RULES)
    rules = (book or RuleBook()).set.rules
    return {f"rule.{rule.key}": rule.value for rule in rules if rule.value}


_FACTS: Mapping[str, tuple[Callable[[Session, RoomRow, Any], Facts], ...]] = {
    "tank": (_solvent,), "item": (_solvent, _new_item), "item_changed": (_item,),
    "stock_received": (_item,), "stock_used": (_item,), "stock_counted": (_item,),
    "stock_scrapped": (_item,), "order_placed": (_item,),
    "drum_changed": (_drum,), "pour": (_drum, _rinse), "drum_transfer": (_drum, _source),
    "pickup_shipped": (_shipped,), "waste_rules": (_rules,), "incident": (_drum,),
    **dict.fromkeys(("station_changed", "relamped", "lamp_hours", "irradiance"), (_station,)),
    "cure": (_cure,), "cure_recipe": (_recipe,), "site_rules": (_site,),
    "price_list": (_prices,), "other_cost": (_prices,), "duty": (_duty,),
    "month_close": (_close,), "soak_ended": (_soak,),
}  # fmt: skip
"""What is read for a kind beside its tank."""
