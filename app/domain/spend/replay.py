"""A room's own load replayed in a bath under other rules, day by day.

The arithmetic is the estimator's, in its means (domain/baths/estimator/transitions.py): parts bring
resin in and drag bath liquid out; what leaves and evaporates is topped up with fresh solvent, so
that the level stands; at the limit the bath is renewed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

HEEL = 0.02  # share of a drained bath that stays (estimator/settings.py)


@dataclass(frozen=True, slots=True)
class Day:
    """A day's load of one bath: resin carried in, liquid dragged out, solvent evaporated; grams."""

    resin_in_g: float
    liquid_out_g: float
    evaporated_g: float


@dataclass(frozen=True)
class BathCase:
    """A bath and the rules it is kept by.

    Attributes:
        volume_l: to the upper mark; a paired bath has a second of the same size behind it.
        limit_percent: mass percent resin at which it is renewed.
        renew_share: share of the bath that is changed at the limit: 1 is a swap.
    """

    volume_l: float
    solvent_density_g_ml: float
    resin_density_g_ml: float
    limit_percent: float
    is_paired: bool = False
    renew_share: float = 1.0


@dataclass(frozen=True)
class Flows:
    """What went through a bath.

    Attributes:
        fresh_l: fresh solvent poured in, swaps and top-ups together.
        waste_l, waste_kg, waste_resin_kg: bath liquid drained, resin included.
        residue_g: resin that left on the parts of the last bath.
        lost_kg: solvent evaporated or dragged out.
    """

    renewals: int = 0
    fresh_l: float = 0.0
    waste_l: float = 0.0
    waste_kg: float = 0.0
    waste_resin_kg: float = 0.0
    residue_g: float = 0.0
    lost_kg: float = 0.0
    resin_in_kg: float = 0.0
    resin_left_kg: float = 0.0

    def plus(self, other: "Flows") -> "Flows":
        """Both together."""
        names = self.__dataclass_fields__
        return Flows(**{name: getattr(self, name) + getattr(other, name) for name in names})

    def times(self, factor: float) -> "Flows":
        """Stretched to another span of time; renewals are rounded."""
        stretched = {name: factor * getattr(self, name) for name in self.__dataclass_fields__}
        return replace(Flows(**stretched), renewals=round(stretched["renewals"]))


class _Bath:
    """Masses in one bath, kept at its mark."""

    def __init__(self, case: BathCase, resin_g: float = 0.0) -> None:
        self.case, self.resin_g = case, resin_g

    @property
    def solvent_g(self) -> float:
        free_l = self.case.volume_l - self.resin_g / (1000 * self.case.resin_density_g_ml)
        return 1000 * max(free_l, 0.01) * self.case.solvent_density_g_ml

    @property
    def whole_g(self) -> float:
        return self.resin_g + self.solvent_g

    @property
    def percent(self) -> float:
        return 100 * self.resin_g / self.whole_g


def replay(case: BathCase, days: Sequence[Day], resin_g: float = 0.0) -> Flows:
    """What goes through a bath that takes these days' loads, from `resin_g` in it at first."""
    dirty, clean = _Bath(case, resin_g), _Bath(case) if case.is_paired else None
    totals: dict[str, Any] = dict.fromkeys(Flows.__dataclass_fields__, 0.0)
    renewals = 0
    for day in days:
        _load(dirty, clean, day, totals)
        if dirty.percent >= case.limit_percent:
            renewals += 1
            _renew(dirty, clean, totals)
    left_kg = (dirty.resin_g + (clean.resin_g if clean else 0.0)) / 1000
    totals["resin_left_kg"] = left_kg - resin_g / 1000
    return Flows(**{**totals, "renewals": renewals})


def _load(dirty: _Bath, clean: _Bath | None, day: Day, totals: dict[str, float]) -> None:
    """A day's washes: film from bath to bath, then off the last one with the parts."""
    baths = [dirty] if clean is None else [dirty, clean]
    before_g = [bath.solvent_g for bath in baths]
    carried_g, film_solvent_in_g, lost_g = day.resin_in_g, 0.0, 0.0
    totals["resin_in_kg"] += day.resin_in_g / 1000
    for bath, solvent_g in zip(baths, before_g, strict=True):
        share = min(day.liquid_out_g / bath.whole_g, 0.9)
        # Half of the day's resin is in the bath, on average, while parts are taken out.
        out_g = share * (bath.resin_g + carried_g / 2)
        bath.resin_g = max(0.0, bath.resin_g + carried_g - out_g)
        film_g = share * solvent_g
        fresh_g = max(0.0, bath.solvent_g - solvent_g + film_g + day.evaporated_g
                      - film_solvent_in_g)  # fmt: skip
        totals["fresh_l"] += fresh_g / (1000 * bath.case.solvent_density_g_ml)
        lost_g += day.evaporated_g
        carried_g, film_solvent_in_g = out_g, film_g
    totals["residue_g"] += carried_g
    totals["lost_kg"] += (lost_g + film_solvent_in_g) / 1000


def _renew(dirty: _Bath, clean: _Bath | None, totals: dict[str, float]) -> None:
    """Drain the bath, or a share of it; a pair's clean bath moves up and is filled afresh."""
    case = dirty.case
    share = min(case.renew_share, 1 - HEEL)
    drained_l = share * case.volume_l
    resin_out_g = share * dirty.resin_g
    totals["waste_l"] += drained_l
    totals["waste_kg"] += share * dirty.whole_g / 1000
    totals["waste_resin_kg"] += resin_out_g / 1000
    totals["fresh_l"] += drained_l
    dirty.resin_g -= resin_out_g
    if clean is not None:
        moved_g = share * clean.resin_g
        dirty.resin_g += moved_g
        clean.resin_g -= moved_g
