"""What the forms at a tank do in their own way: loads seen before, readings, bottles, rejects.

All else about logging at a tank is the body of every kind's form (`kinds/body`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from app.domain.baths.instrument_words import bias_sentence, in_tank
from app.domain.checklists.filling import SLACK
from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.instruments.refractometer import REFRACTOMETER
from app.domain.plural import grouped
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import Entry, Reading, Reject, Resin, TopUp, Wash
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.lines import own_fields
from app.domain.roomlog.sentences import beside
from app.domain.solvents import solvent
from app.services.acts import topping_up
from app.services.baths.instruments import passport_at
from app.services.baths.plausibility import preview_reading
from app.services.door import Recorded
from app.services.entries import entry_of
from app.services.incidents.holds import held_reason
from app.services.meters.book import chosen
from app.services.part_lots.lots import has_lots
from app.services.part_lots.lots import offered as lot_offered
from app.services.questions import doubts as door_asks
from app.services.scales import of_container, within
from app.store import queries
from app.store.instants import from_us
from app.store.queries import TankView
from app.store.tables import RoomRow
from app.web.asking import confirmed
from app.web.deps import Visit
from app.web.forms import FormState, key_of_new, read_entry, shown_values, text_of, unit_label
from app.web.kinds.different import Asked, Different, enter, enter_all, read, usual_doubts
from app.web.meters.choosing import ask_which, of_reading, without_none

RECENT_LOADS = 5
UNTIMED_PLAN = "Enter the day and time the wash is planned for."
PAST_PLAN = "This time has passed. Plan a future time, or log a finished wash as a wash."
SIZES = ("parts", "area_cm2", "mass_g")


FIRST_RESIN = "resin_name"
"""The field of a wash that names the room's first resin."""
LOT_AGAIN = timedelta(hours=12)  # how long a load is offered with its lot


@dataclass(frozen=True)
class LoadTile:
    """A load that was washed here before, one touch away.

    Attributes:
        name, amount: what its button says, in two lines; `text` both in one.
    """

    name: str
    amount: str
    resin: str
    values: dict[str, str]

    @property
    def text(self) -> str:
        """Resin and amount in a line."""
        return f"{self.name}, {self.amount}"


@dataclass(frozen=True)
class ShownField:
    """What an instrument shows, as a form draws it."""

    name: str
    spec: FieldSpec
    unit: str
    is_required: bool


def recent_loads(visit: Visit, tank: str, without: str | None = None) -> list[LoadTile]:
    """The loads washed here lately, each once, the latest first; `without` an entry in doubt."""
    names = visit.resin_names()
    tiles: dict[str, LoadTile] = {}
    for row in queries.last_entries(visit.session, visit.room_id, tank, Wash.kind):
        wash = entry_of(row)
        assert isinstance(wash, Wash)
        if row.uid == without:
            continue
        tile = _tile(wash, names, visit.room)
        if wash.lot and visit.now - wash.at <= LOT_AGAIN:
            again = _with_lot(tile, wash.lot)
            tiles.setdefault(again.text, again)
        tiles.setdefault(tile.text, tile)
    return list(tiles.values())[:RECENT_LOADS]


def _reading(asked: Asked) -> dict[str, Any]:
    """The instruments, the fields of the one chosen, and what was typed means."""
    visit, tank, form = asked.visit, asked.thing, asked.form
    method = form.value("method")
    if method not in INSTRUMENTS:
        method = _usual_method(visit, tank)
    instrument = INSTRUMENTS.get(method)
    specs = instrument.fields if instrument else {}
    required = instrument.required if instrument else ()
    return {
        "instruments": INSTRUMENTS,
        "method": method,
        "passport": _passport(visit, method, tank.key),
        "method_fields": [
            ShownField(name, spec, unit_label(spec, visit.room), name in required)
            for name, spec in specs.items()
        ],
        "meters": of_reading(visit, method, tank.key),
        **_preview(visit, form, specs),
    }


def _measured(asked: Asked) -> Entry:
    """The reading that was typed, with its instrument where the room has just one."""
    visit, typed = asked.visit, asked.typed
    entry = read(replace(asked, form=FormState(without_none(typed))))
    entry = chosen(visit.session, visit.room_id, entry)
    ask_which(visit, entry, typed)
    return entry


def _passport(visit: Visit, method: str, tank: str) -> str:
    """How the instrument reads at the tank; empty where it was never read."""
    found = passport_at(visit.session, visit.room, method, tank)
    if found is None:
        return ""
    return bias_sentence(in_tank(found, tank), found.off_since, visit.now, visit.zone)


