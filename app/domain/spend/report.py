"""A week's costs in every view: by cause, tank, solvent and resin; each adds up to the cent."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from app.domain.spend.allot import allotted
from app.domain.spend.lines import CATEGORIES, SOLVENT, CostLine

CarryIn = Mapping[str, Mapping[str, float]]
"""By tank, grams that each resin carried into it."""


@dataclass(frozen=True)
class Group:
    """Costs that belong together.

    Attributes:
        key: empty for what is tied to none: it is the whole room's.
        by_category: cents by category, only those that are not zero.
        litres: solvent that was taken.
    """

    key: str
    cents: int
    by_category: Mapping[str, int]
    litres: float = 0.0


@dataclass(frozen=True)
class Pace:
    """Costs against what was done for them; None where nothing was."""

    washes: int
    per_wash_cents: float | None
    weighed_washes: int
    parts_kg: float
    per_kg_cents: float | None


def grouped(lines: Iterable[CostLine], key: Callable[[CostLine], str]) -> list[Group]:
    """The lines by a key, the dearest first, what has no key last."""
    found: dict[str, list[CostLine]] = {}
    for line in lines:
        found.setdefault(key(line), []).append(line)
    groups = [Group(name, *_sums(some)) for name, some in found.items()]
    return sorted(groups, key=lambda group: (not group.key, -group.cents, group.key))


def _sums(lines: Sequence[CostLine]) -> tuple[int, dict[str, int], float]:
    by_category = {
        category: cents
        for category in CATEGORIES
        if (cents := sum(line.cents for line in lines if line.category == category))
    }
    litres = sum(line.quantity for line in lines if line.category == SOLVENT and line.unit == "L")
    return sum(line.cents for line in lines), by_category, round(litres, 3)


def by_category(lines: Iterable[CostLine]) -> dict[str, int]:
    """Cents by category, all of them, in their order."""
    sums = dict.fromkeys(CATEGORIES, 0)
    for line in lines:
        sums[line.category] += line.cents
    return sums


def by_resin(lines: Iterable[CostLine], carry_in: CarryIn) -> list[Group]:
    """The lines by resin: each tank's costs in proportion to what resins carried into it.

    What is tied to no tank, or to one without washes, is the whole room's.
    """
    shared = [part for line in lines for part in _resin_parts(line, carry_in)]
    found: dict[str, list[CostLine]] = {}
    for resin, line in shared:
        found.setdefault(resin, []).append(line)
    groups = []
    for resin, some in found.items():
        cents, categories, litres = _sums(some)
        groups.append(Group(resin, cents, categories, litres))
    return sorted(groups, key=lambda group: (not group.key, -group.cents, group.key))


def _resin_parts(line: CostLine, carry_in: CarryIn) -> list[tuple[str, CostLine]]:
    weights = carry_in.get(line.tank, {}) if line.tank else {}
    parts = allotted(line.cents, weights)
    if not parts:
        return [("", line)]
    whole = sum(weight for weight in weights.values() if weight > 0)
    return [
        (
            resin,
            CostLine(line.entry, line.at, line.category, cents, line.what, line.basis, line.tank,
                     line.item, line.solvent, line.quantity * weights[resin] / whole, line.unit,
                     line.purpose),
        )
        for resin, cents in parts.items()
    ]  # fmt: skip


def resin_lines(lines: Iterable[CostLine], carry_in: CarryIn, resin: str) -> list[CostLine]:
    """The parts of lines that fall to a resin."""
    return [part for line in lines for key, part in _resin_parts(line, carry_in) if key == resin]


def pace(cents: int, washes: int, weighed: int, parts_g: float) -> Pace:
    """Costs by wash and by kilogram of parts.

    Parts are weighed at some washes only: their share of the washes stands for their share of
    the costs.
    """
    per_kg = None
    if weighed and parts_g > 0 and washes:
        per_kg = cents * (weighed / washes) / (parts_g / 1000)
    return Pace(washes, cents / washes if washes else None, weighed, parts_g / 1000, per_kg)
