"""What a swap under way still takes and leaves: less what its list says is done."""

from collections.abc import Iterable
from dataclasses import replace

from app.domain.checklists.filling import target_l
from app.domain.checklists.run import SwapState
from app.domain.planning.needs import SwapNeed
from app.domain.site import SiteState


def by_tank(swaps: Iterable[SwapState]) -> dict[str, SwapState]:
    """The swaps that are under way with a list, by each tank that they are of."""
    return {
        tank: swap for swap in swaps if swap.is_open for tank in (swap.tank, swap.from_tank) if tank
    }


def left_of(
    need: SwapNeed, tank: str, led: SwapState, site: SiteState, solvent_density_g_ml: float
) -> SwapNeed:
    """What is left of the need of a tank whose swap is under way.

    Of a pair the fresh solvent goes into the clean tank, whose bath goes into the other; both are
    rinsed into the drum of the swap.

    Args:
        need: as if nothing were done yet.
        tank: its key, that of the tank drained or of the clean one of a pair.
        led: the swap as its list stands.
    """
    is_clean, is_moved_to = tank == led.from_tank, led.from_tank is not None
    rinse = "rinse_clean" if is_clean else "rinse"
    if tank == led.filled_tank:
        need = replace(need, fill_l=target_l(led, site.heel_percent))
    need = need.left(
        is_drained=is_clean or _is_done(led, "drain"),
        is_rinsed=_is_done(led, rinse) or (is_clean and not led.with_role(rinse)),
        is_filled=(is_moved_to and not is_clean) or _is_done(led, "fill"),
    )
    moved_l = -need.rinse_l if is_clean else _clean_rinse_l(led, site)
    return need.beside(moved_l, solvent_density_g_ml)


def _clean_rinse_l(led: SwapState, site: SiteState) -> float:
    """The rinse of a pair's clean tank that is still to go into the drum of its swap."""
    is_open = led.with_role("rinse_clean") and not _is_done(led, "rinse_clean")
    return site.rinse_percent / 100 * (led.from_capacity_l or 0.0) if is_open else 0.0


def _is_done(swap: SwapState, role: str) -> bool:
    steps = list(swap.with_role(role))
    return bool(steps) and all(swap.is_settled(step) for step in steps)