def _loads(asked: Asked) -> dict[str, Any]:
    visit = asked.visit
    resins = queries.resins(visit.session, visit.room_id)
    return {"loads": recent_loads(visit, asked.thing.key), "resins": resins}


def _wash(asked: Asked) -> dict[str, Any]:
    held = held_reason(asked.visit.session, asked.visit.room_id, asked.thing.key)
    return {**_loads(asked), **_lots(asked), "held": held, "resin_specs": Resin.specs()}


def _lots(asked: Asked) -> dict[str, Any]:
    """The part lots that come next here; a room that uses none is not asked for one."""
    session, room_id = asked.visit.session, asked.visit.room_id
    offers = lot_offered(session, room_id, asked.visit.now, asked.thing.key)
    return {
        "lot_offers": [(lot, lot) for lot in offers],
        "uses_lots": has_lots(session, room_id),
    }


def _read_with_lot(asked: Asked) -> Entry:
    """A lot that was typed counts before one that was touched."""
    values = dict(asked.typed)
    values["lot"] = values.get("lot", "").strip() or values.get("lot_offered", "")
    visit = asked.visit
    return read_entry(asked.kind.kind, values, visit.room, visit.person, visit.now)


def _washed(asked: Asked) -> Entry:
    """The wash that was typed; in a room without resins the form names its first one."""
    typed = asked.typed
    if not typed.get(FIRST_RESIN, "").strip():
        return _read_with_lot(asked)
    resin = key_of_new({"name": typed[FIRST_RESIN]}, "resin", asked.visit.resin_names().items())
    values = {**typed, "resin": resin}
    errors = []
    for one in (Resin, Wash):
        try:
            _first_resin(asked, values) if one is Resin else _read_with_lot(
                replace(asked, form=FormState(values))
            )
        except FieldErrors as error:
            errors += error.errors
    if errors:
        raise FieldErrors(errors)
    return _read_with_lot(replace(asked, form=FormState(values)))


def _first_resin(asked: Asked, values: Mapping[str, str]) -> Entry:
    """The resin that the form of a wash describes."""
    visit = asked.visit
    named = {**values, "name": values.get(FIRST_RESIN, ""), "note": ""}
    return read_entry(Resin.kind, named, visit.room, visit.person, visit.now)


def _resin_ahead(asked: Asked, entry: Wash) -> Sequence[Entry]:
    """The resin that is stored with its first wash; none where the room has it already."""
    typed, visit = asked.typed, asked.visit
    is_there = entry.resin in visit.resin_names() and not visit.is_repeated(typed)
    if is_there or not typed.get(FIRST_RESIN, "").strip():
        return ()
    resin = _first_resin(asked, {**typed, "resin": entry.resin})
    return (replace(resin, at=entry.at),)


def _wash_doubts(asked: Asked, entry: Wash) -> Sequence[str]:
    """The first wash of a resin has nothing to be compared with."""
    return () if _resin_ahead(asked, entry) else usual_doubts(asked, entry)


def _with_resin(asked: Asked, entry: Wash) -> Recorded:
    """The wash is named first: it is what Undo takes back."""
    ahead = _resin_ahead(asked, entry)
    done = enter_all(asked, [*ahead, entry])
    return replace(done, ids=done.ids[::-1])


def _planned_ahead(asked: Asked, entry: Entry) -> list[FieldError]:
    """A plan needs a time that is still to come."""
    if entry.at > asked.visit.now:
        return []
    is_timed = asked.typed.get("at", "").strip()
    return [FieldError("at", PAST_PLAN if is_timed else UNTIMED_PLAN)]


def _bottles(asked: Asked) -> dict[str, Any]:
    found = topping_up.bottles(
        asked.visit.session, asked.visit.room_id, asked.thing, asked.visit.today
    )
    return {
        "bottles": [("", "Not from the shelf"), *((one.value, one.text) for one in found)],
        **_container(asked),
    }


def _container(asked: Asked) -> dict[str, Any]:
    """What a scale has sent of the container that this tank is topped up from, since the last
    time."""
    visit, tank = asked.visit, asked.thing
    last = queries.last_entries(visit.session, visit.room_id, tank.key, TopUp.kind, 1)
    since = from_us(last[0].at_us) if last else None
    found = of_container(
        visit.session, visit.room_id, tank.key, tank.solvent_density_g_ml, since, visit.now
    )
    most_l, unit = tank.capacity_l * SLACK, visit.room.volume_unit
    found = within(found, most_l, unit, "the tank holds", "container")
    litres = text_of(TopUp.specs()["volume_l"], found.litres, visit.room) if found else ""
    return {"weighed": found, "weighed_text": litres}


