"""Waste pickups to book, as few as will do, each before the first of the days that bind it.

Those are: the day a pour finds no room, the last lawful day of a drum less a margin, and the day
the site would hold more than it may. What a month may generate binds no pickup: a mass counts in
the month in which it was made, whenever it leaves (40 CFR 260.10, 262.13).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

from app.domain.calendar_words import day_words
from app.domain.workdays import WorkCalendar

TINY_L = 1e-6
TINY_KG = 1e-6
Cause = Literal["space", "clock", "on_site"]


@dataclass(frozen=True)
class Pouring:
    """What a swap of the schedule pours: its tank, its stream and how much.

    Attributes:
        waste_kg: what of it counts on the site.
    """

    day: date
    tank: str
    stream: str
    waste_l: float
    waste_kg: float = 0.0


@dataclass(frozen=True)
class Booked:
    """A pickup that is booked for some of the drums of a stream.

    Attributes:
        emptied_l: room in its drums once they are empty, which it is taken to leave in their place.
        free_l: room in them now.
        kg: what it takes of what counts on the site.
    """

    day: date
    emptied_l: float
    free_l: float = 0.0
    kg: float = 0.0


@dataclass(frozen=True)
class Space:
    """The drums of a stream.

    Attributes:
        free_l: room under the fill limits now.
        emptied_l: in the same drums empty, which a pickup is taken to leave in their place.
        booked: the pickups that are booked for drums of this stream.
        held_kg: what counts on the site of what they hold.
        leave_by: pairs of a drum that no pickup is booked for in time and the day it has to leave
            by: its last lawful day less the margin.
        clock_days: how long a drum may stay that is poured into from now on; None where no rule
            says.
    """

    free_l: float
    emptied_l: float
    booked: tuple[Booked, ...] = ()
    held_kg: float = 0.0
    leave_by: tuple[tuple[str, date], ...] = ()
    clock_days: int | None = None


@dataclass(frozen=True)
class Window:
    """A stream needs a pickup between two days.

    Attributes:
        first, last: after its drums are full and before the next pour, or before its last day.
        tanks: whose swaps wait for it.
        missing_l: room that is missing without it.
        cause: what binds it: `space`, the `clock` of a drum, the mass `on_site`.
        drum: of a clock, the drum's name.
    """

    stream: str
    first: date
    last: date
    tanks: tuple[str, ...]
    missing_l: float
    cause: Cause = "space"
    drum: str = ""


@dataclass(frozen=True)
class ProposedPickup:
    """A pickup to book.

    Attributes:
        day: when it should come, or can at the earliest.
        needed_on: the last working day of the first of its windows.
        book_by_on: the last day on which to book it so that it comes by then.
        windows: the streams it serves and why.
    """

    day: date
    needed_on: date
    book_by_on: date
    windows: tuple[Window, ...]

    @property
    def is_late(self) -> bool:
        """It cannot come in time any more."""
        return self.day > self.needed_on

    @property
    def tanks(self) -> tuple[str, ...]:
        """The tanks whose swaps wait for it."""
        return tuple(dict.fromkeys(tank for window in self.windows for tank in window.tanks))


def earliest_pickup(today: date, lead_days: int, workdays: WorkCalendar) -> date:
    """The first day on which a contractor who is asked today comes."""
    return workdays.later(today, lead_days)


def booking_doubts(
    pickup_on: date,
    today: date,
    lead_days: int,
    workdays: WorkCalendar,
    lawful: Mapping[str, date] | None = None,
) -> tuple[str, ...]:
    """What is odd about the day a pickup is booked for: sooner than the site's usual notice, no
    working day, after the last lawful day of a drum (`lawful`, by its name). A contractor may come
    all the same, so it is asked, not refused."""
    earliest_on = earliest_pickup(today, lead_days, workdays)
    found = []
    if lead_days and pickup_on < earliest_on:
        notice = f"{lead_days} working {'day' if lead_days == 1 else 'days'}"
        found.append(
            f"The contractor usually needs {notice}, so {day_words(earliest_on, today)} at the "
            f"earliest. Did they agree to come on {day_words(pickup_on, today)}?"
        )
    if why := workdays.why_not(pickup_on):
        found.append(
            f"{day_words(pickup_on, today)} is not a working day here ({why}). Is it right?"
        )
    for name, last_on in (lawful or {}).items():
        if pickup_on > last_on:
            found.append(
                f"{name} may stay until {day_words(last_on, today)}. This day is later. Book an "
                "earlier one, or agree with your contractor and authority what applies."
            )
    return tuple(found)


@dataclass(frozen=True)
class Bounds:
    """What binds pickups besides room in drums.

    Attributes:
        margin_days: working days by which a drum leaves before its last lawful day.
        on_site_limit_kg: what the site may hold; None where nothing limits it.
        last: the last day looked at; without it, clocks are looked at up to the last pour.
    """

    workdays: WorkCalendar = field(default_factory=WorkCalendar)
    margin_days: int = 0
    on_site_limit_kg: float | None = None
    last: date | None = None


@dataclass
class _Stream:
    """The drums of a stream as the schedule goes on."""

    key: str
    space: Space
    bounds: Bounds
    free_l: float
    kg: float
    last_day: date
    booked: list[Booked]
    leave_by: tuple[str, date] | None
    poured_l: float = 0.0
    found: list[Window] = field(default_factory=list)

    def fetch_booked(self, until: date) -> None:
        """Pickups that are booked come on their days, and take what they are booked for.

        What was poured in the meantime is in the drums that leave first, as far as they took it.
        """
        while self.booked and self.booked[0].day <= until:
            fetched = self.booked.pop(0)
            since_l = min(self.poured_l, fetched.free_l)
            self.poured_l -= since_l
            filled_l = fetched.emptied_l - fetched.free_l + since_l
            self.free_l = max(self.free_l, min(self.free_l + filled_l, self.space.emptied_l))
            self.kg = max(0.0, self.kg - fetched.kg)
            is_rest_empty = self.poured_l <= TINY_L
            if self.leave_by is not None and not self.leave_by[0] and is_rest_empty:
                self.leave_by = None

    def due(self, until: date) -> None:
        """The pickup that the clock of a drum asks for by a day."""
        if self.leave_by is not None and self.leave_by[1] < until:
            drum, last = self.leave_by
            first = min(self.last_day, last)
            window = Window(self.key, first, last, (), 0.0, "clock", drum)
            self._fetched(window)

    def pour(self, pouring: Pouring) -> None:
        """A pour of the schedule: first the pickup without which it has no room."""
        if pouring.waste_l > self.free_l + TINY_L:
            missing_l = pouring.waste_l - self.free_l
            self.fetch(pouring, missing_l, "space")
            self.free_l = max(self.space.emptied_l, pouring.waste_l)
        self.free_l -= pouring.waste_l
        self.poured_l += pouring.waste_l
        self.kg += pouring.waste_kg
        self.last_day = pouring.day
        if self.leave_by is None and self.space.clock_days is not None:
            last_on = pouring.day + timedelta(days=self.space.clock_days)
            self.leave_by = "", self.bounds.workdays.earlier(last_on, self.bounds.margin_days)

    def fetch(self, pouring: Pouring, missing_l: float, cause: Cause) -> None:
        """A pickup before a pour; the drum whose clock runs leaves with it."""
        first, tanks = min(self.last_day, pouring.day), (pouring.tank,) if pouring.tank else ()
        if self.leave_by is not None and self.leave_by[0]:
            drum, last = self.leave_by
            self.found.append(Window(self.key, first, last, (), 0.0, "clock", drum))
        self._fetched(Window(self.key, first, pouring.day, tanks, missing_l, cause))

    def _fetched(self, window: Window) -> None:
        self.found.append(window)
        self.free_l, self.kg, self.leave_by = self.space.emptied_l, 0.0, None
        self.poured_l = 0.0
        self.booked = [replace(one, free_l=one.emptied_l, kg=0.0) for one in self.booked]


def windows(
    pourings: Sequence[Pouring],
    spaces: Mapping[str, Space],
    today: date,
    bounds: Bounds | None = None,
) -> list[Window]:
    """When the streams need a pickup up to a day: for the swaps of a schedule to fit into their
    drums, for each drum to leave by its day, for the site to hold no more than it may."""
    bounds = bounds or Bounds()
    streams = {
        key: _Stream(
            key, space, bounds, space.free_l, space.held_kg, today,
            sorted(space.booked, key=lambda one: one.day),
            min(space.leave_by, key=lambda each: each[1], default=None),
        )
        for key in sorted({pouring.stream for pouring in pourings} | spaces.keys())
        for space in (spaces.get(key, Space(0.0, 0.0)),)
    }  # fmt: skip
    if bounds.last is not None and streams:
        _lighten(streams, Pouring(today, "", min(streams), 0.0), bounds)
    for pouring in sorted(pourings, key=lambda p: p.day):
        for stream in streams.values():
            stream.fetch_booked(pouring.day)
            stream.due(pouring.day)
        _lighten(streams, pouring, bounds)
        streams[pouring.stream].pour(pouring)
    for stream in streams.values():
        if bounds.last is not None:
            stream.fetch_booked(bounds.last)
            stream.due(bounds.last + timedelta(days=1))
    return [window for stream in streams.values() for window in stream.found]


def _lighten(streams: Mapping[str, _Stream], pouring: Pouring, bounds: Bounds) -> None:
    """The pickups without which a pour takes the site above what it may hold."""
    while bounds.on_site_limit_kg is not None:
        total_kg = sum(stream.kg for stream in streams.values()) + pouring.waste_kg
        heaviest = max(streams.values(), key=lambda stream: (stream.kg, stream.key))
        if total_kg <= bounds.on_site_limit_kg + TINY_KG or heaviest.kg <= TINY_KG:
            return
        heaviest.fetch(pouring, 0.0, "on_site")


def fewest_pickups(
    wanted: Sequence[Window], lead_days: int, workdays: WorkCalendar, today: date
) -> list[ProposedPickup]:
    """The fewest pickups that fall into every window, each as late as it may be.

    Taking the windows by their last working day, a pickup on that day serves all that have begun:
    no choice of days needs fewer (the stabbing of intervals). What cannot be served in time any
    more waits for the first pickup that can come.
    """
    found = []
    earliest_on = earliest_pickup(today, lead_days, workdays)
    worked = [_on_working_days(window, workdays) for window in wanted]
    left = sorted(worked, key=lambda w: (max(w.last, earliest_on), w.last, w.stream))
    while left:
        day = max(left[0].last, earliest_on)
        served = tuple(w for w in left if w.first <= day <= max(w.last, earliest_on))
        left = [w for w in left if not w.first <= day <= max(w.last, earliest_on)]
        needed_on = min(w.last for w in served)
        book_by_on = workdays.earlier(min(max(needed_on, today), day), lead_days)
        found.append(ProposedPickup(day, needed_on, book_by_on, served))
    return found


def _on_working_days(window: Window, workdays: WorkCalendar) -> Window:
    """The same window from a working day to a working day; one that has none ends before it."""
    last = workdays.on_or_before(window.last)
    return replace(window, first=min(workdays.on_or_before(window.first), last), last=last)
