"""Pouring into a drum: by scale, by dip or by volume, and what it does to the month."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.calendar_words import month_words
from app.domain.checklists.filling import SLACK
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.waste import Pour
from app.domain.waste.counters import category_of, month_of
from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import name_of
from app.domain.waste.measures import poured_kg, volume_by_dip_l, volume_by_mass_l
from app.domain.waste.streams import STREAMS, fits_bath
from app.domain.waste.weighing import Weighed
from app.services.baths.building import advice
from app.services.incidents.doubts import spoiled_by, takes_spoiled
from app.services.mixed_drums import other_own
from app.services.scales import of_drum, within
from app.services.swaps.measuring import tank_kg_l
from app.services.swaps.under_way import local
from app.services.waste import Overview, find_drum, overview, pour_problems
from app.store import queries
from app.store.queries import TankView
from app.store.site import crew
from app.units import kept_value, parse_number
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.waste import words
from app.web.waste.words import AmountBar
from app.web.words import State

router = APIRouter(prefix="/rooms/{room}/waste/drums/{drum}/pour")
TEMPLATE = "waste/pour.html"
FIGURES = ("mass_before_kg", "mass_after_kg", "dip_before_cm", "dip_after_cm", "volume_l")
HOW = "Enter the scale before and after, the dip before and after, or the volume."


@dataclass(frozen=True)
class Effect:
    """What a pour does, before it is stored."""

    volume_l: float
    mass_kg: float
    month: str
    month_kg: float
    after_kg: float
    limit_kg: float | None
    state: State
    tag: str
    bar: AmountBar
    category: str
    of_limit_percent: float


@router.get("")
def pour_form(visit: VisitDep, drum: str) -> Response:
    """The form of a pour."""
    state = find_drum(visit.session, visit.room_id, drum)
    asked = {
        name: text
        for name, text in visit.request.query_params.items()
        if name in (*Pour.specs(), "mass_unit", "at", "by", "note")
    }
    form = FormState({"by": visit.person, "mass_unit": _scale_unit(visit), **asked, "drum": drum})
    return visit.page(TEMPLATE, _context(visit, state, form))


@router.get("/preview")
def preview(visit: VisitDep, drum: str) -> Response:
    """What the typed pour does to the drum and the month."""
    state = find_drum(visit.session, visit.room_id, drum)
    form = FormState({**visit.request.query_params, "drum": drum})
    return visit.fragment(TEMPLATE, "preview", _context(visit, state, form))


@router.post("")
def pour(visit: VisitDep, drum: str, typed: FormDep) -> Response:
    """Store the pour; one that passes a limit of the month only once it was asked about."""
    state = find_drum(visit.session, visit.room_id, drum)
    values = {**typed, "drum": drum}
    try:
        entry = _read(visit, state, values)
        problems = pour_problems(visit.session, visit.room_id, entry, visit.now)
        if problems and not visit.is_repeated(typed):
            raise FieldErrors(problems)
        enter(visit, typed, [entry], lambda: _doubts(visit, state, entry), values=values)
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, state, form_of(back, values)), 422)
    return go_on(visit.address("waste", "drums", drum) + "?saved=1", entry.by)


def _read(visit: Visit, drum: DrumState, values: Mapping[str, str]) -> Pour:
    """The pour of a form: its volume as typed, else by the dip, else by the scale."""
    tank = _tank(visit, values.get("tank", ""))
    sent = _in_kilograms(values)
    if not sent.get("resin_percent", "").strip() and tank is not None:
        sent["resin_percent"] = f"{tank.mean_percent:.3g}"
    has_volume = bool(sent.get("volume_l", "").strip())
    if not has_volume:
        if not any(sent.get(name, "").strip() for name in FIGURES):
            raise FieldErrors([FieldError("volume_l", HOW)])
        sent["volume_l"] = text_of(Pour.specs()["volume_l"], 1.0, visit.room)
    entry = read_entry(Pour.kind, sent, visit.room, visit.person, visit.now)
    assert isinstance(entry, Pour)
    return entry if has_volume else replace(entry, volume_l=_measured_l(drum, entry))


def _in_kilograms(values: Mapping[str, str]) -> dict[str, str]:
    """The form with what the scale shows in kilograms, where it shows pounds."""
    sent = dict(values)
    if values.get("mass_unit") != "lb":
        return sent
    errors = []
    for name in ("mass_before_kg", "mass_after_kg"):
        if text := values.get(name, "").strip():
            try:
                grams = kept_value(parse_number(text), "lb", "mass")
            except FieldError as error:
                errors.append(FieldError(name, error.message))
                continue
            sent[name] = f"{grams / 1000:.6g}"
    if errors:
        raise FieldErrors(errors)
    return sent


def _measured_l(drum: DrumState, pour: Pour) -> float:
    """The volume by the dip where it was taken, else by the scale."""
    stream = pour.stream or drum.stream
    if pour.dip_before_cm is not None and pour.dip_after_cm is not None:
        if drum.inner_height_cm is None:
            message = "First enter the drum's inner height in its settings, or enter the volume."
            raise FieldErrors([FieldError("dip_after_cm", message)])
        found = volume_by_dip_l(
            pour.dip_before_cm, pour.dip_after_cm, drum.capacity_l, drum.inner_height_cm
        )
    elif pour.mass_before_kg is not None and pour.mass_after_kg is not None:
        by_scale = pour.mass_after_kg - pour.mass_before_kg
        found = volume_by_mass_l(by_scale, stream, pour.resin_percent)
    else:
        raise FieldErrors([FieldError("volume_l", HOW)])
    spec = Pour.specs()["volume_l"]
    if not spec.low <= found <= spec.high:
        raise FieldErrors([FieldError("volume_l", "That is not a possible volume.")])
    return round(found, 3)


def _effect(visit: Visit, all_: Overview, drum: DrumState, pour: Pour) -> Effect:
    month = month_of(pour.at, visit.zone)
    total = all_.totals.get(month)
    before_kg = total.counted_kg if total else 0.0
    kg = poured_kg(pour, drum.stream)
    judged = all_.month_rules(month)
    rules, limit = judged.rules, judged.limit_kg
    added_kg = kg if rules.counts(drum.stream) else 0.0
    state = words.amount_state(before_kg + added_kg, limit, rules)
    reached = category_of(before_kg + added_kg, rules)
    return Effect(
        volume_l=pour.volume_l,
        mass_kg=kg,
        month=month_words(month),
        month_kg=before_kg,
        after_kg=before_kg + added_kg,
        limit_kg=limit,
        state=state,
        tag=words.AMOUNT_TAGS[state],
        bar=words.amount_bar(before_kg, added_kg, limit),
        category=reached.name if reached and rules.category.month_rule else "",
        of_limit_percent=100 * (drum.volume_l + pour.volume_l) / (drum.fill_limit_l or 1.0),
    )


def _doubts(visit: Visit, drum: DrumState, pour: Pour) -> tuple[str, ...]:
    """What to ask about: the month comes near its limit, or is over it. That it passes it, every
    door asks."""
    effect = _effect(visit, overview(visit.session, visit.room, visit.now), drum, pour)
    is_passed = effect.limit_kg is not None and effect.month_kg <= effect.limit_kg
    if effect.limit_kg is None or effect.state == "ok" or (effect.state == "over" and is_passed):
        return ()
    return (
        f"{effect.month} is then at {effect.after_kg:.1f} of {effect.limit_kg:g} kg: "
        f"{effect.tag.lower()}.",
    )


def _scale_unit(visit: Visit) -> str:
    """What a drum scale shows where parts are weighed in such units."""
    return "lb" if visit.room.mass_unit == "oz" else "kg"


def _tank(visit: Visit, key: str) -> TankView | None:
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    return board.tank(key) if key else None


def _suits(visit: Visit, drum: DrumState, tank: TankView) -> bool:
    """Whether the bath of a tank may go into a drum; one that nobody knows goes in alone, or went
    in before anybody knew."""
    if spoiled_by(visit.session, visit.room, tank.key):
        if takes_spoiled(visit.session, visit.room, drum, tank.key):
            return True
        if drum.stream == "unknown":
            return False
    if other_own(visit.session, visit.room_id, drum, [tank.solvent]):
        return False
    return not STREAMS[drum.stream].is_liquid or fits_bath(drum.stream, tank.solvent)


def _label(visit: Visit, drum: DrumState, tank: TankView) -> str:
    """A tank in the list; a spoiled bath names the time up to which its pours may be entered."""
    name = f"{tank.place} {tank.name}"
    found_at = [one.at for one in spoiled_by(visit.session, visit.room, tank.key) if one.at]
    if not found_at or takes_spoiled(visit.session, visit.room, drum, tank.key):
        return name
    since = local(visit.session, visit.room_id, min(found_at))
    return f"{name}: only what was poured before the wrong solvent, {since}"


def _context(visit: Visit, drum: DrumState, form: FormState) -> dict[str, Any]:
    specs = Pour.specs()
    board = queries.board(visit.session, visit.room_id, visit.now)
    is_wipes = drum.stream == "wipes"
    suited = [tank for tank in board.tanks if not is_wipes and _suits(visit, drum, tank)]
    all_ = overview(visit.session, visit.room, visit.now)
    effect, message = _previewed(visit, all_, drum, form)
    return {
        "drum": drum,
        "name": name_of(drum),
        "weighed": _sent(visit, drum, form),
        "stream": STREAMS[drum.stream],
        "form": form,
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "tanks": [("", "None: something else"), *((t.key, _label(visit, drum, t)) for t in suited)],
        "bonding": _bonding(visit, drum, form),
        "is_by_scale": not STREAMS[drum.stream].is_liquid,
        "asks_lead": _asks_lead(drum, form),
        "leads": crew(visit.session, visit.room_id).leads,
        "effect": effect,
        "effect_message": message,
        "rules": all_.rules,
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }  # fmt: skip


def _asks_lead(drum: DrumState, form: FormState) -> bool:
    """Whether a lead is named on the form: where liquid may flow through plastic, and wherever the
    door asked for one, as of wet solids or of a tank of plastic."""
    is_plastic = drum.material != "metal" and STREAMS[drum.stream].is_liquid
    return is_plastic or bool(form.value("lead") or form.error("lead"))


def _bonding(visit: Visit, drum: DrumState, form: FormState) -> tuple[str, ...]:
    """How charge is led away where liquid flows; wipes and solids are put in by hand."""
    if not STREAMS[drum.stream].is_liquid:
        return ()
    return advice(visit.session, visit.room_id, form.value("tank"), drum)


def _sent(visit: Visit, drum: DrumState, form: FormState) -> Weighed | None:
    """What a scale has sent for this drum: of the bath it is poured from, else of the stream; of
    one that nothing goes into, nothing."""
    if drum.is_quarantined:
        return None
    tank = _tank(visit, form.value("tank"))
    stream = STREAMS[drum.stream]
    kg_l = tank_kg_l(visit.session, visit.room_id, tank.key) if tank else stream.density_g_ml(None)
    tanks = [tank.key] if tank else ()
    found = of_drum(visit.session, visit.room_id, drum, kg_l, visit.now, tanks)
    unit = visit.room.volume_unit
    if tank is not None:
        most_l = tank.capacity_l * SLACK
        found = within(found, most_l, unit, f"{tank.place} {tank.name} holds", "tank")
    return within(found, drum.free_l, unit, "the drum has room for", "drum")


def _previewed(
    visit: Visit, all_: Overview, drum: DrumState, form: FormState
) -> tuple[Effect | None, str]:
    """What the typed pour does, or why it does nothing yet; silent while nothing is typed."""
    if not any(form.value(name).strip() for name in FIGURES):
        return None, ""
    try:
        entry = _read(visit, drum, form.values)
        if problems := pour_problems(visit.session, visit.room_id, entry, visit.now):
            return None, problems[0].message
    except FieldErrors as error:
        return None, error.errors[0].message
    return _effect(visit, all_, drum, entry), ""
