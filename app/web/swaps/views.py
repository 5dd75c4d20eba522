"""A swap as its pages show it: the rail of steps, the step at hand, its choices, its picture."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session

from app.domain.calendar_words import day_words
from app.domain.checklists.filling import level_l, marks_of, target_l
from app.domain.checklists.gates import Block
from app.domain.checklists.roles import RINSES, ROLES, tanks_of
from app.domain.checklists.run import Attempts, Note, Overrule, SwapState, Tick
from app.domain.checklists.tank_contents import capacity_l as tank_capacity_l
from app.domain.checklists.template import Step
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import EMPTY
from app.domain.instruments import INSTRUMENTS
from app.domain.instruments.refractometer import REFRACTOMETER
from app.domain.roomlog.kinds import Reading
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.solvents import solvent
from app.domain.solvents.fit import SAME_PERCENT
from app.domain.supplies.state import ItemState
from app.domain.waste.counters import Clock
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import STREAMS, fits_bath, stream_of_bath
from app.services.baths.building import advice
from app.services.entries import entry_of
from app.services.harm import lowered_flash, may_light
from app.services.incidents.doubts import spoiled_by, takes_spoiled
from app.services.inspections.reading import inspections
from app.services.mixed_drums import other_own
from app.services.planning.proposal import drums_for
from app.services.scales import other_drum
from app.services.swaps.amounts import drum_need_l
from app.services.swaps.checks import ONLY_AT
from app.services.swaps.inspected import inspection_lacks, shut_before, tanks_out_of_service
from app.services.swaps.looks import full_looks_missing
from app.services.swaps.measuring import WEIGHED, offered
from app.services.swaps.purities import other_purities
from app.services.waste import drums, overview
from app.store import queries
from app.store.site import crew, site
from app.store.tables import TankRow
from app.store.things import thing, things
from app.web.deps import Visit
from app.web.filters import volume
from app.web.forms import FormState, unit_label
from app.web.kinds.body import FormField
from app.web.meters.choosing import of_reading
from app.web.swaps.answers import answered
from app.web.swaps.forms import fields_of

FLOOR, TOP = 300.0, 100.0  # of the picture: heights at which a vessel is empty and full
LOOKING = ("inspection", "clean")
"""Roles whose step waits for the look at an empty tank."""
NO_LOT = ("-", "Not from the shelf")


@dataclass(frozen=True)
class RailStep:
    """A step in the list beside the page."""

    step: Step
    number: int
    tick: Tick | None
    is_current: bool
    is_passed_over: bool
    overrules: tuple[Overrule, ...]
    attempts: Attempts | None
    notes: tuple[Note, ...]

    @property
    def rule(self) -> str:
        """The program's own line at the step."""
        return ROLES[self.step.role].rule


@dataclass(frozen=True)
class Picture:
    """Tank and drum with their levels, in the units of the picture; None where there is no drum."""

    tank_y: float
    tank_text: str
    drum_y: float | None = None
    drum_after_y: float | None = None
    drum_limit_y: float | None = None
    drum_name: str = ""
    drum_text: str = ""
    words: str = ""


def rail(state: SwapState, current: str = "") -> list[RailStep]:
    """All steps of a swap, each with what happened to it."""
    return [
        RailStep(
            step, number, state.tick(step.key), step.key == current,
            state.tick(step.key) is None and state.overrule(step.key, "step") is not None,
            tuple(one for one in state.overrules if one.step == step.key),
            state.attempts_at(step.key),
            tuple(one for one in state.notes if one.step == step.key),
        )
        for number, step in enumerate(state.steps, 1)
    ]  # fmt: skip


def tank_row(session: Session, room_id: int, key: str) -> TankRow | None:
    """The tank of a swap."""
    return session.get(TankRow, (room_id, key))


def shut_gates(visit: Visit, state: SwapState, step: Step) -> tuple[Block, ...]:
    """The gates that are shut before a step that is not done."""
    if state.tick(step.key) is not None:
        return ()
    return shut_before(visit.session, visit.room_id, state, step)


