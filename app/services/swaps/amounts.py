"""What follows from the steps of a swap that move liquid: checked against bath, drum and shelf."""

from dataclasses import replace

from app.domain.checklists.answers import unit_slip
from app.domain.checklists.closing import most_held_l
from app.domain.checklists.filling import SLACK, marks_of
from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import (
    LONG_STOP,
    before_l,
    last_act_at,
    moved_liquid,
    seen_left_l,
    standing,
    unsaid_l,
)
from app.domain.checklists.tank_contents import capacity_l as tank_capacity_l
from app.domain.errors import FieldError
from app.domain.planning.needs import into_drum_l
from app.domain.roomlog.kinds import Reading
from app.domain.site import SiteState
from app.domain.solvents.purity import said_twice
from app.services.baths.plausibility import preview_reading
from app.services.swaps.purities import purity_problems
from app.services.swaps.scene import (
    LEAST_POUR_L,
    NO_LOT,
    Outcome,
    Scene,
    add_pour,
    add_use,
    pour_of,
)
from app.services.swaps.under_way import local
from app.services.waste import drum_of, pour_problems

HALF = 0.5
NEARLY_EMPTY = 0.05  # of the capacity


def choose_drum(scene: Scene) -> Outcome:
    """The drum must take what the bath is, with room for bath and rinse."""
    key, found = scene.text("drum"), Outcome()
    if not key:
        found.errors.append(FieldError("drum", "Choose the drum."))
        return found
    needed_l = drum_need_l(scene.state, scene.site)
    pour = pour_of(scene, key, LEAST_POUR_L)
    found.errors += [
        FieldError("drum", error.message)
        for error in pour_problems(scene.session, scene.room_id, pour, scene.now)
    ]
    drum = drum_of(scene.session, scene.room_id, key)
    if not found.errors and drum and drum.free_l < needed_l and not scene.is_overruled("drum_room"):
        what = "the rinse still needs" if moved_liquid(scene.state) else "bath and rinse need"
        message = (
            f"{drum.name} has room for {scene.words(drum.free_l)} under its fill limit, but {what} "
            f"about {scene.words(needed_l)}. Choose another, or have a lead let it pass and share "
            "it between two drums."
        )
        found.errors.append(FieldError("drum", message))
    return found


def drum_need_l(state: SwapState, rules: SiteState) -> float:
    """What the swap is yet to pour into its drum: bath and rinse, of a pair the rinses of both
    tanks; once it is drained, the rinses that are not done."""
    clean_l = (state.from_capacity_l or 0.0) if state.with_role("rinse_clean") else 0.0
    if not moved_liquid(state):
        return into_drum_l(state.estimated_l, state.capacity_l, clean_l, rules)
    rinsed_l = {"rinse": state.capacity_l, "rinse_clean": state.from_capacity_l or 0.0}
    yet_l = sum(
        rinsed_l[step.role]
        for step in state.steps
        if step.role in RINSES and not state.is_settled(step)
    )
    return rules.rinse_percent / 100 * yet_l


def drain(scene: Scene) -> Outcome:
    """The bath goes into the chosen drum, what it cannot take into a second one."""
    state, drained_l = scene.state, scene.litres("drained_l")
    found = Outcome()
    is_empty = state.estimated_l < NEARLY_EMPTY * state.capacity_l  # nothing is left to drain
    if drained_l is None or (drained_l < LEAST_POUR_L and not is_empty):
        found.errors.append(FieldError("drained_l", "Enter how much was drained."))
        return found
    tolerance = scene.site.loss_tolerance_percent
    most_l = most_held_l(state.estimated_l, state.capacity_l, tolerance)
    heel_l = scene.litres("heel_l") or 0.0
    if drained_l + heel_l > most_l:
        message = f"The bath never held more than about {scene.words(most_l)}."
        found.errors.append(FieldError("drained_l" if drained_l > most_l else "heel_l", message))
    if found.errors:
        return found
    if drained_l >= LEAST_POUR_L:
        _shared_pours(scene, drained_l, found)
    expected_l = state.estimated_l
    if unit := unit_slip(drained_l, expected_l):
        found.doubts.append(f"{scene.words(drained_l)}: was this read in {unit}?")
    elif not is_empty and _is_unsaid(scene, state.tank, drained_l):
        message = (
            f"About {scene.words(expected_l)} was in the bath and {scene.words(drained_l)} was "
            "drained, a second drum included. Enter what is left in the tank, or 0 if it is empty."
        )
        found.errors.append(FieldError("heel_l", message))
    return found


