"""How a tank is used: how often, with what loads, at what hours, how it is topped up and planned.

Only what was logged speaks here; `forecast` draws the days to come from it.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from app.domain.roomlog.kinds import (
    Entry,
    PlannedWash,
    Removal,
    Swap,
    SwapStarted,
    Tank,
    TopUp,
    Wash,
)

DAYS_KEPT = 150
LOADS_KEPT = 60
TOP_UPS_KEPT = 12
REMOVALS_KEPT = 12
PLANS_KEPT = 40
OPEN_PLANS_KEPT = 2000
HALF_LIFE_DAYS = 35.0
HOURS_HALF_LIFE_WASHES = 60.0
PLAN_GRACE = timedelta(days=1)
LONGEST_LEAD_DAYS = 3650.0


@dataclass(frozen=True, slots=True)
class PastLoad:
    """One logged wash: its day (proleptic ordinal in the room's zone) and its size as logged."""

    day: int
    resin: str
    area_cm2: float | None
    mass_g: float | None
    parts: int | None
    is_planned: bool

    def values(self) -> list[Any]:
        """Its fields in order, as JSON values."""
        return [self.day, self.resin, self.area_cm2, self.mass_g, self.parts, self.is_planned]


@dataclass(frozen=True, slots=True)
class PastVolume:
    """A top-up or a removal."""

    day: int
    volume_l: float
    to_mark: bool = False

    def values(self) -> list[Any]:
        """Its fields in order, as JSON values."""
        return [self.day, self.volume_l, self.to_mark]


@dataclass
class Habits:
    """What one tank's log says about its use.

    Attributes:
        zone: whose calendar days and hours are meant.
        first_day: day of the first entry seen, None before it.
        washes_on: number of washes by day, days without a wash left out.
        loads: the last washes, oldest first.
        hours: washes by hour of the day, older ones fading.
        top_ups, removals: the last ones, oldest first.
        open_plans: instant and lead of each plan neither washed nor past, by its key.
        leads_days: how long ahead the last washed plans were known.
        plans_kept, plans_missed: how the plans fared, older ones fading.
    """

    zone: tzinfo = UTC
    first_day: int | None = None
    washes_on: dict[int, int] = field(default_factory=dict)
    loads: list[PastLoad] = field(default_factory=list)
    hours: list[float] = field(default_factory=lambda: [0.0] * 24)
    top_ups: list[PastVolume] = field(default_factory=list)
    removals: list[PastVolume] = field(default_factory=list)
    open_plans: dict[str, tuple[datetime, float]] = field(default_factory=dict)
    leads_days: list[float] = field(default_factory=list)
    plans_kept: float = 0.0
    plans_missed: float = 0.0

    def day_of(self, at: datetime) -> int:
        """The calendar day of an instant in the room's zone, as a proleptic ordinal."""
        return at.astimezone(self.zone).toordinal()

    def observe(self, entry: Entry) -> None:
        """Take an entry of this tank in; entries come in order of truth."""
        if isinstance(entry, PlannedWash):
            self._observe_plan(entry)
        elif isinstance(entry, Wash):
            self._observe_wash(entry)
        elif isinstance(entry, TopUp):
            day = self._seen(entry.at)
            self.top_ups.append(PastVolume(day, entry.volume_l, bool(entry.to_mark)))
            del self.top_ups[:-TOP_UPS_KEPT]
        elif isinstance(entry, Removal) and entry.swap is None:  # what a swap took is no habit
            self.removals.append(PastVolume(self._seen(entry.at), entry.volume_l))
            del self.removals[:-REMOVALS_KEPT]
        elif isinstance(entry, Swap | SwapStarted | Tank):
            self._seen(entry.at)

    def shrink_last_load(self, factor: float) -> None:
        """The last wash was logged so many times too large."""
        load = self.loads[-1]
        self.loads[-1] = replace(
            load,
            area_cm2=load.area_cm2 and load.area_cm2 / factor,
            mass_g=load.mass_g and load.mass_g / factor,
            parts=load.parts and max(1, round(load.parts / factor)),
        )

    def washes_per_day(self, now: datetime) -> float:
        """Logged washes per calendar day, older days fading with a half-life of 35 days."""
        if self.first_day is None:
            return 0.0
        today = self.day_of(now)
        first = max(self.first_day, today - DAYS_KEPT)
        fade: float = 0.5 ** (1 / HALF_LIFE_DAYS)
        days = (1 - fade ** (today - first + 1)) / (1 - fade)
        return float(sum(n * fade ** (today - day) for day, n in self.washes_on.items())) / days

    def to_json(self) -> dict[str, Any]:
        """Everything but the zone, as JSON values."""
        plans = {key: [at.isoformat(), lead] for key, (at, lead) in self.open_plans.items()}
        return {
            "first_day": self.first_day,
            "washes_on": list(self.washes_on.items()),
            "loads": [load.values() for load in self.loads],
            "hours": self.hours,
            "top_ups": [item.values() for item in self.top_ups],
            "removals": [item.values() for item in self.removals],
            "open_plans": plans,
            "leads_days": self.leads_days,
            "plans_kept": self.plans_kept,
            "plans_missed": self.plans_missed,
        }

    @classmethod
    def from_json(cls, data: dict[str, Any], zone: tzinfo = UTC) -> "Habits":
        """What `to_json` gave, in the zone given."""
        plans = data["open_plans"].items()
        return cls(
            zone=zone,
            first_day=data["first_day"],
            washes_on=dict(data["washes_on"]),
            loads=[PastLoad(*values) for values in data["loads"]],
            hours=list(data["hours"]),
            top_ups=[PastVolume(*values) for values in data["top_ups"]],
            removals=[PastVolume(*values) for values in data["removals"]],
            open_plans={key: (datetime.fromisoformat(at), lead) for key, (at, lead) in plans},
            leads_days=list(data["leads_days"]),
            plans_kept=data["plans_kept"],
            plans_missed=data["plans_missed"],
        )

    def copy(self) -> "Habits":
        """A copy that goes its own way."""
        twin = Habits(**vars(self))
        for name, value in vars(self).items():
            if isinstance(value, list | dict):
                setattr(twin, name, value.copy())
        return twin

    def _seen(self, at: datetime) -> int:
        day = self.day_of(at)
        if self.first_day is None:
            self.first_day = day
        return day

    def _observe_wash(self, wash: Wash) -> None:
        local = wash.at.astimezone(self.zone)
        day = self._seen(wash.at)
        self.washes_on[day] = self.washes_on.get(day, 0) + 1
        self._forget_before(day - DAYS_KEPT)
        size = (wash.area_cm2, wash.mass_g, wash.parts)
        self.loads.append(PastLoad(day, wash.resin, *size, is_planned=bool(wash.plan)))
        del self.loads[:-LOADS_KEPT]
        fade = 0.5 ** (1 / HOURS_HALF_LIFE_WASHES)
        self.hours = [fade * count for count in self.hours]
        self.hours[local.hour] += 1
        self._settle_plans(wash)

    def _forget_before(self, day: int) -> None:
        while (oldest := next(iter(self.washes_on))) < day:
            del self.washes_on[oldest]

    def _observe_plan(self, plan: PlannedWash) -> None:
        lead = (plan.at - plan.known_at) / timedelta(days=1)
        if len(self.open_plans) < OPEN_PLANS_KEPT:
            key = plan.plan or f"at {plan.at.isoformat()}"
            self.open_plans[key] = (plan.at, min(lead, LONGEST_LEAD_DAYS))

    def _settle_plans(self, wash: Wash) -> None:
        """Count the plan that this wash keeps, and those that are past and were not kept."""
        if wash.plan:
            # A plan that was known before the tank itself is met here for the first time.
            _, lead_days = self.open_plans.pop(wash.plan, (wash.at, LONGEST_LEAD_DAYS))
            self._count_plans(1, 0)
            self.leads_days.append(lead_days)
            del self.leads_days[:-PLANS_KEPT]
        missed = [key for key, (at, _) in self.open_plans.items() if at < wash.at - PLAN_GRACE]
        for key in missed:
            del self.open_plans[key]
            self._count_plans(0, 1)

    def _count_plans(self, kept: float, missed: float) -> None:
        fade = 0.5 ** (1 / PLANS_KEPT)
        self.plans_kept = fade * self.plans_kept + kept
        self.plans_missed = fade * self.plans_missed + missed
