"""How well the what-if model repeats a room's own past, and how the room keeps its baths.

The books of some days are told in the parts that a what-if year is made of. Each line of the week's
pages is in one of them: what the model replays (solvent, disposal and labour of swaps, the goods
that swaps use up), or the rest, which comes again as it was. Lines of tanks that are out of use are
in none, and are named.

The ranges are widened by that record until they hold it: conformalized quantile regression (Romano,
Patterson and Candès 2019, from memory), with misses told in shares of the figure.
"""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from statistics import fmean, stdev
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.spend.cost_lines import (
    CONSUMABLES,
    DISPOSAL,
    LABOUR,
    OTHER,
    SOLVENT,
    SPOILED,
    CostLine,
    total,
)
from app.domain.spend.costs import POURED
from app.domain.spend.whatif.cases import (
    HIGH,
    LOW,
    YEAR_DAYS,
    Room,
    Spread,
    Yearly,
    arrays_of,
    crew_of,
    seconds_of,
    spread,
    vessels_of,
)
from app.domain.spend.whatif.cases import summed as summed_flows
from app.domain.spend.whatif.loads import WEEK, Load
from app.domain.spend.whatif.replay import Baths, Flows, replay, start_at

FEW_SWAPS = 3
GOODS, REST = "goods", "rest"
REST_WORDS: Mapping[str, str] = {
    CONSUMABLES: "consumables", LABOUR: "inspections", SPOILED: "spoiled or expired",
    DISPOSAL: "disposal outside its rates", SOLVENT: "solvent for no bath", OTHER: "other costs",
}  # fmt: skip

Array = NDArray[np.floating[Any]]
ROUNDS, ROUND_PATHS = 3, 4
LEAST_SHARE, MOST_SHARE = 0.3, 1.5
Z10 = 1.2815515655446004  # 90 % quantile of the normal distribution
LEAST_SD = 0.005
LEAST_TOLD = 1e-6  # of the books: below it the figure as told is no measure of its own misses


@dataclass(frozen=True)
class Books:
    """What the room's books say of some days; None where they say nothing.

    Attributes:
        swaps: those that were done at once, as of a pair whose clean bath moved up, are one.
        bath_l: fresh solvent poured into baths.
        solvent_cents: what solvent that was used in baths cost; cents: everything.
        waste_kg: poured into drums.
    """

    swaps: int
    bath_l: float
    waste_kg: float | None = None
    solvent_cents: float | None = None
    cents: float | None = None


@dataclass(frozen=True)
class Paid:
    """What was paid in the days looked at, by what the model tells.

    Attributes:
        cents_per_l: of solvent that was used in baths.
        rest_cents: what the model does not replay, by its word; `days` that it is of.
        left_out_cents: of tanks that are out of use.
    """

    cents_per_l: Mapping[str, float] = field(default_factory=dict)
    disposal_cents_per_kg: float = 0.0
    labour_cents_per_swap: float = 0.0
    goods_cents_per_swap: float = 0.0
    rest_cents: Mapping[str, int] = field(default_factory=dict)
    days: int = 1
    left_out_cents: int = 0

    @property
    def rest_cents_per_day(self) -> float:
        """What the model does not replay, as it was on average."""
        return sum(self.rest_cents.values()) / self.days

    def rest_in(self, days: int) -> dict[str, float]:
        """The same over so many days, by its word."""
        return {word: cents * days / self.days for word, cents in self.rest_cents.items()}


def part_of(line: CostLine, tanks: Collection[str]) -> str | None:
    """The part of a year that a line belongs to; None where its tank is out of use."""
    if line.tank and line.tank not in tanks:
        return None
    if line.category == SOLVENT and line.tank:
        return SOLVENT
    if line.category == DISPOSAL and line.tank and line.purpose == POURED:
        return DISPOSAL
    if line.category == LABOUR and line.what == "Swap" and line.tank:
        return LABOUR
    if line.category == CONSUMABLES and line.purpose == "swap":
        return GOODS
    return REST


