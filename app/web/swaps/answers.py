"""What was said at a step of a swap, in words and in the room's units."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from app.domain.checklists.run import Tick
from app.domain.checklists.template import Step
from app.domain.errors import FieldError
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.roomlog.lines import reading_specs
from app.store.things import thing
from app.web.deps import Visit
from app.web.filters import volume
from app.web.forms import text_of, unit_label
from app.web.swaps.forms import fields_of
from app.web.swaps.photos import photo_of


@dataclass(frozen=True)
class Answered:
    """An answer of a step. `text` is in words; `photo` the name of a photo, where it is one."""

    name: str
    label: str
    text: str
    photo: str = ""


def answered(visit: Visit, step: Step, tick: Tick | None) -> list[Answered]:
    """What was answered at a step, in the order in which it was asked; nothing while it is open."""
    if tick is None:
        return []
    specs = _specs(visit, step, tick.answers)
    asked = [name for name in specs if name in tick.answers]
    rest = [name for name in tick.answers if name not in specs and name != "weighed"]
    return [
        Answered(
            name,
            specs[name].label if name in specs else name.replace("_", " ").capitalize(),
            _words(visit, name, specs.get(name), tick.answers[name]),
            photo_of(tick.answers[name]),
        )
        for name in (*asked, *rest)
    ]


def _specs(visit: Visit, step: Step, answers: Mapping[str, Any]) -> dict[str, FieldSpec]:
    """The fields of the step; of its reading those of the instrument that was used."""
    specs = {one.name: FieldSpec(**{**one.spec.__dict__, "label": one.label})
             for one in fields_of(step, {}, visit.room)}  # fmt: skip
    if step.role == "reading":
        specs["method"] = FieldSpec("text", "Method")
        try:
            specs |= reading_specs(str(answers.get("method", "")))
        except FieldError:
            return specs  # an instrument of another version: its figures stand as they are
    return specs


def _words(visit: Visit, name: str, spec: FieldSpec | None, value: Any) -> str:
    if name == "method":
        return INSTRUMENTS[value].name if value in INSTRUMENTS else str(value)
    if name in ("drum", "drum_2"):
        drum = thing(visit.session, visit.room_id, DRUM, str(value))
        return drum.name if drum is not None and drum.name else str(value)
    if name in ("lot", "lot_2"):
        key, _, lot = str(value).partition("|")
        item = thing(visit.session, visit.room_id, ITEM, key)
        return f"{item.name if item is not None and item.name else key}, lot {lot}"
    if spec is None or isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if spec.unit == "L":
        return volume(value, visit.room)
    return f"{text_of(spec, value, visit.room)} {unit_label(spec, visit.room)}".strip()
