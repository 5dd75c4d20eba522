"""What a swap needs, thing by thing: solvent, drum space, the month's waste, fire load, parts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from app.domain.planning.allotment import TINY, Allotment, Parcel, allot
from app.domain.planning.days import month_of, next_month
from app.domain.planning.needs import containers_for
from app.domain.planning.stock import Part, Stock, SwapAhead
from app.domain.site import SiteState
from app.domain.workdays import WorkCalendar

Subject = Literal["solvent", "drum", "month", "fire", "day", "people", "parts", "hold", "look"]
State = Literal["ready", "coming", "late", "short", "unknown"]
WORST: tuple[State, ...] = ("short", "late", "unknown", "coming", "ready")


@dataclass(frozen=True)
class Line:
    """One thing a swap needs.

    Attributes:
        key: which solvent, stream or item.
        needed, there, missing: litres, kilograms of the month or pieces.
        parcels: what it gets of what is there or comes.
        ready_on: when it is ready, where that is not now: a delivery, a new month.
        act_by_on: the last day on which to order or book what is missing.
        earliest_on: when it comes if it is asked for today.
        buy: pairs of container size and number, for solvent that is missing.
    """

    subject: Subject
    state: State
    key: str = ""
    needed: float = 0.0
    there: float = 0.0
    missing: float = 0.0
    parcels: tuple[Parcel, ...] = ()
    ready_on: date | None = None
    act_by_on: date | None = None
    earliest_on: date | None = None
    buy: tuple[tuple[float, int], ...] = ()
    text: str = ""


@dataclass(frozen=True)
class Queue:
    """The swaps in their order, each with the day by which all has to be there.

    The lines of a subject come in the same order, one for each swap.
    """

    swaps: Sequence[SwapAhead]
    by_on: Sequence[date | None]
    stock: Stock
    site: SiteState
    workdays: WorkCalendar
    today: date

    def solvent(self) -> list[Line]:
        """Fresh solvent, with the containers to buy of what is missing."""
        lines = self._shared(
            "solvent",
            [swap.solvent for swap in self.swaps],
            [swap.need.fresh_l for swap in self.swaps],
            {key: solvent.parcels for key, solvent in self.stock.solvents.items()},
            self.site.solvent_lead_days,
        )
        return [self._to_buy(line) for line in lines]

    def drums(self) -> list[Line]:
        """Room in the drums of the stream, under their fill limits: in one drum where one takes all
        of it, so that nobody has to change drums in the middle of a drain."""
        return self._shared(
            "drum",
            [swap.stream for swap in self.swaps],
            [swap.need.waste_l for swap in self.swaps],
            self.stock.drums,
            self.site.pickup_lead_days,
            [swap.drum for swap in self.swaps],
        )

    def months(self) -> list[Line]:
        """The month's waste against the limit that the site has entered."""
        limit_kg = self.stock.month_limit_kg
        used = dict(self.stock.month_kg)
        lines = []
        for swap, by_on in zip(self.swaps, self.by_on, strict=True):
            day = swap.day or by_on
            needed = swap.need.waste_kg if swap.counts else 0.0
            if limit_kg is None or day is None:
                lines.append(
                    Line("month", "unknown" if limit_kg is None else "ready", needed=needed)
                )
                continue
            month = month_of(day)
            there = max(0.0, limit_kg - used.get(month, 0.0))
            used[month] = used.get(month, 0.0) + needed
            lines.append(self._of_month(needed, there, day))
        return lines

    def fire(self, lines: Sequence[Line]) -> list[Line]:
        """Flammable litres on each swap's day: baths, fresh containers and waste together.

        `lines` are those of the solvent. The most stands there when the old bath is in its drum and
        the fresh solvent still in its containers; what is missing counts as bought by then.
        """
        limit_l, fire = self.site.flammable_limit_l, self.stock.fire
        found = [Line("fire", "unknown" if limit_l is None else "ready") for _ in self.swaps]
        if limit_l is None:
            return found
        dated = [
            (day, n)
            for n, swap in enumerate(self.swaps)
            if (day := swap.day or self.by_on[n]) and not swap.round
        ]
        used_l = poured_l = 0.0
        for day, place in sorted(dated):
            swap, line = self.swaps[place], lines[place]
            come_l = sum(litres for on, litres in fire.deliveries if on <= day)
            gone_l = sum(litres for on, litres in fire.pickups if on < day)
            waste_l = max(0.0, fire.waste_l + poured_l - gone_l)
            bought_l = sum(size * count for size, count in line.buy) or line.missing
            if swap.is_flammable:
                peak_l = fire.tanks_l + fire.fresh_l + come_l - used_l + bought_l + waste_l
                over_l = max(0.0, peak_l - limit_l)
                state: State = "short" if over_l > TINY else "ready"
                found[place] = Line(
                    "fire", state, needed=peak_l, there=limit_l, missing=over_l, ready_on=day
                )
                used_l += line.there
                poured_l += swap.need.waste_l
        return found

    def parts(self) -> list[list[Line]]:
        """What else a swap takes from the shelf: a line for each thing that is not there."""
        if self.stock.parts is None:
            return [[Line("parts", "unknown")] for _ in self.swaps]
        of_swap: list[list[Line]] = [[] for _ in self.swaps]
        for part in self.stock.parts:
            for place, line in enumerate(self._part(part)):
                if line.state != "ready":
                    of_swap[place].append(line)
        return [
            lines or [self._whole(swap)] for swap, lines in zip(self.swaps, of_swap, strict=True)
        ]

    def _whole(self, swap: SwapAhead) -> Line:
        """Everything that a swap takes from the shelf is there: by name."""
        taken = [part for part in self.stock.parts or () if part.needed(swap) > 0]
        names = ", ".join(part.name for part in taken)
        return Line("parts", "ready", there=float(len(taken)), text=names)

    def days(self) -> list[list[Line]]:
        """A day and time planned, a person, nothing that keeps the tank out of use, and the parts
        that wait for a look: one that could not be seen is not known to be fit."""
        found = []
        for swap, by_on in zip(self.swaps, self.by_on, strict=True):
            why = self.stock.holds.get(swap.tank)
            lines = [Line("hold", "short", swap.tank, text=why)] if why else []
            state: State = (
                "unknown" if swap.day is None else "short" if swap.is_crowded else "ready"
            )
            lines.append(Line("day", state, ready_on=swap.day))
            lines.append(self._people(swap.day or by_on or self.today))
            found.append(lines + self._looks(swap.tank))
        return found

    def _people(self, day: date) -> Line:
        """Who is here; where the room says who may do swaps, those who may on that day, by name."""
        count, may = self.stock.people, self.stock.swappers
        if may is None:
            found = ", ".join(self.stock.names)
            return Line(
                "people", "ready" if count else "unknown", there=float(count or 0), text=found
            )
        names = [name for name, until_on in may.items() if until_on >= day]
        state: State = "ready" if names else "short"
        return Line(
            "people", state, "swap", there=float(len(names)), ready_on=day, text=", ".join(names)
        )

    def _looks(self, tank: str) -> list[Line]:
        looks = self.stock.looks.get(tank)
        if looks is None:
            return []
        lines = []
        if looks.not_seen:
            lines.append(Line("look", "unknown", tank, text=", ".join(looks.not_seen)))
        if looks.watched:
            lines.append(Line("look", "ready", tank, text=", ".join(looks.watched)))
        return lines

    def _shared(
        self, subject: Subject, keys: Sequence[str], needed: Sequence[float],
        parcels: Mapping[str, Sequence[Parcel]], lead_days: int, chosen: Sequence[str] = (),
    ) -> list[Line]:  # fmt: skip
        lines: dict[int, Line] = {}
        for key in dict.fromkeys(keys):
            places = [place for place, one in enumerate(keys) if one == key]
            wanted = [(needed[place], self.by_on[place]) for place in places]
            picks = [chosen[place] for place in places] if chosen else []
            shared = allot(parcels.get(key, ()), wanted, picks, is_best_whole=bool(chosen))
            for place, got in zip(places, shared, strict=True):
                lines[place] = self._got(subject, key, needed[place], got, place, lead_days)
        return [lines[place] for place in range(len(self.swaps))]

    def _part(self, part: Part) -> list[Line]:
        needed = [part.needed(swap) for swap in self.swaps]
        wanted = list(zip(needed, self.by_on, strict=True))
        lead_days = self.site.solvent_lead_days
        return [
            replace(
                self._got("parts", part.key, needed[place], got, place, lead_days), text=part.name
            )
            for place, got in enumerate(allot(part.parcels, wanted))
        ]

    def _got(
        self, subject: Subject, key: str, needed: float, got: Allotment, place: int, lead_days: int
    ) -> Line:
        by_on, ready_on = self.by_on[place], got.ready_on
        state: State = "ready"
        if got.missing > 0:
            state = "short"
        elif ready_on is not None and ready_on > self.today:
            is_late = by_on is not None and ready_on > by_on
            state = (
                "late" if is_late or self._is_kept_waiting(subject, place, ready_on) else "coming"
            )
        line = Line(subject, state, key, needed, got.there, got.missing, got.parcels, ready_on)
        if state != "short":
            return line
        return replace(
            line,
            act_by_on=None if by_on is None else self.workdays.earlier(by_on, lead_days),
            earliest_on=self.workdays.later(self.today, lead_days),
        )

    def _is_kept_waiting(self, subject: Subject, place: int, ready_on: date) -> bool:
        """The swap was put behind its early day since this comes no sooner."""
        swap = self.swaps[place]
        is_behind = swap.early_on is not None and ready_on >= max(swap.early_on, self.today)
        return swap.waits_for == subject and is_behind

    def _to_buy(self, line: Line) -> Line:
        solvent = self.stock.solvents.get(line.key)
        if line.state != "short" or solvent is None:
            return line
        return replace(line, buy=containers_for(line.missing, solvent.sizes_l).counts)

    def _of_month(self, needed: float, there: float, day: date) -> Line:
        missing = max(0.0, needed - there)
        if missing <= TINY:
            return Line("month", "ready", needed=needed, there=there)
        new_month = self.workdays.on_or_after(next_month(day))
        return Line(
            "month", "short", needed=needed, there=there, missing=missing, ready_on=new_month
        )