def paid_of(
    lines: Iterable[CostLine], tanks: Collection[str], swaps: int, days: int
) -> Paid:  # fmt: skip
    """What was paid, from the lines of so many days with so many swaps."""
    parts: dict[str | None, list[CostLine]] = {}
    for line in lines:
        parts.setdefault(part_of(line, tanks), []).append(line)
    if swaps < FEW_SWAPS:  # too few to tell what one uses up
        parts.setdefault(REST, []).extend(parts.pop(GOODS, []))
    rest: dict[str, int] = {}
    for line in parts.get(REST, ()):
        word = REST_WORDS[line.category]
        rest[word] = rest.get(word, 0) + line.cents
    poured = parts.get(DISPOSAL, [])
    kg = sum(line.quantity for line in poured)
    return Paid(
        cents_per_l=_per_l(parts.get(SOLVENT, ())),
        disposal_cents_per_kg=total(poured) / kg if kg else 0.0,
        labour_cents_per_swap=total(parts.get(LABOUR, [])) / swaps if swaps else 0.0,
        goods_cents_per_swap=total(parts.get(GOODS, [])) / swaps if swaps else 0.0,
        rest_cents={word: cents for word, cents in rest.items() if cents}, days=days,
        left_out_cents=total(parts.get(None, [])),
    )  # fmt: skip


def _per_l(used: Sequence[CostLine]) -> dict[str, float]:
    """Cents of a litre of each solvent that was used."""
    litres: dict[str, float] = {}
    cents: dict[str, int] = {}
    for line in used:
        if line.unit == "L" and line.solvent:
            litres[line.solvent] = litres.get(line.solvent, 0.0) + line.quantity
            cents[line.solvent] = cents.get(line.solvent, 0) + line.cents
    return {key: cents[key] / some_l for key, some_l in litres.items() if some_l > 0}


@dataclass(frozen=True)
class Drained:
    """The saturations at which a bath was swapped, as shares of its limit then."""

    shares: tuple[float, ...] = ()


@dataclass(frozen=True)
class Stretch:
    """Some days of the past: from the first up to another, counted from the first looked at.

    Attributes:
        percent: saturation of each bath on its first day. books: what was booked in these days.
    """

    first: int
    until: int
    percent: Mapping[str, float]
    books: Books


@dataclass(frozen=True)
class Line:
    """A figure of the past: as booked, and as the model tells it from the same washes."""

    name: str
    booked: float
    told: Spread

    @property
    def is_within(self) -> bool:
        """Whether the books lie in the model's range of 80 %."""
        return self.told.low <= self.booked <= self.told.high

    @property
    def miss(self) -> float:
        """How far outside its range the books lie, as a share of the figure; 0 within it."""
        out = max(self.told.low - self.booked, self.booked - self.told.high, 0.0)
        return out / self.size if self.size else 0.0

    @property
    def size(self) -> float:
        """What a miss is a share of: the figure as told, or the books where it is next to none."""
        told, booked = abs(self.told.middle), abs(self.booked)
        return told if told >= LEAST_TOLD * booked else booked

    def widened(self, share: float) -> Spread:
        """The figure as told, its range widened by a share of it."""
        return self.told.widened(share, self.size)

    def is_held(self, share: float) -> bool:
        """Whether the books lie in the range widened by a share of the figure."""
        return self.miss <= share + 1e-12