def looked_at(visit: Visit, state: SwapState, step: Step) -> list[InspectionState]:
    """The looks at the empty tanks of a step since the swap began, the latest first."""
    tanks, since = tanks_to_inspect(state, step), state.started_at
    return [
        one
        for one in inspections(visit.session, visit.room_id)
        if one.tank in tanks
        and one.when == EMPTY
        and since
        and one.started_at
        and one.started_at >= since
    ]


def tanks_to_inspect(state: SwapState, step: Step) -> tuple[str, ...]:
    """The tanks whose empty look a step waits for."""
    clean = state.from_tank or ""
    if step.role == "clean":
        return (clean,)
    return (state.tank,) if state.with_role("clean") or not clean else (state.tank, clean)


def passable(visit: Visit, state: SwapState, step: Step) -> list[tuple[str, str]]:
    """What a lead may let pass at a step, each in words."""
    if state.tick(step.key) is not None:
        return []
    found = [
        (one.gate, f"Go on anyway: {one.message}")
        for one in shut_gates(visit, state, step)
        if one.can_be_overruled
    ]
    lacks = step.role == "inspection" and inspection_lacks(visit.session, visit.room_id, state)
    if lacks and not state.overrule(step.key, "inspection"):
        found.append(("inspection", f"Go on anyway: {lacks.partition('. ')[0].rstrip('.')}."))
    words = {
        "drum_room": "Use a drum with too little room, and share the bath with a second one",
    }
    found += [
        (gate, words[gate])
        for gate, roles in ONLY_AT.items()
        if gate in words and step.role in roles and not state.overrule(step.key, gate)
    ]
    if step.role in ONLY_AT["lot"]:
        found += _expired_lots(visit, state, step)
    if step.role == "fill":
        found += [
            (f"purity:{percent:.4g} %", f"Fill it anyway: {told}")
            for percent, told in other_purities(visit.session, visit.room_id, state)
            if state.purity_word(step.key, percent) is None
        ]
    may_pass = step.is_required and not ROLES[step.role].stays
    if may_pass and not state.overrule(step.key, "step"):
        found.append(("step", "Pass this step over"))
    return found


def _expired_lots(visit: Visit, state: SwapState, step: Step) -> list[tuple[str, str]]:
    """A word for each lot past its day that no lead has let pass at the step."""
    items: list[ItemState] = list(things(visit.session, visit.room_id, ITEM).values())
    return [
        (f"lot:{item.key}|{lot.lot}",
         f"Use lot {lot.lot} of {item.name}, past its day since {day_words(end)}")
        for item in items
        if item.category == "solvent" and item.solvent == state.solvent
        for lot in item.lots
        if lot.standing(item.rules, visit.today) == "expired"
        and (end := lot.use_by(item.rules)) is not None
        and state.lot_word(step.key, f"{item.key}|{lot.lot}") is None
    ]  # fmt: skip


def step_context(visit: Visit, state: SwapState, step: Step, form: FormState) -> dict[str, Any]:
    """What the page of one step is made from."""
    options = _options(visit, state, step)
    shown = fields_of(step, options, visit.room)
    context = {
        "step": step,
        "at_tanks": [
            row.name
            for key in _tanks_at(state, step)
            if state.from_tank and (row := tank_row(visit.session, visit.room_id, key))
        ],
        "rule": ROLES[step.role].rule,
        "must_know": ROLES[step.role].must_know,
        "full_looks": full_looks_missing(visit.session, visit.room_id, state),
        "bonding": _bonding(visit, state) if step.role == "bond" else (),
        "warns_of_devices": (step.role == "inspection" or any(a.kind == "photo" for a in step.asks))
        and any(
            may_light(visit.session, visit.room, key) for key in {state.tank, state.filled_tank}
        ),
        "to_inspect": [],
        "looked": looked_at(visit, state, step) if step.role in LOOKING else [],
        "needs_look": step.role == "inspection"
        and bool(inspection_lacks(visit.session, visit.room_id, state)),
        "number": 1 + state.steps.index(step),
        "tick": state.tick(step.key),
        "gates": shut_gates(visit, state, step),
        "held": tanks_out_of_service(visit.session, visit.room_id, state),
        "fields": [one for one in shown if not one.is_extra],
        "extra": [one for one in shown if one.is_extra],
        "units": {one.name: unit_label(one.spec, visit.room) for one in shown},
        "picture": picture(visit, state, step),
        **scale_context(visit, state, step),
        "expected": _expected(visit, state, step),
        "target_l": _target_l(visit, state) if step.role == "fill" else None,
        "method_fields": [],
        "meters": {},
        "answered": answered(visit, step, state.tick(step.key)),
    }
    if step.role in LOOKING:
        rows = (
            tank_row(visit.session, visit.room_id, key) for key in tanks_to_inspect(state, step)
        )
        context["to_inspect"] = [row for row in rows if row is not None]
    if step.role == "reading":
        context |= _reading(visit, state, form)
    return context


