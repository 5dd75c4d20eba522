"""What each kind of entry does to the estimate of its tank."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from app.domain.baths.estimator import pairs, transitions, untold_pairs
from app.domain.baths.estimator.bath import ENTRY, fresh_bath
from app.domain.baths.estimator.beliefs import belief_of
from app.domain.baths.estimator.dismissals import dismiss
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.readings import saturation_percent
from app.domain.baths.estimator.results import Effect
from app.domain.baths.estimator.roomstate import DAY_S, RoomState, day_of
from app.domain.baths.estimator.scene import Scene
from app.domain.baths.estimator.shared import CM2_PER_G, CM2_PER_PART, Array
from app.domain.baths.estimator.taking import take_reading
from app.domain.baths.estimator.transitions import Heel, Load
from app.domain.baths.estimator.typos import typo_of
from app.domain.baths.estimator.watch import forget_pairs
from app.domain.baths.habits import Habits
from app.domain.roomlog import kinds
from app.domain.solvents import solvent
from app.domain.solvents.purity import in_mass_percent

WASHES_REMEMBERED = 20
MOVED_INCLUDED = 0.9  # who says about as much as was moved, means that
MOST_FULL = 1.15  # of the upper mark, below the rim; common practice, no source
LARGE_SHARE = 0.02  # of a fill
NEARLY_ALL = 0.7  # of a bath: a removal of more may have a nought too many
NOUGHT_IN_REMOVAL, MORE_THAN_THERE_WAS = 0.05, 0.5  # how likely; from memory
DRY_SHARE = 0.25  # of the upper mark: parts are not washed in less
DRY_WASH = 0.05  # how likely somebody does all the same; from memory
SURELY, SURE_ENOUGH, HARDLY = 0.98, 0.5, 0.02


def take_in(room: RoomState, entry: Any, tank: str) -> Effect | None:
    """Take an entry of a known tank in."""
    room.stored.pop(tank, None)
    if isinstance(entry, kinds.ExplanationDismissed):
        dismiss(room, entry)  # no work at the bath: nothing else is to be read from it
        return None
    room.habits[tank].observe(entry)
    facts, day_of_zone = room.tanks[tank], room.habits[tank].day_of
    if facts.last_entry_at and day_of_zone(facts.last_entry_at) < day_of_zone(entry.at):
        facts.entry_of_day_before_at = facts.last_entry_at
    facts.last_entry_at = entry.at
    act = _ACTS.get(type(entry))
    if act is None:
        _note(room, entry, facts)
        return None
    if isinstance(entry, kinds.Wash):
        _learn_of(room, entry)
    return act(_meet(room, entry, facts), entry)


def _meet(room: RoomState, entry: Any, facts: TankFacts) -> Scene:
    bath = room.baths[entry.tank]
    if untold_pairs.is_supposed(bath) and pairs.dirties_of(room, entry.tank):
        pairs.settle_supposed(room, entry.tank, is_pair=True)  # somebody has told of it since
    joint, liquid = bath.joint(room.shared), room.liquid(facts)
    lost_g = transitions.pass_time(bath, joint, day_of(entry.at), liquid.fill_g, room.settings)
    bath.hold_resin_positive(joint)
    percent = float(joint.weight @ saturation_percent(bath.means(joint)))
    return Scene(room, entry, facts, bath, joint, liquid, lost_g, percent, bath.resin_g(joint))


def _note(room: RoomState, entry: kinds.Entry, facts: TankFacts) -> None:
    """Entries that change what is known, and not the bath."""
    if isinstance(entry, kinds.SwapStarted):
        facts.swap_started_at = entry.at
    elif isinstance(entry, kinds.SwapAbandoned):
        facts.swap_started_at = None
    elif isinstance(entry, kinds.TankChange):
        facts.change(entry)
        pairs.heed(room, entry)


def set_up(room: RoomState, entry: kinds.Tank) -> Effect:
    """A tank comes into use, or anew: a fresh fill unless it says otherwise."""
    facts = TankFacts(
        entry.capacity_l, entry.solvent, entry.min_l, _purity_of(entry, entry.solvent), entry.pair,
        is_pair_told=entry.pair is not None, last_entry_at=entry.at,
        set_up_at=entry.at,
    )  # fmt: skip
    facts.take_limits(entry)
    facts.start_fill(entry.at)
    before = room.tanks.get(entry.tank)
    facts.fill = before.fill + 1 if before else 0
    pairs.forget_found(room, entry.tank)
    room.tanks[entry.tank] = facts
    if before is None:
        room.habits[entry.tank] = _habits_of_new_tank(room, entry.tank)
    room.habits[entry.tank].observe(entry)
    room.stored.pop(entry.tank, None)
    percent, settings, liquid = entry.saturation_percent or 0.0, room.settings, room.liquid(facts)
    slow = settings.slow_solvent_share if solvent(entry.solvent).dries_slowly else 1.0
    bath = fresh_bath(
        settings, room.shared.size, day_of(entry.at), liquid.fill_g, percent,
        settings.evaporation_per_day * slow,
    )  # fmt: skip
    room.baths[entry.tank] = bath
    belief = belief_of(room, entry.tank, bath, bath.joint(room.shared), entry.at)
    return Effect(
        entry.tank, facts.fill, belief, percent, resin_in_g=belief.resin_g, flags=belief.flags
    )


def _purity_of(entry: kinds.Tank | kinds.Swap, key: str) -> float | None:
    """Of the fresh solvent, mass percent, in whichever basis it was entered."""
    given = entry.fresh_purity_percent, entry.fresh_purity_volume_percent
    return in_mass_percent(solvent(key), *given)


def _habits_of_new_tank(room: RoomState, tank: str) -> Habits:
    """Plans may be known before their tank is."""
    habits = Habits(room.zone)
    for plan in room.plans.values():
        if plan.tank == tank:
            habits.observe(plan)
    return habits


def _learn_of(room: RoomState, wash: kinds.Wash) -> None:
    """What a wash tells before it reaches the bath: its resin, and sizes logged in two ways."""
    if wash.resin not in room.shared.resins:
        room.add_column(wash.resin)
    room.washes[wash.resin] = room.washes.get(wash.resin, 0) + 1
    if wash.plan:
        room.plans.pop(wash.plan, None)
    if wash.area_cm2 is None:
        return
    for column, size in ((CM2_PER_G, wash.mass_g), (CM2_PER_PART, wash.parts)):
        if size:
            room.shared.learn_size(column, math.log(wash.area_cm2 / size))


def _wash(scene: Scene, wash: kinds.Wash) -> Effect:
    facts, settings = scene.facts, scene.room.settings
    doubted_g = _doubt_dry(scene)
    load = _meant(scene, wash, _load(scene.room, wash))
    in_g, out_g = _in_and_out(scene, wash, load)
    # A bath fills up wash by wash: it is enough to look at large ones and now and then.
    if in_g > LARGE_SHARE * scene.liquid.fill_g or facts.washes_since_fill % 16 == 0:
        most_l = MOST_FULL * facts.capacity_l
        out_g += transitions.hold(scene.bath, scene.joint, most_l, scene.liquid, settings)
    if scene.resin_g > 0:
        facts.keep_of_mix(1 - out_g / scene.resin_g)
    facts.resin_mix_g[wash.resin] = facts.resin_mix_g.get(wash.resin, 0.0) + in_g
    since = facts.load_since or facts.fill_started_at
    days = max((wash.at - since).total_seconds() / DAY_S, 0.0)
    fade = math.exp(-days / settings.load_memory_days)
    facts.load_g_per_day = facts.load_g_per_day * fade + in_g / settings.load_memory_days
    facts.load_since = facts.last_wash_at = wash.at
    facts.wash_g += (in_g - facts.wash_g) / min(facts.washes_since_fill + 1, WASHES_REMEMBERED)
    facts.washes_since_fill += 1
    facts.in_lately_g = [grams + in_g for grams in facts.in_lately_g]
    forget_pairs(facts)
    return scene.effect(resin_in_g=in_g, resin_out_g=out_g, correction_g=doubted_g)


def _meant(scene: Scene, wash: kinds.Wash, load: Load) -> Load:
    """The load as it was meant, under each hypothesis, where its size is one that nobody meant."""
    room, facts = scene.room, scene.facts
    usual_g = math.exp(float(load.ln_size + scene.joint.mean[0] @ load.direction))
    habits = room.habits[wash.tank]
    typo = typo_of(wash, usual_g, habits, scene.liquid)
    if typo.chance < HARDLY or not room.settings.is_mixture:
        return load
    count, ln_factor = len(scene.joint.weight), math.log(typo.factor)
    if typo.chance > SURELY:
        scene.bath.found_on[:, ENTRY] = scene.bath.day
        ln_size: Any = load.ln_size - ln_factor
    else:
        scene.bath.split(typo.chance, ENTRY)
        scene.joint = scene.bath.joint(room.shared)
        ln_size = load.ln_size - ln_factor * np.repeat([0.0, 1.0], count)
    if typo.chance > SURE_ENOUGH:
        facts.wrong_entry = [wash.id, wash.at.isoformat(), typo.factor]
        habits.shrink_last_load(typo.factor)
    return replace(load, ln_size=ln_size)


def _in_and_out(scene: Scene, wash: kinds.Wash, load: Load) -> tuple[float, float]:
    """Grams of resin that a wash or a rinse brings in and takes out."""
    room = scene.room
    pairs.note_load(scene.facts, wash)
    dirty = pairs.rinsed_from(room, wash)
    if dirty is not None:
        joint = scene.joint
        as_washed_g = float(joint.weight @ np.exp(load.ln_size + joint.mean @ load.direction))
        untold_pairs.rinsed(scene.facts, dirty, as_washed_g)
        return pairs.rinse(room, wash, dirty, scene.bath, scene.joint, load, scene.liquid)
    if untold_pairs.is_supposed(scene.bath):
        in_g, out_g, washed_g = untold_pairs.wash_or_rinse(scene, wash, load)
    else:
        in_g, out_g = transitions.wash(scene.bath, scene.joint, load, scene.liquid, room.settings)
        washed_g = in_g
    untold_pairs.watch(scene, wash, washed_g)
    return in_g, out_g


def _load(room: RoomState, wash: kinds.Wash) -> Load:
    settings, direction = room.settings, room.direction(wash.resin)
    if wash.area_cm2 is not None:
        return Load(math.log(wash.area_cm2), direction, settings.wash_ln_sd, None)
    if wash.mass_g is not None:
        size, column, extra = wash.mass_g, CM2_PER_G, settings.mass_ln_sd
    else:
        size, column, extra = float(wash.parts or 1), CM2_PER_PART, settings.parts_ln_sd
    direction[column] = 1.0
    return Load(math.log(size), direction, math.hypot(settings.wash_ln_sd, extra), column)


def _top_up(scene: Scene, entry: kinds.TopUp) -> Effect:
    settings, liquid = scene.room.settings, scene.liquid
    transitions.top_up(scene.bath, entry.volume_l, liquid, settings)
    held_l = float(
        scene.joint.weight @ (scene.bath.means(scene.joint)[:, :2] @ liquid.volume_weights)
    )
    if entry.to_mark and len(scene.joint.weight) > 1:
        # A swap or a top-up that nobody logged left the bath fuller than the log has it.
        fits = transitions.level_fits(
            scene.bath, scene.joint, scene.facts.capacity_l, liquid, settings
        )
        scene.bath.tilt(fits, scene.room.shared)
        scene.joint = scene.bath.joint(scene.room.shared)
    if entry.to_mark or held_l > MOST_FULL * scene.facts.capacity_l:
        transitions.fill_to(scene.bath, scene.joint, scene.facts.capacity_l, liquid, settings)
    forget_pairs(scene.facts)
    return scene.effect(correction_g=scene.resin_now_g() - scene.resin_g)


def _remove(scene: Scene, entry: kinds.Removal) -> Effect:
    settings, volume_l = scene.room.settings, _removed_l(scene, entry)
    out_g = transitions.remove(
        scene.bath, scene.joint, volume_l, scene.liquid, settings, entry.left_l
    )
    if scene.resin_g > 0:
        scene.facts.keep_of_mix(1 - out_g / scene.resin_g)
    return scene.effect(resin_out_g=out_g)


def _removed_l(scene: Scene, entry: kinds.Removal) -> float | Array:
    """Litres taken out as they are logged or, where that is nearly all of the bath and nothing was
    said of what is left, a tenth of it under some hypotheses."""
    litres = scene.bath.means(scene.joint)[:, :2] @ scene.liquid.volume_weights
    held_l = float(scene.joint.weight @ litres)
    is_plain = entry.left_l is not None or not scene.room.settings.is_mixture
    if is_plain or entry.volume_l < NEARLY_ALL * held_l:
        return entry.volume_l
    count = len(scene.joint.weight)
    is_more = entry.volume_l > MOST_FULL * held_l
    before = scene.bath.found_on.copy()
    scene.bath.split(MORE_THAN_THERE_WAS if is_more else NOUGHT_IN_REMOVAL, ENTRY)
    scene.bath.found_on = np.concatenate([before, before])  # it says nothing of a wash
    scene.joint = scene.bath.joint(scene.room.shared)
    return entry.volume_l * np.repeat([1.0, 0.1], count)


def _doubt_dry(scene: Scene) -> float:
    """Parts are washed where the log has left next to nothing: it is hardly so.

    Given back is by how much more resin the bath is thus taken to hold, in grams.
    """
    if len(scene.joint.weight) == 1:
        return 0.0
    litres = scene.bath.means(scene.joint)[:, :2] @ scene.liquid.volume_weights
    is_dry = litres < DRY_SHARE * scene.facts.capacity_l
    if is_dry.any() and not is_dry.all():
        scene.bath.tilt(np.where(is_dry, DRY_WASH, 1.0), scene.room.shared)
        scene.joint = scene.bath.joint(scene.room.shared)
        return scene.resin_now_g() - scene.resin_g
    return 0.0


def _solids(scene: Scene, entry: kinds.SolidsRemoved) -> Effect:  # noqa: ARG001
    """Settled solids are not in the liquid: its resin stays."""
    return scene.effect()


def _swap(scene: Scene, entry: kinds.Swap) -> Effect:
    room, facts = scene.room, scene.facts
    share, share_sd = _heel(scene, entry)
    pairs.forget_feed(room, entry.tank)
    if entry.from_tank in room.baths and entry.from_tank != entry.tank:
        return _fill_from(scene, entry, Heel(share, share_sd, 0.0, facts.capacity_l))
    facts.solvent = entry.solvent or facts.solvent
    purity_percent = _purity_of(entry, facts.solvent)
    if entry.solvent is not None or purity_percent is not None:
        facts.fresh_purity_percent = purity_percent
    liquid = room.liquid(facts)
    fresh_g = None
    if entry.filled_l is not None and entry.filled_l <= MOST_FULL * facts.capacity_l:
        fresh_g = 1000 * entry.filled_l * liquid.solvent_density_g_ml
    heel = Heel(share, share_sd, fresh_g, facts.capacity_l)
    transitions.swap(scene.bath, scene.joint, heel, liquid, room.settings)
    most_l = MOST_FULL * facts.capacity_l
    transitions.hold(scene.bath, scene.joint, most_l, liquid, room.settings)
    facts.fill += 1
    facts.start_fill(entry.at)
    facts.keep_of_mix(share)
    return scene.effect(resin_out_g=scene.resin_g - scene.resin_now_g())


def _fill_from(scene: Scene, entry: kinds.Swap, heel: Heel) -> Effect:
    """The liquid of another bath takes the place of the old one; what it leaves there is said by
    that bath's own entry."""
    room, facts = scene.room, scene.facts
    source, giver = room.baths[str(entry.from_tank)], room.tanks[str(entry.from_tank)]
    room.stored.pop(str(entry.from_tank), None)
    if untold_pairs.is_supposed(source) and entry.tank in giver.followed:
        pairs.settle_supposed(room, str(entry.from_tank), is_pair=True)
    joint, liquid = source.joint(room.shared), room.liquid(giver)
    transitions.pass_time(source, joint, day_of(entry.at), liquid.fill_g, room.settings)
    moved, moved_share = transitions.drawn(source, joint, entry.filled_l, liquid)
    litres = source.means(joint)[:, :2] @ liquid.volume_weights
    giver.moved_out_l += moved_share * float(joint.weight @ litres)
    facts.solvent, facts.fresh_purity_percent = giver.solvent, giver.fresh_purity_percent
    transitions.swap(scene.bath, scene.joint, heel, room.liquid(facts), room.settings)
    transitions.receive(scene.bath, moved, room.shared.mean)
    if facts.pair is None:
        facts.pair = str(entry.from_tank)
    facts.fill += 1
    facts.start_fill(entry.at)
    facts.keep_of_mix(heel.share)
    for resin, grams in giver.resin_mix_g.items():
        facts.resin_mix_g[resin] = facts.resin_mix_g.get(resin, 0.0) + moved_share * grams
    left_g = scene.resin_now_g() - moved.resin_g
    return scene.effect(resin_in_g=moved.resin_g, resin_out_g=scene.resin_g - left_g)


