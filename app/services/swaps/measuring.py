"""Litres of a drain from the drum's scale or a dip stick, by the density of the bath's estimate."""

from collections.abc import Mapping
from typing import Any

from app.domain.baths.conventions import bath_density
from app.domain.errors import FieldError, FieldErrors
from app.domain.waste.drums import DrumState
from app.domain.waste.measures import volume_by_dip_l
from app.services.swaps.scene import Scene
from app.services.waste import drum_of
from app.store.tables import TankRow

HOW = "Weigh the drum, dip it, or enter how much was drained."


def measured(scene: Scene) -> Mapping[str, Any]:
    """The answers of a drain with its litres: as said, else by the scale, else by the dip; what
    went into a second drum is said.

    Raises:
        FieldErrors: a figure is missing, or what was there before is not known.
    """
    if scene.litres("drained_l") is not None:
        return scene.answers
    litres = _by_scale(scene) if scene.litres("mass_after_kg") is not None else _by_dip(scene)
    return {**scene.answers, "drained_l": round(litres + (scene.litres("drum_2_l") or 0.0), 3)}


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
    row = scene.session.get_one(TankRow, (scene.room_id, scene.state.tank))
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
