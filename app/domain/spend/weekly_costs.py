"""A week's costs in every view: by cause, tank, solvent and resin; each adds up to the cent.

Then against its budget, against the weeks before it with the drivers that make the difference, and
beside it what no cost shows: parts that came out bad, and solvent that was lost to problems.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from app.domain.roomlog.kinds import Entry, Reject, Removal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.spend.cost_lines import CATEGORIES, LABOUR, SOLVENT, CostLine, allotted, total
from app.domain.spend.costs import Fill

CarryIn = Mapping[str, Mapping[str, float]]
"""By tank, grams that each resin carried into it."""

OVER, UNDER, AHEAD, SO_FAR = "over", "under", "ahead", "so_far"
MOST_TANKS = 2
TACKY = "tacky"


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


@dataclass(frozen=True)
class Verdict:
    """What can be said of a week against its budget.

    Attributes:
        kind: `over` the week's budget; `under` it, only once the week is over; `ahead` of the
            budget to date; `so_far`: within the budget to date, which settles nothing yet.
        cents: by how much; for `so_far` what is left of the week's budget.
        to_date_cents: the budget in proportion to how much of the week is over.
    """

    kind: str
    cents: int
    budget_cents: int
    to_date_cents: int


def verdict(cents: int, budget_cents: int | None, share: float) -> Verdict | None:
    """The verdict on a week of which that share (0 to 1) is over; None without a budget."""
    if not budget_cents:
        return None
    to_date = round(budget_cents * min(max(share, 0.0), 1.0))
    if cents > budget_cents:
        return Verdict(OVER, cents - budget_cents, budget_cents, to_date)
    if share >= 1:
        return Verdict(UNDER, budget_cents - cents, budget_cents, to_date)
    if cents > to_date:
        return Verdict(AHEAD, cents - to_date, budget_cents, to_date)
    return Verdict(SO_FAR, budget_cents - cents, budget_cents, to_date)


@dataclass(frozen=True)
class Before:
    """What the weeks before cost together.

    Attributes:
        cents: by category and tank.
        swaps: in all of these weeks, a tank at most once a week.
    """

    weeks: int
    cents: Mapping[tuple[str, str], int]
    swaps: int

    @classmethod
    def of(cls, weeks: Sequence[Sequence[CostLine]]) -> "Before":
        """The sums of the lines of weeks."""
        cents: dict[tuple[str, str], int] = {}
        for line in (line for week in weeks for line in week):
            key = line.category, line.tank
            cents[key] = cents.get(key, 0) + line.cents
        return cls(len(weeks), cents, sum(len(swapped(week)) for week in weeks))


@dataclass(frozen=True)
class Driver:
    """A category's part of the difference.

    Attributes:
        cents, usual_cents, change_cents: this week's, the usual ones, and the first less the
            second.
        tanks: where most of the change comes from, each with its own change in cents; only such
            as have its sign, the largest first.
    """

    category: str
    cents: int
    usual_cents: int
    tanks: tuple[tuple[str, int], ...] = ()

    @property
    def change_cents(self) -> int:
        """Above zero where it cost more than usual."""
        return self.cents - self.usual_cents


@dataclass(frozen=True)
class Comparison:
    """A week against the mean of the weeks before it, or of the same part of them.

    Attributes:
        weeks: how many there are to compare with.
        drivers: every category that differs, the largest difference first; their changes add up
            to `change_cents`.
        swapped, usual_swaps: tanks whose swap the week paid labour or solvent for; how many a
            week usually has.
    """

    weeks: int
    cents: int
    usual_cents: int
    drivers: tuple[Driver, ...]
    swapped: tuple[str, ...]
    usual_swaps: float

    @property
    def change_cents(self) -> int:
        """Above zero where the week cost more than usual."""
        return self.cents - self.usual_cents

    def main(self, most: int = 2) -> tuple[Driver, ...]:
        """The largest drivers that go the way of the difference itself."""
        up = self.change_cents > 0
        along = [one for one in self.drivers if (one.change_cents > 0) == up]
        return tuple(along[:most]) if self.change_cents else ()


def compare(lines: Sequence[CostLine], before: Before) -> Comparison | None:
    """A week against those before it; None where there are none.

    The usual week is the mean, its parts rounded so that they add up (largest remainder).
    """
    if not before.weeks:
        return None
    sums: dict[str, int] = {}
    for (category, _), cents in before.cents.items():
        sums[category] = sums.get(category, 0) + cents
    usual_cents = round(sum(sums.values()) / before.weeks)
    means = {name: cents / before.weeks for name, cents in sums.items()}
    usual = dict.fromkeys(CATEGORIES, 0) | _rounded(usual_cents, means)
    drivers = [
        Driver(name, cents, usual[name], _tanks(name, lines, before, cents - usual[name]))
        for name in CATEGORIES
        if (cents := sum(line.cents for line in lines if line.category == name)) != usual[name]
    ]
    drivers.sort(key=lambda driver: -abs(driver.change_cents))
    return Comparison(
        before.weeks, total(tuple(lines)), usual_cents, tuple(drivers), swapped(lines),
        before.swaps / before.weeks,
    )  # fmt: skip


def swapped(lines: Sequence[CostLine]) -> tuple[str, ...]:
    """Tanks whose swap is among the costs, in the order of time."""
    return tuple(
        dict.fromkeys(
            line.tank
            for line in lines
            if line.tank and (line.purpose == "swap" or _is_swap_labour(line))
        )
    )


def _is_swap_labour(line: CostLine) -> bool:
    return line.category == LABOUR and line.what == "Swap"


def _rounded(whole: int, means: Mapping[str, float]) -> dict[str, int]:
    """Means as whole cents that add up to the whole; what was given back in the mean stays so."""
    floors = {name: int(mean // 1) for name, mean in means.items()}
    rest = {name: mean - floors[name] for name, mean in means.items()}
    more = allotted(whole - sum(floors.values()), rest)
    return {name: floors[name] + more.get(name, 0) for name in means}


def _tanks(
    category: str, lines: Sequence[CostLine], before: Before, change: int
) -> tuple[tuple[str, int], ...]:
    means = {
        tank: cents / before.weeks
        for (name, tank), cents in before.cents.items()
        if name == category
    }
    now: dict[str, int] = {}
    for line in lines:
        if line.category == category:
            now[line.tank] = now.get(line.tank, 0) + line.cents
    changes = {
        tank: round(now.get(tank, 0) - means.get(tank, 0.0)) for tank in {**now, **means} if tank
    }
    along = [
        (tank, cents) for tank, cents in changes.items() if cents and (cents > 0) == (change > 0)
    ]
    return tuple(sorted(along, key=lambda pair: (-abs(pair[1]), pair[0]))[:MOST_TANKS])


@dataclass(frozen=True)
class Rejects:
    """Rejected parts of a week; an entry without a number counts as one part.

    Attributes:
        entries: how many times parts were rejected.
        parts, tacky, washed_again, scrapped: parts in all, and by finding and outcome.
    """

    entries: int = 0
    parts: int = 0
    tacky: int = 0
    washed_again: int = 0
    scrapped: int = 0


@dataclass(frozen=True)
class Loss:
    """Solvent of a bath that a problem cost, at what it was charged with when it was filled.

    Attributes:
        cents: None where no price of it is known. It is in the costs of the fill already.
    """

    entry: str
    tank: str
    problem: str
    litres: float
    cents: int | None


@dataclass(frozen=True)
class Quality:
    """What a week's saving may have cost.

    Attributes:
        late: washes past the limit that their tank had then, of `washes`.
    """

    washes: int = 0
    late: int = 0
    rejects: Rejects = field(default_factory=Rejects)
    losses: tuple[Loss, ...] = ()


def rejects_of(entries: Iterable[Entry]) -> Rejects:
    """Rejected parts, counted."""
    found = [entry for entry in entries if isinstance(entry, Reject)]

    def parts(some: Iterable[Reject]) -> int:
        return sum(entry.parts or 1 for entry in some)

    return Rejects(
        len(found), parts(found), parts(one for one in found if one.finding == TACKY),
        parts(one for one in found if one.outcome == "washed_again"),
        parts(one for one in found if one.outcome == "scrapped"),
    )  # fmt: skip


def losses_of(
    problems: Iterable[Entry], baths: Sequence[Entry], fills: Sequence[Fill],
    lines: Mapping[str, Sequence[CostLine]],
) -> tuple[Loss, ...]:  # fmt: skip
    """What problems took out of baths, or spoiled in them; `lines` are each tank's costs.

    A spill counts what was taken out of the bath at its moment; where the log took nothing out, the
    litres that the report itself names. A wrong solvent spoils the bath:
    all that its last fill held. The shelf's losses are costs of their own (spoiled).
    """
    found = []
    for entry in problems:
        if not isinstance(entry, Incident) or not entry.tank:
            continue
        litres = _lost_l(entry, baths, fills)
        if litres:
            cents = _worth(entry, litres, lines.get(entry.tank, ()))
            found.append(Loss(entry.id, entry.tank, entry.problem, litres, cents))
    return tuple(found)


def _lost_l(entry: Incident, baths: Sequence[Entry], fills: Sequence[Fill]) -> float:
    if entry.problem == "wrong_solvent":
        held = [one for one in fills if one.tank == entry.tank and one.at < entry.at]
        swaps = [place for place, one in enumerate(held) if one.is_swap]
        return held[swaps[-1]].volume_l if swaps else 0.0
    taken_l = sum(
        one.volume_l
        for one in baths
        if isinstance(one, Removal)
        and one.tank == entry.tank
        and (one.at == entry.at or getattr(one, "incident", None) == entry.incident)
    )
    is_lost = entry.problem in ("spill", "leak")
    return taken_l or (entry.volume_l or 0.0 if is_lost else 0.0)


def _worth(entry: Incident, litres: float, lines: Sequence[CostLine]) -> int | None:
    """At what a litre of the last solvent that went into the bath cost."""
    priced = [
        line
        for line in lines
        if line.category == SOLVENT and line.unit == "L" and line.quantity and line.cents
        and line.at < entry.at
    ]  # fmt: skip
    if not priced:
        return None
    last = max(priced, key=lambda line: line.at)
    return round(last.cents / last.quantity * litres)