def _tanks_at(state: SwapState, step: Step) -> tuple[str, ...]:
    roles = {one.role for one in state.steps}
    return tanks_of(step.role, state.tank, state.from_tank, roles)


def scale_context(visit: Visit, state: SwapState, step: Step) -> dict[str, Any]:
    """What a scale has sent for a step that is open, and the drum that it names instead."""
    if step.role not in ("drain", *WEIGHED) or state.tick(step.key) is not None or state.end:
        return {"weighed": None, "other_drum": ""}
    found = offered(visit.session, visit.room_id, state, step, visit.now)
    drum = _drum(visit, state)
    is_into = found is None and drum is not None and step.role != "fill"
    other = other_drum(visit.session, visit.room_id, drum, visit.now) if is_into and drum else ""
    return {"weighed": found, "other_drum": other, "own_drum": drum.name if drum else ""}


def _bonding(visit: Visit, state: SwapState) -> tuple[str, ...]:
    return advice(visit.session, visit.room_id, state.tank, _drum(visit, state))


def _options(
    visit: Visit, state: SwapState, step: Step
) -> Mapping[str, tuple[tuple[str, str], ...]]:
    """What each list of a step offers; of a second person who is here besides who does it."""
    here = crew(visit.session, visit.room_id).here
    others = tuple(one for one in here if one[0] != visit.person)
    people = {ask.key: others for ask in step.asks if ask.kind == "second"}
    return {**people, **_lists(visit, state, step)}


def _lists(visit: Visit, state: SwapState, step: Step) -> Mapping[str, tuple[tuple[str, str], ...]]:
    if step.role in ("drum", "drain"):
        rules = site(visit.session, visit.room_id)
        wanted_l = drum_need_l(state, rules) if step.role == "drum" else 0.0
        found, first = drum_options(visit, state, wanted_l), state.answer("drum", "drum")
        others = tuple(one for one in found if one[0] != first)
        return {"drum": found, "drum_2": (("", "None"), *others)}
    if step.role in (*RINSES, "fill"):
        tank = tank_row(visit.session, visit.room_id, state.filled_tank)
        purity = tank.fresh_purity_percent if tank else 0.0
        lots = lot_options(
            visit, state.solvent, purity, lambda lot: state.lot_word(step.key, lot) is not None
        )
        return {"lot": (*lots, NO_LOT), "lot_2": (("", "None"), *lots)}
    return {}


def drum_options(
    visit: Visit, state: SwapState, wanted_l: float = 0.0
) -> tuple[tuple[str, str], ...]:
    """The drums that take waste of a bath, the best first: those that the plan sets aside for this
    swap, its own stream, room enough, then the fullest; what is past its last day comes last. Each
    with its stream, the room under its fill limit and its last day."""
    all_ = overview(visit.session, visit.room, visit.now)
    if spoiled_by(visit.session, visit.room, state.tank):
        fitting = [
            one
            for one in all_.open_drums
            if one.takes_unknown and takes_spoiled(visit.session, visit.room, one, state.tank)
        ]
    else:
        fitting = [
            one
            for one in all_.open_drums
            if one.takes_waste
            and fits_bath(one.stream, state.solvent)
            and not other_own(visit.session, visit.room_id, one, [state.solvent])
        ]
    is_mixed = lowered_flash(visit.session, visit.room, state.tank) != ""
    own = stream_of_bath(state.solvent, is_mixed=is_mixed)
    given = [one.key for one in drums_for(visit.session, visit.room, state.tank, visit.now)]
    clocks = {one.key: all_.clock(one, visit.zone, visit.now) for one in fitting}
    past = {key for key, clock in clocks.items() if clock is not None and clock.days_left < 0}

    def rank(drum: DrumState) -> tuple[bool | float, ...]:
        turn = given.index(drum.key) if drum.key in given else len(given)
        is_other = drum.stream != own
        return drum.key in past, is_other, turn, drum.free_l < wanted_l, drum.free_l

    fitting.sort(key=rank)
    return tuple(
        (one.key, _drum_words(visit, one, clocks[one.key], wanted_l, is_given=one.key in given))
        for one in fitting
    )