def _is_unsaid(scene: Scene, tank: str, out_l: float) -> bool:
    """Less came out of a tank than the close accepts without a word, and nobody said what is left:
    now somebody can look, at the close nobody can."""
    if scene.litres("heel_l") is not None:
        return False
    tolerance_l = scene.site.loss_tolerance_percent / 100 * tank_capacity_l(scene.state, tank)
    missing_l = unsaid_l(scene.state, tank, out_l, scene.site.heel_percent)
    return missing_l > tolerance_l or out_l < HALF * before_l(scene.state, tank)


def _shared_pours(scene: Scene, drained_l: float, found: Outcome) -> None:
    """The drained bath, in one drum or shared between two."""
    first, second = str(scene.state.answer("drum", "drum") or ""), scene.text("drum_2")
    second_l = scene.litres("drum_2_l") or 0.0
    if bool(second) != bool(second_l) or (second and second == first):
        message = "Choose a different drum from the first, and enter how much went into it."
        found.errors.append(FieldError("drum_2_l" if second else "drum_2", message))
        return
    if second_l > drained_l:
        found.errors.append(FieldError("drum_2_l", "This is more than was drained."))
        return
    weighed = {
        name: value
        for pair in (("mass_before_kg", "mass_after_kg"), ("dip_before_cm", "dip_after_cm"))
        if all(scene.litres(name) is not None for name in pair)
        for name in pair
        if (value := scene.litres(name)) is not None
    }
    if first:
        add_pour(scene, pour_of(scene, first, drained_l - second_l, **weighed), "drained_l", found)
    if second:
        add_pour(scene, pour_of(scene, second, second_l), "drum_2_l", found)


def rinse(scene: Scene) -> Outcome:
    """The rinse goes into the drum, and comes from the lot that is named; that it is in no books of
    the shelf is a word of its own. Of a pair each tank has its own."""
    found, rinse_l = Outcome(), scene.litres("rinse_l")
    (tank,) = scene.tanks
    tank_l = tank_capacity_l(scene.state, tank)
    if rinse_l is None or rinse_l < 0:
        found.errors.append(FieldError("rinse_l", "Enter how much rinse you used, or 0 for none."))
        return found
    if rinse_l > tank_l:
        message = f"This is more than the tank holds, {scene.words(tank_l)}."
        found.errors.append(FieldError("rinse_l", message))
        return found
    if rinse_l >= LEAST_POUR_L and not scene.answers.get("lot"):
        found.errors.append(FieldError("lot", NO_LOT))
        return found
    drum = scene.state.answer("drum", "drum")
    if rinse_l >= LEAST_POUR_L and drum:
        add_pour(scene, pour_of(scene, str(drum), rinse_l, resin_percent=None), "rinse_l", found)
    if rinse_l >= LEAST_POUR_L and scene.text("lot"):
        add_use(scene, "lot", rinse_l, "rinse_l", tank, found)
    return found


def move(scene: Scene) -> Outcome:
    """The clean bath's liquid goes into this tank."""
    found, moved_l = Outcome(), scene.litres("moved_l")
    state = scene.state
    if moved_l is None or moved_l < LEAST_POUR_L:
        found.errors.append(FieldError("moved_l", "Enter how much was moved."))
        return found
    held_l, capacity_l = state.from_estimated_l or 0.0, state.from_capacity_l or state.capacity_l
    most_l = most_held_l(held_l, capacity_l, scene.site.loss_tolerance_percent)
    if moved_l > most_l:
        message = f"The clean bath never held more than about {scene.words(most_l)}."
        found.errors.append(FieldError("moved_l", message))
    left_l = scene.litres("heel_l") or 0.0
    if not found.errors and moved_l + left_l > most_l:
        message = f"The clean bath never held more than about {scene.words(most_l)}."
        found.errors.append(FieldError("heel_l", message))
    found.errors += _mark_problems(
        scene, "moved_l", moved_l, state.capacity_l, state.min_l, state.tank
    )
    if unit := unit_slip(moved_l, held_l):
        found.doubts.append(f"{scene.words(moved_l)}: was this read in {unit}?")
    elif not found.errors and state.from_tank and _is_unsaid(scene, state.from_tank, moved_l):
        message = (
            f"About {scene.words(held_l)} was in the clean bath and {scene.words(moved_l)} was "
            "moved. Enter what is left in its tank, or 0 if it is empty."
        )
        found.errors.append(FieldError("heel_l", message))
    found.doubts += _stopped_long(scene, state.tank)
    return found