def _use(asked: Asked, entry: TopUp) -> StockUsed | None:
    """What is taken from the shelf with it; None where it comes from no container of the shelf."""
    bottle = asked.typed.get("bottle")
    return topping_up.use_of(entry, bottle) if bottle else None


def _bottle_stops(asked: Asked, entry: TopUp) -> list[FieldError]:
    use, visit = _use(asked, entry), asked.visit
    return [] if use is None else topping_up.stops(visit.session, visit.room_id, use, visit.now)


def _bottle_doubts(asked: Asked, entry: TopUp) -> Sequence[str]:
    found, use, visit = usual_doubts(asked, entry), _use(asked, entry), asked.visit
    if use is None:
        return found
    of_lot = door_asks(visit.session, visit.room, [use], visit.now)
    return (*found, *topping_up.doubts(visit.session, visit.room_id, use, asked.thing), *of_lot)


def _from_bottle(asked: Asked, entry: TopUp) -> Recorded:
    use, visit, key = _use(asked, entry), asked.visit, asked.typed.get("submission")
    if use is None:
        return enter(asked, entry)
    return topping_up.record_top_up(
            visit.store, visit.room.key, entry, use, visit.now, key,
            confirmed=confirmed(asked.typed),
        )  # fmt: skip


def _findings(asked: Asked) -> dict[str, Any]:
    specs = Reject.specs()
    outcome = specs["outcome"]
    return {
        **_lots(asked),
        "resins": queries.resins(asked.visit.session, asked.visit.room_id),
        "findings": {key: specs["finding"].word_of(key) for key in specs["finding"].choices},
        "outcomes": [
            ("", "Not decided"),
            *((key, outcome.word_of(key).capitalize()) for key in outcome.choices),
        ],
    }


WASH = Different(
    "logbook/wash.html", context=_wash, read=_washed, ahead=_resin_ahead, doubts=_wash_doubts,
    enter=_with_resin, beside={"name": FIRST_RESIN},
)  # fmt: skip
PLAN = Different("logbook/plan.html", context=_loads, problems=_planned_ahead)
READING = Different("logbook/reading.html", context=_reading, read=_measured)
TOP_UP = Different(
    "logbook/top-up.html", context=_bottles, problems=_bottle_stops, doubts=_bottle_doubts,
    enter=_from_bottle,
)  # fmt: skip
REJECT = Different("logbook/reject.html", context=_findings, read=_read_with_lot)


def _preview(visit: Visit, state: FormState, specs: Mapping[str, FieldSpec]) -> dict[str, Any]:
    """What the typed values mean, or why they mean nothing yet; silent while nothing is typed."""
    if not any(state.value(name) for name in specs):
        return {"preview": None, "preview_message": ""}
    try:
        values = without_none(state.values)
        entry = read_entry(Reading.kind, values, visit.room, "", visit.now)
        entry = chosen(visit.session, visit.room_id, entry)
        assert isinstance(entry, Reading)
        found = preview_reading(visit.session, visit.room, entry, visit.now)
    except FieldErrors as error:
        return {"preview": None, "preview_message": _asked_for(error.errors[0], state, specs)}
    except FieldError as error:
        return {"preview": None, "preview_message": error.message}
    return {"preview": found, "preview_message": ""}


def _asked_for(error: FieldError, state: FormState, specs: Mapping[str, FieldSpec]) -> str:
    """What is still to be typed is no error yet."""
    instrument = INSTRUMENTS.get(state.value("method"))
    is_to_come = instrument is not None and error.field in instrument.required
    if not is_to_come or state.value(error.field).strip():
        return error.message
    label = specs[error.field].label
    return f"Enter the {label[:1].lower()}{label[1:]} too."


def _usual_method(visit: Visit, tank: TankView) -> str:
    for row in queries.last_entries(visit.session, visit.room_id, tank.key, Reading.kind, 1):
        last = entry_of(row)
        assert isinstance(last, Reading)
        return last.method
    if solvent(tank.solvent).fresh_varies:
        return REFRACTOMETER.key
    return next(iter(INSTRUMENTS))


def _with_lot(tile: LoadTile, lot: str) -> LoadTile:
    return replace(tile, amount=f"{tile.amount}, lot {lot}", values={**tile.values, "lot": lot})


def _tile(wash: Wash, names: dict[str, str], room: RoomRow) -> LoadTile:
    values = shown_values(wash, own_fields(wash), room)
    sizes = [
        beside(grouped(values[name]), unit_label(Wash.specs()[name], room))
        for name in SIZES
        if name in values
    ]
    kept = {name: values[name] for name in ("resin", *SIZES) if name in values}
    return LoadTile(names.get(wash.resin, wash.resin), ", ".join(sizes), wash.resin, kept)
