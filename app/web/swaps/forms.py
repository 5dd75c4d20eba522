"""What a step of a swap asks for, as fields of a form; and what was typed, in the kept units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.domain.checklists.answers import range_words
from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Ask, Step
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.fields import FieldSpec, check_text, check_value
from app.domain.roomlog.kinds import Reading
from app.services.acts.swaps.ticking import Said
from app.services.meters.book import chosen
from app.services.swaps.measuring import taken
from app.services.swaps.scene import NO_LOT
from app.services.swaps.under_way import Hand
from app.store.tables import RoomRow
from app.units import Quantity, from_display, parse_number
from app.web.asking import confirmed
from app.web.deps import Visit
from app.web.filters import units_of
from app.web.forms import QUANTITIES, FormState, read_entry, text_of, unit_label
from app.web.meters.choosing import ask_which, without_none

LITRES = {"unit": "L", "low": 0.0, "high": 20_000.0}
KILOGRAMS = {"unit": "kg", "low": 0.0, "high": 4500.0}
CENTIMETRES = {"unit": "cm", "low": 0.0, "high": 300.0}
BY_HAND = ("drained_l", "rinse_l", "filled_l", "mass_before_kg", "mass_after_kg", "dip_before_cm",
           "dip_after_cm")  # fmt: skip
"""Figures that a weight takes the place of."""
SWAP_QUANTITIES: Mapping[str, Quantity] = QUANTITIES


@dataclass(frozen=True)
class StepField:
    """A field of a step's form.

    Attributes:
        kind: `number`, `text`, `photo`, `choice` (tiles) or `list` (a choice made by the program).
        is_extra: it stands under “More”: asked for now and then.
    """

    name: str
    kind: str
    label: str
    spec: FieldSpec
    help: str = ""
    is_required: bool = False
    is_extra: bool = False
    options: tuple[tuple[str, str], ...] = ()


def _number(name: str, label: str, bounds: Mapping[str, Any], **more: Any) -> StepField:
    return StepField(name, "number", label, FieldSpec("number", label, **bounds), **more)


def _list(name: str, label: str, **more: Any) -> StepField:
    return StepField(name, "list", label, FieldSpec("text", label), **more)


_RINSE = (
        _number("rinse_l", "Rinse into the drum", LITRES, is_required=True),
        _list("lot", "Rinse solvent from", help="If you rinsed."),
        _number("mass_after_kg", "Drum on the scale after", KILOGRAMS, is_extra=True,
                help="Instead of the litres."),
        _number("mass_before_kg", "Drum on the scale before", KILOGRAMS, is_extra=True,
                help="If empty: its empty weight on file plus what the books say is in it."),
)  # fmt: skip
ROLE_FIELDS: Mapping[str, tuple[StepField, ...]] = {
    "drum": (_list("drum", "Drum", is_required=True),),
    "drain": (
        _number("mass_after_kg", "Drum on the scale after", KILOGRAMS),
        _number("dip_after_cm", "Dip stick after", CENTIMETRES,
                help="Without a scale, if the drum's inner height is on file."),
        _number("drained_l", "Volume drained", LITRES,
                help="Without scale or dip stick. One of the three is enough."),
        _number("heel_l", "Left in the tank", LITRES, is_extra=True,
                help="As you see it. If empty: what a drained tank usually keeps."),
        _number("mass_before_kg", "Drum on the scale before", KILOGRAMS, is_extra=True,
                help="If empty: its empty weight on file plus what the books say is in it."),
        _number("dip_before_cm", "Dip stick before", CENTIMETRES, is_extra=True,
                help="If empty: what the books say is in it."),
        _list("drum_2", "Second drum", is_extra=True),
        _number("drum_2_l", "Part that went into the second drum", LITRES, is_extra=True),
    ),
    **dict.fromkeys(RINSES, _RINSE),
    "move": (
        _number("moved_l", "Moved into this tank", LITRES, is_required=True),
        _number("heel_l", "Left in the clean tank", LITRES, is_extra=True,
                help="As you see it. If empty: what a drained tank usually keeps."),
    ),
    "fill": (
        _number("filled_l", "Filled", LITRES, is_required=True),
        _list("lot", "From lot", is_required=True),
        _number("mass_before_kg", "Container on the scale before", KILOGRAMS, is_extra=True,
                help="With the weight after, instead of the litres."),
        _number("mass_after_kg", "Container on the scale after", KILOGRAMS, is_extra=True),
        _list("lot_2", "Second lot", is_extra=True),
        _number("lot_2_l", "Part that came from the second lot", LITRES, is_extra=True),
        _number("fresh_purity_volume_percent", "Purity on the label",
                {"unit": "volume %", "low": 1.0, "high": 100.0}, is_extra=True,
                help="Labels of isopropanol and ethanol give it by volume. "
                "If empty: as entered for the lot, or else as before."),
        _number("fresh_purity_percent", "Or by mass",
                {"unit": "mass %", "low": 1.0, "high": 100.0}, is_extra=True),
    ),
}  # fmt: skip


def fields_of(
    step: Step, options: Mapping[str, tuple[tuple[str, str], ...]], room: RoomRow
) -> list[StepField]:
    """The fields of a step: those of its role, then its own questions."""
    known = [
        StepField(**{**one.__dict__, "options": options.get(one.name, ())})
        for one in ROLE_FIELDS.get(step.role, ())
    ]
    return known + [_of_ask(ask, room, options.get(ask.key, ())) for ask in step.asks]


def typed_of(step: Step, answers: Mapping[str, Any], room: RoomRow) -> dict[str, str]:
    """Answers of a step as its form had them, in the room's units; those of a reading as they are
    kept, in the units that it is entered in."""
    specs = {one.name: one.spec for one in fields_of(step, {}, room) if one.kind == "number"}
    return {
        name: text_of(specs[name], value, room) if name in specs else str(value)
        for name, value in answers.items()
    }


def _of_ask(ask: Ask, room: RoomRow, people: tuple[tuple[str, str], ...]) -> StepField:
    low, high = (-1e9 if ask.low is None else ask.low), (1e9 if ask.high is None else ask.high)
    if ask.kind == "number":
        spec, has_range = FieldSpec("number", ask.label, ask.unit, low, high), ask.low or ask.high
        help_ = _range(ask, spec, room) if has_range is not None else ""
        return StepField(ask.key, "number", ask.label, spec, help_, ask.is_required)
    spec = FieldSpec("text", ask.label, choices=ask.choices)
    if ask.kind == "second" and people:
        return StepField(
            ask.key, "choice", ask.label, spec, "", ask.is_required, options=people
        )  # fmt: skip
    kind = ask.kind if ask.kind in ("choice", "photo") else "text"
    help_ = "Or say in words what it would show." if ask.kind == "photo" else ""
    options = tuple((one, one) for one in ask.choices)
    return StepField(ask.key, kind, ask.label, spec, help_, ask.is_required, options=options)


def _range(ask: Ask, spec: FieldSpec, room: RoomRow) -> str:
    if ask.unit not in SWAP_QUANTITIES:
        return range_words(ask).capitalize() + "."
    ends = [None if end is None else text_of(spec, float(end), room) for end in (ask.low, ask.high)]
    words = " to ".join(end for end in ends if end is not None)
    return f"{words} {unit_label(spec, room)}."


def read_said(visit: Visit, state: SwapState, step: Step, typed: Mapping[str, str]) -> Said:
    """What was said at a step.

    Raises:
        FieldErrors: with a message for each field that cannot be read.
    """
    answers, errors = _answers(visit, state, step, typed)
    hand: Hand | None = None
    reading: Reading | None = None
    try:
        hand = read_hand(visit, typed)
    except FieldErrors as found:
        errors += found.errors
    if step.role == "reading":
        reading, wrong = _reading(visit, state, typed)
        # Once it is ticked no reading is needed; one that is sent again is the same all the same.
        errors += wrong if state.tick(step.key) is None else ()
    if errors or hand is None:
        raise FieldErrors(errors)
    points = frozenset(i for i in range(len(step.confirms)) if typed.get(f"confirm_{i}"))

    def settles(doubts: Sequence[str]) -> bool:
        return FormState(typed, doubts=tuple(doubts)).is_answered

    return Said(step.key, hand, answers, points, reading, settles, confirmed(typed))


def _answers(
    visit: Visit, state: SwapState, step: Step, typed: Mapping[str, str]
) -> tuple[dict[str, Any], list[FieldError]]:
    """What was typed or touched at a step, in the kept units, with what cannot be read; the weight
    that was taken from a scale counts before figures typed by hand."""
    errors: list[FieldError] = []
    answers: dict[str, Any] = {}
    for one in fields_of(step, {}, visit.room):
        text = typed.get(one.name, "").strip()
        if not text:
            continue
        try:
            answers[one.name] = _value(one, text, visit.room)
        except FieldError as error:
            errors.append(FieldError(one.name, error.message))
    if uid := typed.get("weighed", ""):
        try:
            weighed = _weighed(visit, state, step, uid)
            answers = {name: one for name, one in answers.items() if name not in BY_HAND}
            answers.update(weighed)
        except FieldErrors as found:
            errors += found.errors
    if step.role == "fill" and not answers.get("lot"):
        errors.append(FieldError("lot", NO_LOT))
    return answers, errors


def _weighed(visit: Visit, state: SwapState, step: Step, uid: str) -> Mapping[str, Any]:
    """The weights that a scale sent and that were taken by a touch. One that was stored already is
    not held against the scale again: a retry is answered as the first time."""
    tick = state.tick(step.key)
    if tick is not None and tick.answers.get("weighed") == uid:
        names = ("weighed", "mass_after_kg", "mass_before_kg")
        return {name: tick.answers[name] for name in names if name in tick.answers}
    return taken(visit.session, visit.room_id, state, step, uid, visit.now)


def read_hand(visit: Visit, typed: Mapping[str, str], *, needs_name: bool = True) -> Hand:
    """Who, when, and a note.

    Raises:
        FieldErrors: no name, or a time or note that cannot be.
    """
    values = {name: typed.get(name, "") for name in ("at", "by", "note")}
    values["by"] = values["by"].strip() or visit.person
    entry = read_entry(
        "step_noted", {**values, "swap": "x", "step": "x", "text": "x"}, visit.room, visit.person,
        visit.now,
    )  # fmt: skip
    if needs_name and not entry.by:
        raise FieldErrors([FieldError("by", "Enter who does this.")])
    return Hand(entry.at, entry.by, entry.note)


def _value(one: StepField, text: str, room: RoomRow) -> Any:
    if one.kind != "number":
        return check_text(one.name, text, 500)
    number = parse_number(text)
    quantity = SWAP_QUANTITIES.get(one.spec.unit)
    if quantity is not None:
        number = from_display(number, quantity, units_of(room))
    return check_value(one.name, one.spec, number)


def _reading(
    visit: Visit, state: SwapState, typed: Mapping[str, str]
) -> tuple[Reading | None, list[FieldError]]:
    """The first reading of the fresh bath, or why it cannot be read."""
    values = {
        **without_none(typed), "tank": state.filled_tank, "of_fresh": "on", "corrects": "",
    }  # fmt: skip
    try:
        entry = read_entry(Reading.kind, values, visit.room, visit.person, visit.now)
        entry = chosen(visit.session, visit.room_id, entry)
        ask_which(visit, entry, typed)
    except FieldErrors as found:
        return None, [one for one in found.errors if one.field not in ("at", "note", "by")]
    assert isinstance(entry, Reading)
    return entry, []