def _drum_words(
    visit: Visit, drum: DrumState, clock: Clock | None, wanted_l: float, *, is_given: bool
) -> str:
    lack = ", too little for bath and rinse" if drum.free_l < wanted_l else ""
    verb = "had to leave" if clock and clock.days_left < 0 else "leaves"
    last = f", {verb} by {day_words(clock.last_on)}" if clock else ""
    plan = ", planned for this swap" if is_given else ""
    room = volume(drum.free_l, visit.room)
    return f"{drum.name}, {STREAMS[drum.stream].name}: room for {room}{lack}{last}{plan}"


def lot_options(
    visit: Visit, solvent: str, purity: float, is_passed: Callable[[str], bool]
) -> tuple[tuple[str, str], ...]:
    """The lots of a solvent on the shelf: the bath's purity first, then what expires first; what is
    past its day only where a lead let it pass, and last; none that is held."""
    items: list[ItemState] = list(things(visit.session, visit.room_id, ITEM).values())
    found = [
        (lot.use_by(item.rules) or date.max, item, lot)
        for item in items
        if item.category == "solvent" and item.solvent == solvent
        for lot in item.lots
        if (standing := lot.standing(item.rules, visit.today)) == "good"
        or (standing == "expired" and is_passed(f"{item.key}|{lot.lot}"))
    ]
    found.sort(
        key=lambda entry: (
            entry[0] < visit.today,
            round(abs((entry[1].purity_percent or purity) - purity)),
            entry[0],
            entry[2].lot,
        )
    )
    return tuple(
        (f"{item.key}|{lot.lot}", f"{item.name}, lot {lot.lot}: {volume(lot.quantity, visit.room)}"
         + _purity(item.purity_percent, purity)
         + (f", use by {day_words(end)}" if end != date.max else ""))
        for end, item, lot in found
    )  # fmt: skip


def lot_of_rinse(visit: Visit, state: SwapState, step: Step) -> str:
    """The lot that the rinse came from, where it has the whole fill: offered first for that."""
    said = str(state.answer("rinse", "lot") or "")
    item, _, lot = said.partition("|")
    if step.role != "fill" or not lot:
        return ""
    found: ItemState | None = thing(visit.session, visit.room_id, ITEM, item)
    here = (one for one in (found.lots if found is not None else ()) if one.lot == lot)
    wanted_l = _target_l(visit, state)
    return said if any(one.quantity >= wanted_l for one in here) else ""


def _purity(lot_percent: float | None, bath_percent: float) -> str:
    """The purity of a lot where it is not that of the bath."""
    if not lot_percent or not bath_percent or abs(lot_percent - bath_percent) <= SAME_PERCENT:
        return ""
    return f", {lot_percent:.3g} % pure (this bath: {bath_percent:.3g} %)"


