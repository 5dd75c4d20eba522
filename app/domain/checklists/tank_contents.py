"""What stands in the tanks of a swap: from the drain on the heel, the rest in its drums.

The close, the estimate, the fire area and every page that names a level take it from here.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from app.domain.checklists.litres import Found, Poured
from app.domain.checklists.roles import RINSES
from app.domain.checklists.run import SwapState, Tick

DRAINED, MOVED, FILLED = "drained", "moved", "filled"
LONG_STOP = timedelta(hours=2)
"""Between two steps: after it what is in the tank is asked (common practice, no source)."""


@dataclass(frozen=True)
class Standing:
    """What stands in a tank of a swap.

    Attributes:
        is_seen: somebody looked, the heel is not what a drained tank usually keeps.
        stage: the last act that moved its liquid: `drained`, `moved`, `filled`; empty where only
            somebody's word sets the level.
        since_at: when the first of them was.
    """

    litres: float
    is_seen: bool
    stage: str
    since_at: datetime


@dataclass(frozen=True)
class _Act:
    """Something that empties a tank, or adds to it."""

    at: datetime
    stage: str
    added_l: float = 0.0
    is_added: bool = False


def drained_l(state: SwapState) -> float:
    """Litres of the bath in drums: by the pours of the drain where it made any, else as answered.

    A pour that was corrected or withdrawn counts as it stands.
    """
    bath = _bath_pours(state)
    wrote = any(tick.wrote for tick in _ticks(state, "drain"))
    if bath or wrote:
        return sum(one.litres for one in bath)
    return state.amount_l("drain", "drained_l")


def moved_liquid(state: SwapState) -> bool:
    """Whether the swap has taken anything out of its tank."""
    return bool(_ticks(state, "drain")) or bool(_bath_pours(state))


def last_act_at(state: SwapState) -> datetime | None:
    """When a step was ticked, or something said of a tank, last."""
    times = [tick.at for tick in state.ticks] + [one.at for one in state.said]
    return max(times, default=None)


def heel(state: SwapState, heel_percent: float) -> Standing | None:
    """What is left of the old bath in the drained tank; None before it is drained.

    Args:
        heel_percent: what a drained tank keeps where nobody looked, percent of its capacity.
    """
    return _after(state, state.tank, heel_percent, is_filled=False)


def seen_left_l(state: SwapState, tank: str) -> float:
    """What somebody saw left in a tank of the swap once it was emptied; 0 where nobody looked."""
    left = _after(state, tank, 0.0, is_filled=False)
    return left.litres if left is not None and left.is_seen else 0.0


def unsaid_l(state: SwapState, tank: str, out_l: float, heel_percent: float) -> float:
    """What of a tank's bath is neither taken out nor the usual heel, so that nobody has said where
    it is, litres; below zero where more came out.

    Args:
        out_l: what was drained or moved.
        heel_percent: what a drained tank keeps where nobody looked, percent of its capacity.
    """
    usual_l = heel_percent / 100 * capacity_l(state, tank)
    return before_l(state, tank) - out_l - usual_l


def left_in_clean(state: SwapState, heel_percent: float) -> Standing | None:
    """What the clean bath's tank keeps once its liquid was moved; None before."""
    if state.from_tank is None:
        return None
    return _after(state, state.from_tank, heel_percent, is_filled=False)


def standing(state: SwapState, tank: str, heel_percent: float) -> Standing | None:
    """What stands in a tank now; None where its estimate goes on as it was.

    So it is while nothing was moved, and where the swap has ended and said what is there.
    """
    is_ours = tank in (state.tank, state.from_tank) and bool(state.steps)
    if not is_ours or (state.end and tank not in state.asks):
        return None
    return _after(state, tank, heel_percent)


def as_of(state: SwapState, at: datetime) -> SwapState:
    """The swap as it was at an instant, by what was said to have happened by then."""
    is_over = state.ended_at is not None and state.ended_at <= at
    return replace(
        state,
        ticks=tuple(one for one in state.ticks if one.at <= at),
        pours=tuple(one for one in state.pours if one.at <= at),
        said=tuple(one for one in state.said if one.at <= at),
        end=state.end if is_over else "",
    )


def before_l(state: SwapState, tank: str) -> float:
    """What a tank of the swap held as it was taken up."""
    return state.estimated_l if tank == state.tank else state.from_estimated_l or 0.0


def capacity_l(state: SwapState, tank: str) -> float:
    """Volume to the upper mark of a tank of the swap."""
    return state.capacity_l if tank == state.tank else state.from_capacity_l or state.capacity_l


def usual_heel_l(state: SwapState, tank: str, heel_percent: float) -> float:
    """What a tank keeps where nobody looked: the site's share, no more than was not taken out."""
    taken_l = drained_l(state) if tank == state.tank else state.amount_l("move", "moved_l")
    rest_l = max(0.0, before_l(state, tank) - taken_l)
    return min(heel_percent / 100 * capacity_l(state, tank), rest_l)


