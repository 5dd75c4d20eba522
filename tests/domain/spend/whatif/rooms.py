"""Made-up loads and rooms for the what-if model, small enough to work out by hand."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from app.domain.spend.whatif.cases import BathNow, PricesNow, Room
from app.domain.spend.whatif.loads import Load
from app.domain.spend.whatif.replay import Crew, Vessels, rows_of

MONDAY = date(2026, 3, 2)
EVERY_DAY = Crew(frozenset(range(1, 8)), 60)


def load(
    resin_g: float, film_l: float = 0.0, dried: float = 0.0, days: int = 364, baths: int = 1,
    paths: int = 1,
) -> Load:  # fmt: skip
    """The same load on every day."""
    shape = (baths, days, paths)
    return Load(
        np.full(shape, resin_g), np.full(shape, film_l), np.full((baths, days), 10.0),
        np.full((baths, paths), dried), (days,) * baths,
    )  # fmt: skip


def vessels(percent: float = 10.0, **changed: Any) -> Vessels:
    """One bath of 40 L, densities 0.79 and 1.12 g/mL, swapped once its limit is met."""
    values: dict[str, Any] = {
        "capacity_l": rows_of([40.0]), "below_l": rows_of([0.0]), "removed_l": rows_of([0.0]),
        "solvent_g_ml": rows_of([0.79]), "resin_g_ml": rows_of([1.12]),
        "evaporated_g": rows_of([0.0]), "early_percent": rows_of([percent]),
        "limit_percent": rows_of([percent]), "life_days": rows_of([np.inf]),
        "life_washes": rows_of([np.inf]), "rinse_l": rows_of([0.0]),
        "behind": np.array([0]), "carry": rows_of([1.0]), "moves": np.array([[False]]),
        "since_day": np.array([[0]]),
    }  # fmt: skip
    return Vessels(**(values | changed))


def pair(percent: float = 10.0, *, moves: bool = True, clean_percent: float = np.inf,
         **changed: Any) -> Vessels:  # fmt: skip
    """Two such baths: the second is the clean one behind the first."""
    one = vessels(percent, **changed)
    twice = {
        name: np.repeat(value, 2, axis=0) for name, value in vars(one).items()
        if isinstance(value, np.ndarray)
    }  # fmt: skip
    limits = rows_of([percent, clean_percent])
    early = np.repeat(one.early_percent, 2, axis=0)
    early[1] = clean_percent
    return replace(
        one, **(twice | {"limit_percent": limits, "early_percent": early,
                         "behind": np.array([1, 1]), "moves": np.array([[moves], [False]])})
    )  # fmt: skip


def bath(tank: str = "t1", **changed: Any) -> BathNow:
    values: dict[str, Any] = {
        "tank": tank, "solvent": "isopropanol", "volume_l": 40.0, "solvent_density_g_ml": 0.79,
        "resin_density_g_ml": 1.12, "limit_percent": 10.0, "below_l": 38.0,
    }  # fmt: skip
    return BathNow(**(values | changed))


def room(past: Load | None = None, baths: list[BathNow] | None = None, **prices: Any) -> Room:
    """A year of 60 g a day in each bath, with prices."""
    values: dict[str, Any] = {
        "solvent_cents_per_l": {"isopropanol": 400.0}, "disposal_cents_per_kg": 300.0,
        "labour_cents_per_hour": 3000.0, "swap_minutes": 60.0,
    }  # fmt: skip
    many = baths or [bath()]
    past = past or load(60.0, 0.5, 0.004, baths=len(many), paths=8)
    return Room(many, PricesNow(**(values | prices)), past, np.ones(past.paths), EVERY_DAY, MONDAY)
