"""Litres of a step from a scale or a dip stick.

Of a drain by the density of the bath's estimate, of a rinse and a fill by that of fresh solvent.

What a scale sends itself is offered at its step, and taken by one touch: `offered`, `taken`.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.baths.conventions import bath_density
from app.domain.checklists.closing import most_held_l
from app.domain.checklists.filling import SLACK
from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import capacity_l as tank_capacity_l
from app.domain.checklists.tank_contents import seen_left_l
from app.domain.checklists.template import Step
from app.domain.errors import FieldError, FieldErrors
from app.domain.waste.drums import DrumState
from app.domain.waste.measures import volume_by_dip_l
from app.domain.waste.weighing import Weighed
from app.services import scales
from app.services.swaps.scene import Scene
from app.services.waste import drum_of
from app.store.site import site
from app.store.tables import RoomRow, TankRow

WEIGHED = {**dict.fromkeys(RINSES, "rinse_l"), "fill": "filled_l"}
"""Roles besides the drain whose litres a scale may say, and their figure."""
HOW = "Weigh the drum, dip it, or enter how much was drained."


def measured(scene: Scene) -> Mapping[str, Any]:
    """The answers of a drain with its litres: as said, else by the scale, else by the dip; what
    went into a second drum is said.

    Raises:
        FieldErrors: a figure is missing, or what was there before is not known.
    """
    if scene.step.role in WEIGHED:
        return _weighed(scene)
    if scene.litres("drained_l") is not None:
        return scene.answers
    litres = _by_scale(scene) if scene.litres("mass_after_kg") is not None else _by_dip(scene)
    return {**scene.answers, "drained_l": round(litres + (scene.litres("drum_2_l") or 0.0), 3)}


def _weighed(scene: Scene) -> Mapping[str, Any]:
    """The answers of a rinse or fill with its litres, where a scale's weight was taken."""
    name, after_kg = WEIGHED[scene.step.role], scene.litres("mass_after_kg")
    if scene.litres(name) is not None or after_kg is None:
        return scene.answers
    drum = _drum(scene) if scene.step.role in RINSES else None
    before_kg = scene.litres("mass_before_kg")
    if before_kg is None and drum is not None and drum.tare_kg is not None:
        before_kg = drum.tare_kg + drum.mass_kg
    if before_kg is None:
        message = "Enter what the scale showed before pouring too."
        raise FieldErrors([FieldError("mass_before_kg", message)])
    poured_kg = after_kg - before_kg if scene.step.role in RINSES else before_kg - after_kg
    if poured_kg < 0:
        which = "less" if scene.step.role in RINSES else "more"
        message = f"Before pouring it showed {before_kg:.1f} kg; this is {which}."
        raise FieldErrors([FieldError("mass_after_kg", message)])
    kg_l = fresh_kg_l(scene.session, scene.room_id, _of(scene.step.role, scene.state))
    return {**scene.answers, name: round(poured_kg / kg_l, 3)}


def fresh_kg_l(session: Session, room_id: int, tank: str) -> float:
    """Density of the fresh solvent of a tank, kg/L at 20 C."""
    return float(session.get_one(TankRow, (room_id, tank)).solvent_density_g_ml)


def _of(role: str, state: SwapState) -> str:
    """The tank of a step that is weighed."""
    return state.filled_tank if role in ("fill", "rinse_clean") else state.tank


def _filled_since(state: SwapState) -> datetime | None:
    """Since when what a container loses is the fill: the rinse came out of one before it."""
    rinses = [state.tick(step.key) for role in RINSES for step in state.with_role(role)]
    return max((tick.at for tick in rinses if tick is not None), default=state.started_at)


def offered(
    session: Session, room_id: int, state: SwapState, step: Step, now: datetime
) -> Weighed | None:
    """What a scale has sent for an open step; None where none has, or the step takes none."""
    tank = _of(step.role, state)
    if step.role == "fill":
        kg_l = fresh_kg_l(session, room_id, tank)
        found = scales.of_container(session, room_id, tank, kg_l, _filled_since(state), now)
        return _possible(session, room_id, state, step, found)
    drum = drum_of(session, room_id, str(state.answer("drum", "drum") or ""))
    if drum is None or step.role not in ("drain", *WEIGHED):
        return None
    fresh = step.role != "drain"
    kg_l = (fresh_kg_l if fresh else tank_kg_l)(session, room_id, tank)
    tanks = [key for key in (state.tank, state.from_tank) if key]
    found = scales.of_drum(session, room_id, drum, kg_l, now, tanks)
    return _possible(session, room_id, state, step, found)