def _stopped_long(scene: Scene, tank: str) -> list[str]:
    """That the swap stood still for long before liquid goes into a tank."""
    last, state = last_act_at(scene.state), scene.state
    if last is None or scene.hand.at - last <= LONG_STOP:
        return []
    stands = standing(state, tank, scene.site.heel_percent)
    left_l = stands.litres if stands else before_l(state, tank)
    since = local(scene.session, scene.room_id, last)
    return [
        f"Nothing has been ticked since {since}. Look into the tank: are about "
        f"{scene.words(left_l)} in it, as the steps say? If not, first say what is in it."
    ]


def fill(scene: Scene) -> Outcome:
    """Fresh solvent from one or two lots goes into the tank, to between its marks."""
    found, filled_l, state = Outcome(), scene.litres("filled_l"), scene.state
    if filled_l is None or filled_l < LEAST_POUR_L:
        found.errors.append(FieldError("filled_l", "Enter how much was filled."))
        return found
    capacity_l, min_l = marks_of(state)
    found.errors += _mark_problems(
        scene, "filled_l", filled_l, capacity_l, min_l, state.filled_tank
    )
    second_l = scene.litres("lot_2_l") or 0.0
    if bool(scene.text("lot_2")) != bool(second_l):
        message = "Choose the second lot and enter how much of it was filled."
        found.errors.append(FieldError("lot_2_l" if scene.text("lot_2") else "lot_2", message))
    elif second_l > filled_l:
        found.errors.append(FieldError("lot_2_l", "This is more than was filled."))
    names = ("fresh_purity_percent", "fresh_purity_volume_percent")
    found.errors += said_twice(names[1], *(scene.litres(name) for name in names))
    if found.errors:
        return found
    found.errors += purity_problems(scene.session, scene.room_id, scene.state, scene.answers)
    if scene.text("lot"):
        add_use(scene, "lot", filled_l - second_l, "filled_l", state.filled_tank, found)
    if scene.text("lot_2"):
        add_use(scene, "lot_2", second_l, "lot_2_l", state.filled_tank, found)
    if unit := unit_slip(filled_l, capacity_l):
        found.doubts.append(f"{scene.words(filled_l)}: was this read in {unit}?")
    found.doubts += _stopped_long(scene, state.filled_tank)
    return found


def read(scene: Scene, reading: Reading | None) -> Outcome:
    """The reading of the fresh bath, which later ones are held against."""
    found = Outcome()
    if reading is None:
        found.errors.append(FieldError("method", "Take the reading."))
        return found
    fresh = replace(reading, tank=scene.state.filled_tank, of_fresh=True)
    try:
        preview = preview_reading(scene.session, scene.room, fresh, scene.now)
    except FieldError as error:
        found.errors.append(error)
        return found
    found.entries.append(fresh)
    found.doubts += preview.doubts
    return found


def _mark_problems(
    scene: Scene, name: str, volume_l: float, capacity_l: float, min_l: float | None, tank: str
) -> list[FieldError]:
    """Above the upper mark, or below the lower one without a word about it."""
    left_l = seen_left_l(scene.state, tank)
    after_l = volume_l + left_l
    if after_l > capacity_l * SLACK:
        left = f" With the {scene.words(left_l)} left in the tank" if left_l else " This"
        message = f"{left.strip()} is above the upper mark, {scene.words(capacity_l)}."
        return [FieldError(name, message)]
    assumed_l = left_l or scene.site.heel_percent / 100 * capacity_l
    if min_l is not None and volume_l + assumed_l < min_l and not scene.hand.note.strip():
        message = f"Below the lower mark, {scene.words(min_l)}. Fill up, or say why in the note."
        return [FieldError(name, message)]
    return []