@dataclass(frozen=True)
class Figure:
    """A figure of the past over stretches of days, and over all of them (`whole`).

    Attributes:
        pace: the whole at a year's pace beside the year to come; None where baths came meanwhile.
    """

    whole: Line
    stretches: tuple[Line, ...] = ()
    pace: Line | None = None

    @property
    def name(self) -> str:
        """The figure's word."""
        return self.whole.name

    @property
    def lines(self) -> tuple[Line, ...]:
        """Every time that the figure was told."""
        return (*self.stretches, self.whole, *([self.pace] if self.pace else []))

    @property
    def doubt(self) -> float:
        """By which share of the figure its range is widened: so that it holds the whole and its
        pace, and the stretches as often as it says, by the quantile that one more of them would
        lie in too."""
        misses = sorted(line.miss for line in self.stretches)
        place = math.ceil((len(misses) + 1) * (HIGH - LOW))
        of_stretches = misses[min(place, len(misses)) - 1] if misses else 0.0
        return max(of_stretches, self.whole.miss, self.pace.miss if self.pace else 0.0)

    @property
    def held(self) -> int:
        """How often the range held the books before it was widened."""
        return sum(line.is_within for line in self.lines)

    @property
    def held_widened(self) -> int:
        """How often it does, widened."""
        return sum(line.is_held(self.doubt) for line in self.lines)


def with_habits(
    room: Room, drained: Mapping[str, Drained], percent: Mapping[str, float],
    sd_percent: Mapping[str, float], rounds: int = ROUNDS,
) -> Room:  # fmt: skip
    """The room with the share of its limit from which on each bath is swapped.

    Told from the saturations at which the room did swap, so that the replayed past swaps there too;
    a bath with few swaps takes part in what the room does. With few in all, as the plan would: the
    day before the limit may be passed with one chance in ten.

    Args:
        percent: saturation of each bath on the first day. sd_percent: how sure the room is of it.
        rounds: of looking whether the replayed past swaps there; where they are few, from the
            shares that the room has.
    """
    seconds = set(seconds_of(room.baths).values())
    every = [share for tank, one in drained.items() if tank not in seconds for share in one.shares]
    seen = sum(len(one.shares) for one in drained.values())
    if len(every) < FEW_SWAPS:
        planned = [
            replace(b, early_share=max(0.5, 1 - Z10 * sd_percent.get(b.tank, 0) / b.limit_percent))
            for b in room.baths
        ]
        return replace(room, baths=planned, swaps_seen=min(seen, FEW_SWAPS - 1))
    wanted = {b.tank: _share(drained.get(b.tank, Drained()), every, b.tank in seconds)
              for b in room.baths}  # fmt: skip
    sd = _sd_of_mean(every)
    if rounds >= ROUNDS:
        baths = [replace(b, early_share=wanted[b.tank], early_sd=sd) for b in room.baths]
        room = replace(room, swaps_seen=seen, baths=baths)
    for _ in range(rounds):
        flows = past_flows(room, percent, room.past.some(ROUND_PATHS))
        swaps = flows.renewals.sum(axis=1)
        got = flows.drained_share.sum(axis=1) / np.maximum(swaps, 1)
        room = replace(room, baths=[
            b if not swaps[n] else replace(b, early_share=float(
                np.clip(b.early_share + wanted[b.tank] - got[n], LEAST_SHARE, MOST_SHARE)))
            for n, b in enumerate(room.baths)
        ])  # fmt: skip
    return room


def _share(own: Drained, every: Sequence[float], is_second: bool) -> float:
    if is_second or len(own.shares) >= FEW_SWAPS:
        return fmean(own.shares or every)
    return fmean((*own.shares, fmean(every)))


def _sd_of_mean(shares: Sequence[float]) -> float:
    return max(LEAST_SD, stdev(shares) / math.sqrt(len(shares)))


def with_carry(room: Room, percent: Mapping[str, float], seen_g: Mapping[str, float]) -> Room:
    """The room with what its parts bring into each clean bath, as its own record has it.

    The film that they carry of the dirty bath is the least; where more resin came into the clean
    one than that film holds, parts bring so many times as much, whatever the dirty bath's limit.

    Args:
        percent: saturation of each bath on the first day.
        seen_g: resin that came into each clean bath in the days looked at, by its own estimates.
    """
    cleans = set(seconds_of(room.baths).values())
    if not cleans:
        return room
    brought_g = past_flows(room, percent, room.past).brought_g
    carry = np.ones_like(room.past.evaporation_per_day)
    for row, bath in enumerate(room.baths):
        if bath.tank in cleans:
            carry[row] = np.maximum(
                1.0, seen_g.get(bath.tank, 0.0) / np.maximum(brought_g[row], 1e-9)
            )
            carry[row] = np.where(brought_g[row] > 0, carry[row], 1.0)
    return replace(room, past=replace(room.past, carry=carry))


