"""The recipe of a resin as its entries leave it: the latest one counts."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from app.domain.curing.plain import plain
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import CureRecipe

# Common practice, no source: post-cure doses at the part, from thin clear resins to filled ones.
USUAL_MJ_CM2 = (300.0, 60_000.0)
JUMP = 2.0  # of the recipe's own dose; common practice, no source
APART = 10.0  # times another recipe's dose; common practice, no source


@dataclass(frozen=True)
class RecipeState:
    """How a resin is cured.

    Attributes:
        resin: key of the resin.
        dose_mj_cm2: at the part; of a recipe given as a time, that time at its reference output.
        dry_minutes: None where the solvent's usual wait holds.
        working_curve: measured pairs of exposure (mJ/cm2) and cured depth (mm).
    """

    resin: str
    dose_mj_cm2: float = 0.0
    reference_minutes: float | None = None
    reference_mw_cm2: float | None = None
    wavelength_nm: float | None = None
    temperature_c: float | None = None
    least_mw_cm2: float | None = None
    longest_minutes: float | None = None
    dry_minutes: float | None = None
    turn_half_way: bool = False
    preparation: str = ""
    working_curve: tuple[tuple[float, float], ...] = ()
    set_at: datetime | None = None
    by: str = ""

    @property
    def is_known(self) -> bool:
        """There is a recipe: it may have been withdrawn."""
        return self.set_at is not None


def dose_oddity(dose_mj_cm2: float) -> str | None:
    """Why a dose is unlike those of post-curing; None where it is like them."""
    low, high = USUAL_MJ_CM2
    if low <= dose_mj_cm2 <= high:
        return None
    side = "less" if dose_mj_cm2 < low else "more"
    return (
        f"{plain(dose_mj_cm2)} mJ/cm² is {side} than usual for a post-cure "
        f"({plain(low)} to {plain(high)} mJ/cm², common practice)."
    )


def far_from_others(dose_mj_cm2: float, others: Mapping[str, float]) -> str | None:
    """Which other recipe a dose is nearest to, where even that is ten times more or less.

    Args:
        others: doses of the room's other recipes, by the name of their resin.
    """
    if not others:
        return None
    name = min(others, key=lambda key: abs(math.log(others[key] / dose_mj_cm2)))
    ratio = dose_mj_cm2 / others[name]
    if 1 / APART < ratio < APART:
        return None
    share = f"{plain(ratio)} times" if ratio > 1 else f"{plain(1 / ratio)} times less than"
    return f"It is {share} the dose of {name}, the nearest of the other recipes here."


def far_from_present(dose_mj_cm2: float, present_mj_cm2: float) -> str | None:
    """How much more or less a dose is than the recipe's until now, where it is twice or half."""
    if present_mj_cm2 <= 0 or dose_mj_cm2 <= 0:
        return None
    ratio = dose_mj_cm2 / present_mj_cm2
    if 1 / JUMP < ratio < JUMP:
        return None
    share = f"{plain(ratio)} times" if ratio > 1 else f"{plain(1 / ratio)} times less than"
    return f"It is {share} the dose so far, {plain(present_mj_cm2)} mJ/cm²."


def recipe_after(state: RecipeState, entry: Entry) -> RecipeState:
    """The recipe after an entry; each sets all of it anew."""
    if not isinstance(entry, CureRecipe):
        return state
    dose = entry.dose_mj_cm2
    if dose is None:
        dose = 60 * (entry.reference_minutes or 0.0) * (entry.reference_mw_cm2 or 0.0)
    return RecipeState(
        resin=state.resin,
        dose_mj_cm2=dose,
        reference_minutes=entry.reference_minutes,
        reference_mw_cm2=entry.reference_mw_cm2,
        wavelength_nm=entry.wavelength_nm,
        temperature_c=entry.temperature_c,
        least_mw_cm2=entry.least_mw_cm2,
        longest_minutes=entry.longest_minutes,
        dry_minutes=entry.dry_minutes,
        turn_half_way=bool(entry.turn_half_way),
        preparation=entry.preparation or "",
        working_curve=tuple((x, y) for x, y in entry.working_curve or ()),
        set_at=entry.at,
        by=entry.by,
    )