def _heel(scene: Scene, entry: kinds.Swap) -> tuple[float, float]:
    """Share of the old liquid that stays, and its sd.

    What the entry says was left; else what was not drained, no less than a tank keeps anyhow.
    """
    settings = scene.room.settings
    usual = settings.heel, settings.heel_sd
    if entry.heel_l is None and entry.drained_l is None:
        return usual
    litres = scene.bath.means(scene.joint)[:, :2] @ scene.liquid.volume_weights
    volume_l = max(float(scene.joint.weight @ litres), 1e-6)
    if entry.heel_l is not None:
        share = min(entry.heel_l / volume_l, 1.0)
        is_seen = entry.heel_basis == "seen"
        sd = settings.heel_seen_noise * share if is_seen else min(share, settings.heel_sd)
        return share, max(sd, settings.heel_least_sd)
    drained_l, moved_l = entry.drained_l or 0.0, scene.facts.moved_out_l
    if drained_l < MOVED_INCLUDED * moved_l:  # the rest, after what another bath was filled with
        drained_l += moved_l
    left = 1 - drained_l / volume_l
    if left <= settings.heel:
        return usual
    return left, settings.drained_noise * (1 - left) + settings.heel_sd


_ACTS: Mapping[type[kinds.Entry], Callable[[Scene, Any], Effect]] = {
    kinds.Wash: _wash,
    kinds.Reading: take_reading,
    kinds.TopUp: _top_up,
    kinds.Removal: _remove,
    kinds.SolidsRemoved: _solids,
    kinds.Swap: _swap,
}