def past_flows(
    room: Room, percent: Mapping[str, float], load: Load, first: int = 0, until: int | None = None
) -> Flows:
    """What went through the baths in the past, by the model: from the saturations of its first
    day, with the washes that were logged; in some of its days only, where these are given."""
    whole = load.days
    load = load.between(first, whole if until is None else until)
    vessels = vessels_of(room, {})
    since = np.array([[max(0, load.days - lived)] for lived in load.lived_days], dtype=np.int64)
    arrays = replace(arrays_of(room, vessels, load, {}), since_day=since)
    at_first = np.array([[percent.get(vessel.bath.tank, 0.0)] for vessel in vessels])
    start: Baths = start_at(arrays, np.repeat(at_first, load.paths, axis=1))
    start.age_days, start.washes = 0 * start.age_days, 0 * start.washes
    begin = room.today - timedelta(whole - first)
    return replay(arrays, load, start, begin, crew_of(room, vessels))


def repeated(room: Room, stretches: Sequence[Stretch], paid: Paid) -> tuple[Figure, ...]:
    """The books of the past beside what the model tells from the same washes.

    Args:
        stretches: the last one is all days looked at.
        paid: at which prices the flows are told; what the model does not replay as it was on
            average.
    """
    by_name: dict[str, list[Line]] = {}
    for stretch in stretches:
        for line in _told(room, stretch, paid):
            by_name.setdefault(line.name, []).append(line)
    return tuple(
        Figure(lines[-1], tuple(lines[:-1])) for lines in by_name.values()
        if len(lines) == len(stretches)
    )  # fmt: skip


def _told(room: Room, stretch: Stretch, paid: Paid) -> list[Line]:
    books = stretch.books
    flows = past_flows(room, stretch.percent, room.past, stretch.first, stretch.until)
    year = summed_flows(room, vessels_of(room, {}), flows, 0.0)
    solvent_cents = sum(
        (litres * paid.cents_per_l.get(key, 0.0) for key, litres in year.fresh_l.items()),
        np.zeros_like(year.swaps),
    )
    cents = solvent_cents + year.waste_kg * paid.disposal_cents_per_kg
    cents = cents + year.swaps * (paid.labour_cents_per_swap + paid.goods_cents_per_swap)
    cents = cents + paid.rest_cents_per_day * (stretch.until - stretch.first)
    found = [
        Line("swaps", books.swaps, spread(year.swaps)),
        Line("bath_l", books.bath_l, spread(year.bath_l)),
    ]
    if books.waste_kg is not None:
        found.append(Line("waste_kg", books.waste_kg, spread(year.waste_kg)))
    if books.solvent_cents is not None:
        found.append(Line("solvent_cents", books.solvent_cents, spread(solvent_cents)))
    if books.cents is not None:
        found.append(Line("cents", books.cents, spread(cents)))
    return found


def at_a_years_pace(
    room: Room, figures: Sequence[Figure], year: Yearly, cents: NDArray[np.float64]
) -> tuple[Figure, ...]:
    """The figures with their past at a year's pace beside the year as the room is kept.

    `cents` is what that year costs. Where a bath was not in use all the time the pace says nothing.
    """
    days = room.past.days
    if min(room.past.lived_days, default=0) < days - WEEK:
        return tuple(figures)
    told = {"swaps": year.swaps, "bath_l": year.bath_l, "waste_kg": year.waste_kg, "cents": cents}

    def pace(one: Figure) -> Line | None:
        if one.name not in told:
            return None
        return Line(one.name, one.whole.booked * YEAR_DAYS / days, spread(told[one.name]))

    return tuple(replace(one, pace=pace(one)) for one in figures)
