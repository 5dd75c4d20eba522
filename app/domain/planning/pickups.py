"""Waste pickups to book, as few as will do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from app.domain.calendar_words import day_words
from app.domain.planning.days import earlier, later, on_or_before
from app.domain.site import SiteState

TINY_L = 1e-6


@dataclass(frozen=True)
class Pouring:
    """What a swap of the schedule pours: its tank, its stream and how much."""

    day: date
    tank: str
    stream: str
    waste_l: float


@dataclass(frozen=True)
class Space:
    """Room in the drums of a stream.

    Attributes:
        free_l: under the fill limits now.
        emptied_l: in the same drums empty, which a pickup is taken to leave in their place.
        booked: days of pickups that are booked for drums of this stream.
    """

    free_l: float
    emptied_l: float
    booked: tuple[date, ...] = ()


@dataclass(frozen=True)
class Window:
    """A stream needs a pickup between two days: after its drums are full, before the next pour."""

    stream: str
    first: date
    last: date
    tanks: tuple[str, ...]
    missing_l: float


@dataclass(frozen=True)
class ProposedPickup:
    """A pickup to book.

    Attributes:
        day: when it should come, or can at the earliest.
        needed_on: the last day of the first of its windows.
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


def booking_doubts(pickup_on: date, today: date, site: SiteState) -> tuple[str, ...]:
    """What is odd about the day a pickup is booked for: sooner than the site's usual notice, or no
    working day. A contractor may come all the same, so it is asked, not refused."""
    days, earliest_on = site.pickup_lead_days, later(today, site.pickup_lead_days, site.weekdays)
    found = []
    if days and pickup_on < earliest_on:
        notice = f"{days} working {'day' if days == 1 else 'days'}"
        found.append(
            f"The contractor usually needs {notice}, so {day_words(earliest_on, today)} at the "
            f"earliest. Did they agree to come on {day_words(pickup_on, today)}?"
        )
    if not site.is_working(pickup_on):
        found.append(f"{day_words(pickup_on, today)} is no working day of this site. Is it right?")
    return tuple(found)


def windows(pourings: Sequence[Pouring], spaces: Mapping[str, Space], today: date) -> list[Window]:
    """When the streams need a pickup for the swaps of a schedule to fit into their drums."""
    found: list[Window] = []
    for stream in sorted({pouring.stream for pouring in pourings}):
        space = spaces.get(stream, Space(0.0, 0.0))
        free_l, last_day, booked = space.free_l, today, sorted(space.booked)
        for pouring in sorted((p for p in pourings if p.stream == stream), key=lambda p: p.day):
            while booked and booked[0] <= pouring.day:
                free_l, _ = max(free_l, space.emptied_l), booked.pop(0)
            if pouring.waste_l > free_l + TINY_L:
                missing_l = pouring.waste_l - free_l
                window = Window(
                    stream, min(last_day, pouring.day), pouring.day, (pouring.tank,), missing_l
                )
                found.append(window)
                free_l = max(space.emptied_l, pouring.waste_l)
            free_l -= pouring.waste_l
            last_day = pouring.day
    return found


def fewest_pickups(wanted: Sequence[Window], site: SiteState, today: date) -> list[ProposedPickup]:
    """The fewest pickups that fall into every window, each as late as it may be.

    Taking the windows by their last day, a pickup on that day serves all that have begun: no choice
    of days needs fewer (the stabbing of intervals). What cannot be served in time any more waits
    for the first pickup that can come.
    """
    weekdays, found = site.weekdays, []
    earliest_on = later(today, site.pickup_lead_days, weekdays)
    left = sorted(wanted, key=lambda w: (max(w.last, earliest_on), w.last, w.stream))
    while left:
        last = max(left[0].last, earliest_on)
        day = max(left[0].first, on_or_before(last, weekdays))
        served = tuple(w for w in left if w.first <= day <= max(w.last, earliest_on))
        left = [w for w in left if not w.first <= day <= max(w.last, earliest_on)]
        needed_on = min(w.last for w in served)
        book_by_on = earlier(max(needed_on, today), site.pickup_lead_days, weekdays)
        if needed_on >= day:
            book_by_on = earlier(day, site.pickup_lead_days, weekdays)
        found.append(ProposedPickup(day, needed_on, book_by_on, served))
    return found