def picture(visit: Visit, state: SwapState, step: Step) -> Picture | None:
    """Tank and drum with their real levels, where liquid moves; none before the drum is known."""
    if step.role not in ("drain", *RINSES, "fill"):
        return None
    capacity_l = tank_capacity_l(state, _tanks_at(state, step)[0]) or 1.0
    if step.role == "fill":
        return _fill_picture(visit, state)
    drum = _drum(visit, state)
    if drum is None:
        return None
    bath_l = (
        state.estimated_l
        if step.role == "drain"
        else (site(visit.session, visit.room_id).rinse_percent / 100 * capacity_l)
    )
    after_l, what = drum.volume_l + bath_l, "bath" if step.role == "drain" else "rinse"
    words = (
        f"{drum.name} has room for {volume(drum.free_l, visit.room)}. "
        + (f"Dashed: after this {what}." if after_l <= drum.fill_limit_l
           else f"This {what} does not fit.")
    )  # fmt: skip
    return Picture(
        _height(bath_l / capacity_l), volume(bath_l, visit.room),
        _height(drum.volume_l / drum.capacity_l), _height(min(1.0, after_l / drum.capacity_l)),
        _height(drum.fill_limit_percent / 100), drum.name, f"+ {volume(bath_l, visit.room)}", words,
    )  # fmt: skip


def _fill_picture(visit: Visit, state: SwapState) -> Picture:
    """The tank as it is to be filled, with the figure that every page names."""
    (capacity_l, least_l), room = marks_of(state), visit.room
    target = volume(_target_l(visit, state), room)
    upper = f"the upper mark ({volume(capacity_l, room)})"
    stop = f"between the lower mark ({volume(least_l, room)}) and" if least_l else "below"
    words = f"Stop {stop} {upper}."
    share = level_l(capacity_l, least_l) / (capacity_l or 1.0)
    return Picture(_height(share), f"+ {target}", words=words)


def _target_l(visit: Visit, state: SwapState) -> float:
    return target_l(state, site(visit.session, visit.room_id).heel_percent)


def _height(share: float) -> float:
    return round(FLOOR - (FLOOR - TOP) * max(0.0, min(1.0, share)), 1)


def _drum(visit: Visit, state: SwapState) -> DrumState | None:
    key = state.answer("drum", "drum")
    return drums(visit.session, visit.room_id).get(str(key)) if key else None


def _expected(visit: Visit, state: SwapState, step: Step) -> str:
    """What the figure at a step will be about, in a sentence."""
    room = visit.room
    if step.role == "drain":
        about = f"About {volume(state.estimated_l, room)} is in the bath by the estimate."
        return f"{about} {_scale_words(visit, state)}".strip()
    if step.role in RINSES:
        share = site(visit.session, visit.room_id).rinse_percent
        usual_l = share / 100 * tank_capacity_l(state, _tanks_at(state, step)[0])
        return f"Usually about {volume(usual_l, room)} ({share:g} %)."
    if step.role == "move":
        return f"About {volume(state.from_estimated_l or 0.0, room)} is in the clean bath."
    if step.role == "fill":
        to = "halfway between the marks" if marks_of(state)[1] else "to the upper mark"
        return f"Add {volume(_target_l(visit, state), room)} to bring it {to}."
    return ""


def _scale_words(visit: Visit, state: SwapState) -> str:
    """What the scale shows before the drain by the books, where the empty weight is on file."""
    drum = _drum(visit, state)
    if drum is None:
        return ""
    if drum.tare_kg is None:
        return f"{drum.name} has no empty weight on file. Weigh it before draining too."
    return f"By the books, {drum.name} weighs {drum.tare_kg + drum.mass_kg:.1f} kg now."


def _reading(visit: Visit, state: SwapState, form: FormState) -> dict[str, Any]:
    method = form.value("method")
    if method not in INSTRUMENTS:
        method = _usual_method(visit, state)
    instrument = INSTRUMENTS[method]
    return {
        "instruments": INSTRUMENTS,
        "method": method,
        "method_fields": [
            FormField(name, spec, unit_label(spec, visit.room), name in instrument.required)
            for name, spec in instrument.fields.items()
        ],
        "meters": of_reading(visit, method, state.filled_tank),
    }


def _usual_method(visit: Visit, state: SwapState) -> str:
    tank = state.filled_tank
    for row in queries.last_entries(visit.session, visit.room_id, tank, Reading.kind, 1):
        last = entry_of(row)
        if isinstance(last, Reading):
            return last.method
    if solvent(state.solvent).fresh_varies:
        return REFRACTOMETER.key
    return next(iter(INSTRUMENTS))
