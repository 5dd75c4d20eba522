"""A step that is being ticked, the room around it, and what it takes and gives."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.checklists.roles import tanks_of
from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.kinds.waste import Pour
from app.domain.site import SiteState
from app.domain.supplies.state import ItemState
from app.services.supplies.stock import use_problems
from app.services.swaps.under_way import Hand
from app.services.waste import pour_problems
from app.store.tables import RoomRow, TankRow
from app.store.things import thing
from app.units import volume_words

LEAST_POUR_L = 0.01
OTHER_DRUM = "Choose another drum."
NO_LOT = "Choose the lot, or say that it is not in the books."


@dataclass(frozen=True)
class Scene:
    """A step that is being ticked, and the room around it."""

    session: Session
    room: RoomRow
    state: SwapState
    step: Step
    hand: Hand
    answers: Mapping[str, Any]
    site: SiteState
    now: datetime

    @property
    def room_id(self) -> int:
        """The room's number in the database."""
        assert self.room.id is not None
        return self.room.id

    @property
    def tanks(self) -> tuple[str, ...]:
        """The tanks at which the step is done."""
        roles = {step.role for step in self.state.steps}
        return tanks_of(self.step.role, self.state.tank, self.state.from_tank, roles)

    def litres(self, name: str) -> float | None:
        """A volume that was answered; None where it was not."""
        value = self.answers.get(name)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        return float(value) if is_number else None  # type: ignore[arg-type]

    def text(self, name: str) -> str:
        """A text that was answered; none where a dash says so."""
        value = self.answers.get(name)
        return value if isinstance(value, str) and value != "-" else ""

    def words(self, volume_l: float) -> str:
        """A volume in the room's unit."""
        return volume_words(volume_l, self.room.volume_unit)

    def is_overruled(self, gate: str) -> bool:
        """A lead let this step pass a gate."""
        return self.state.overrule(self.step.key, gate) is not None


@dataclass
class Outcome:
    """What follows from a step, what is wrong with it, what is odd about it."""

    entries: list[Entry] = field(default_factory=list)
    errors: list[FieldError] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)


def pour_of(scene: Scene, drum: str, volume_l: float, **more: Any) -> Pour:
    """Waste of this swap going into a drum, with the resin that the estimate says."""
    row = scene.session.get(TankRow, (scene.room_id, scene.state.tank))
    values = {"resin_percent": round(row.mean_percent, 2) if row else None, **more}
    hand = scene.hand
    return Pour(
        at=hand.at, by=hand.by, note=hand.note, drum=drum, volume_l=round(volume_l, 4),
        tank=scene.tanks[0], swap=scene.state.key, **values,
    )  # fmt: skip


def add_pour(scene: Scene, pour: Pour, name: str, found: Outcome) -> None:
    """A pour that fits its drum; past the fill limit none is let, by nobody."""
    errors = [*pour.problems(), *pour_problems(scene.session, scene.room_id, pour, scene.now)]
    for error in errors:
        field_ = {"volume_l": name, "drum": "drum_2" if name == "drum_2_l" else name}
        message = error.message.replace(OTHER_DRUM, _how_to_another(scene, name))
        if error.field == "drum" and not error.rule and name != "drum_2_l":
            message = f"{message} {_chosen_anew(scene)}".rstrip()  # closed or shipped meanwhile
        found.errors.append(FieldError(field_.get(error.field, error.field), message))
    found.entries.append(pour)


def _how_to_another(scene: Scene, name: str) -> str:
    """How the rest gets into another drum, from the step that fills this one up."""
    if name == "drained_l":
        return "Shut the drain. Let the rest into a second drum, and enter that below."
    return OTHER_DRUM if name == "drum_2_l" else _chosen_anew(scene) or OTHER_DRUM


def _chosen_anew(scene: Scene) -> str:
    """How another drum is chosen for the swap; empty where its list has no step for it."""
    titles = [step.title for step in scene.state.with_role("drum")]
    if not titles:
        return ""
    return f"Undo “{titles[0]}” and choose another drum there: what was poured stays."


def add_use(scene: Scene, name: str, litres: float, amount: str, tank: str, found: Outcome) -> None:
    """A use of the lot that was named, as `item|lot`; an old lot only where a lead let it pass."""
    key, _, lot = scene.text(name).partition("|")
    item: ItemState | None = thing(scene.session, scene.room_id, ITEM, key)
    if item is None or not item.name:
        found.errors.append(FieldError(name, "There is no such lot on the shelf."))
        return
    word, hand = scene.state.lot_word(scene.step.key, scene.text(name)), scene.hand
    note = f"{word.reason} ({word.by})" if word else ""
    use = StockUsed(
        at=hand.at, by=hand.by, note=note, item=key, quantity=round(litres, 4), lot=lot or None,
        purpose="swap", tank=tank, swap=scene.state.key,
    )  # fmt: skip
    for error in use_problems(scene.session, scene.room_id, use, scene.now):
        message = error.message.replace("say in the note why you use it", "have a lead let it pass")
        if amount == "filled_l" and error.field == "quantity":
            message += " Or take the rest from a second lot, and enter that below."
        found.errors.append(FieldError(amount if error.field == "quantity" else name, message))
    found.entries.append(use)