def _possible(
    session: Session, room_id: int, state: SwapState, step: Step, found: Weighed | None
) -> Weighed | None:
    """A weight whose litres the tank can give or take; one past that says so instead of being
    offered, because something else is on the scale."""
    if found is None or found.problem:
        return found
    capacity_l = tank_capacity_l(state, _of(step.role, state))
    if step.role == "drain":
        gives, tolerance = "gives at most", site(session, room_id).loss_tolerance_percent
        most_l = most_held_l(state.estimated_l, capacity_l, tolerance)
    elif step.role == "fill":
        left_l = seen_left_l(state, state.filled_tank)
        gives, most_l = "takes at most", max(0.0, capacity_l * SLACK - left_l)
    else:
        gives, most_l = "holds", capacity_l
    unit = session.get_one(RoomRow, room_id).volume_unit
    what = "container" if step.role == "fill" else "drum"
    return scales.within(found, most_l, unit, f"the tank {gives}", what)


def taken(
    session: Session, room_id: int, state: SwapState, step: Step, uid: str, now: datetime
) -> Mapping[str, Any]:
    """The answers of a step whose weight, by its id, was taken.

    Raises:
        FieldErrors: it is old, another one came after it, or it cannot be.
    """
    found, errors = scales.take(offered(session, room_id, state, step, now), uid)
    if errors or found is None:
        raise FieldErrors(errors)
    before = {"mass_before_kg": found.before_kg} if found.before_id else {}
    return {"weighed": found.id, "mass_after_kg": found.after_kg, **before}


def _by_scale(scene: Scene) -> float:
    after_kg, before_kg = scene.litres("mass_after_kg") or 0.0, scene.litres("mass_before_kg")
    drum = _drum(scene)
    if before_kg is None and (drum is None or drum.tare_kg is None):
        message = (
            "The empty weight of this drum is not on file. Enter its weight before draining too."
        )
        raise FieldErrors([FieldError("mass_before_kg", message)])
    if before_kg is None:
        assert drum is not None
        before_kg = (drum.tare_kg or 0.0) + drum.mass_kg
    if after_kg < before_kg:
        message = f"Before draining it weighed {before_kg:.1f} kg; this is less."
        raise FieldErrors([FieldError("mass_after_kg", message)])
    return (after_kg - before_kg) / bath_kg_l(scene)


def bath_kg_l(scene: Scene) -> float:
    """Density of the bath that is drained, kg/L: by its own estimate, solvent and resin."""
    return tank_kg_l(scene.session, scene.room_id, scene.state.tank)


def tank_kg_l(session: Session, room_id: int, tank: str) -> float:
    """Density of the bath in a tank, kg/L: by its own estimate."""
    row = session.get_one(TankRow, (room_id, tank))
    share = row.mean_percent / 100
    return float(bath_density(share, row.resin_density_g_ml, row.solvent_density_g_ml))


def _by_dip(scene: Scene) -> float:
    after_cm, before_cm = scene.litres("dip_after_cm"), scene.litres("dip_before_cm")
    if after_cm is None:
        raise FieldErrors([FieldError("drained_l", HOW)])
    drum = _drum(scene)
    if drum is None or drum.inner_height_cm is None:
        message = "The inner height of this drum is not on file. Enter it on the drum's page."
        raise FieldErrors([FieldError("dip_after_cm", message)])
    if before_cm is None:
        before_cm = drum.volume_l / drum.capacity_l * drum.inner_height_cm
    if after_cm < before_cm:
        message = f"Before draining it was at {before_cm:.1f} cm; this is less."
        raise FieldErrors([FieldError("dip_after_cm", message)])
    return volume_by_dip_l(before_cm, after_cm, drum.capacity_l, drum.inner_height_cm)


def _drum(scene: Scene) -> DrumState | None:
    key = str(scene.state.answer("drum", "drum") or "")
    return drum_of(scene.session, scene.room_id, key) if key else None