def empty_l(state: SwapState, tank: str, heel_percent: float) -> float:
    """What an empty tank of the swap keeps: as was seen behind the drain, else the usual heel."""
    acts = _acts(state, tank)
    is_filled = any(act.is_added for act in acts)
    if not acts or is_filled:
        return usual_heel_l(state, tank, heel_percent)
    return _taken_out(state, tank, heel_percent)[0]


def _after(
    state: SwapState, tank: str, heel_percent: float, *, is_filled: bool = True
) -> Standing | None:
    """The level after the acts on a tank in their order; without `is_filled` before any is added.

    What was said of it counts from when it was said.
    """
    acts = [act for act in _acts(state, tank) if is_filled or not act.is_added]
    ends = [act.at for act in _acts(state, tank) if act.is_added and not is_filled]
    words = [one for one in state.said if one.tank == tank and all(one.at < end for end in ends)]
    level: Standing | None = None
    for act in (*acts, None):
        while words and (act is None or words[0].at < act.at):
            level = _as_said(state, words.pop(0), level, heel_percent)
        if act is not None:
            level = _acted(state, tank, act, level, heel_percent)
    return level


def _acted(
    state: SwapState, tank: str, act: _Act, level: Standing | None, heel_percent: float
) -> Standing:
    since_at = level.since_at if level else act.at
    if act.is_added:
        base = level or Standing(before_l(state, tank), False, "", act.at)
        return Standing(base.litres + act.added_l, base.is_seen, act.stage, since_at)
    litres, is_seen = _taken_out(state, tank, heel_percent)
    return Standing(litres, is_seen, act.stage, since_at)


def _as_said(
    state: SwapState, said: Found, level: Standing | None, heel_percent: float
) -> Standing | None:
    """The level as somebody's word sets it; as it was where it gives none."""
    if said.left_l is not None:
        litres = said.left_l
    elif said.found == "as_before":
        if level is None:
            return None  # nothing was moved: its estimate goes on
        litres = before_l(state, said.tank)
    elif said.found == "empty":
        emptied = DRAINED if said.tank == state.tank else MOVED
        is_low = level is not None and level.stage == emptied
        usual_l = usual_heel_l(state, said.tank, heel_percent)
        litres = _taken_out(state, said.tank, heel_percent)[0] if is_low else usual_l
    else:
        return level
    stage, since_at = (level.stage, level.since_at) if level else ("", said.at)
    return Standing(litres, True, stage, since_at)


def _acts(state: SwapState, tank: str) -> list[_Act]:
    """What moved a tank's liquid: drained or moved away, then filled or moved in."""
    is_dirty = tank == state.tank
    if is_dirty:
        out = [tick.at for tick in _ticks(state, "drain")] or [p.at for p in _bath_pours(state)]
    else:
        out = [tick.at for tick in _ticks(state, "move")]
    acts = [_Act(min(out), DRAINED if is_dirty else MOVED)] if out else []
    is_moved_in = is_dirty and state.from_tank is not None
    stage, role, name = (MOVED, "move", "moved_l") if is_moved_in else (FILLED, "fill", "filled_l")
    return acts + [
        _Act(tick.at, stage, _number(tick, name), is_added=True) for tick in _ticks(state, role)
    ]


def _taken_out(state: SwapState, tank: str, heel_percent: float) -> tuple[float, bool]:
    """What is left once a tank was emptied, and whether somebody looked."""
    if tank != state.tank:
        seen_l = state.answer("move", "heel_l")
        if seen_l is not None:
            return float(seen_l), True
        return usual_heel_l(state, tank, heel_percent), False
    if not _ticks(state, "drain"):  # poured by a program that ticks no step: no more is known
        return max(0.0, state.estimated_l - drained_l(state)), False
    seen_l = state.answer("drain", "heel_l")
    if seen_l is not None:
        return float(seen_l), True
    return usual_heel_l(state, tank, heel_percent), False


def _bath_pours(state: SwapState) -> list[Poured]:
    """The pours that are no rinse."""
    rinses = [tick for role in RINSES for tick in _ticks(state, role)]
    drains = {uid for tick in _ticks(state, "drain") for uid in tick.wrote}
    of_rinse = {uid for tick in rinses for uid in tick.wrote}
    return [
        one
        for one in state.pours
        if one.id in drains or (one.id not in of_rinse and (one.holds_resin or not rinses))
    ]


def is_bath(state: SwapState, pour: str) -> bool:
    """Whether a pour of the swap is its bath, not its rinse; by the id it was first made with."""
    return any(one.id == pour for one in _bath_pours(state))


def _ticks(state: SwapState, role: str) -> list[Tick]:
    return [tick for step in state.with_role(role) if (tick := state.tick(step.key)) is not None]


def _number(tick: Tick, name: str) -> float:
    value = tick.answers.get(name)
    return float(value) if isinstance(value, int | float) else 0.0
