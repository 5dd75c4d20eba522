"""What the pages of waste say of drums, clocks and limits, in words and pictures."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from app.domain.calendar_words import day_words
from app.domain.waste.counters import Clock, check_due_on
from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import name_of
from app.domain.waste.pickups import PickupState, years_after
from app.domain.waste.rulebook import RuleBook
from app.domain.waste.streams import STREAMS, is_ignitable
from app.services.waste import Overview
from app.web.rooms.gauge import Gauge, gauge
from app.web.words import State

MATERIALS = [("", "Not known"), ("metal", "Metal"), ("plastic", "Plastic")]
AREAS = {"wash_station": "Wash station", "central": "Central area"}
CAUSES = {
    "central": "in the central area",
    "wipes": "excluded wipes",
    "excess": "above the volume at the wash stations",
    "on_site": "above the mass on site",
    "whole": "waste from a wash station",
}
FLAGS = {
    "poured_while_closed": "The log has a pour while it was closed.",
    "poured_while_quarantined": "The log has a pour while it was in quarantine.",
    "poured_after_shipping": "The log has a pour after it had left the site.",
    "over_fill_limit": "It was filled above its fill limit and has no room to expand.",
    "over_capacity": "By the log it holds more than it can.",
    "mixed": "By the log it holds two waste streams. Treat it as unknown until tested.",
    "shipped_in_quarantine": "It was shipped while in quarantine.",
}
FULL_FROM_PERCENT = 97.0  # of the fill limit: nothing useful fits any more
BAR_SPAN = 1.3  # the picture of a counter reaches so far past its limit


def local_day(at: datetime | None, zone: tzinfo) -> str:
    """The day of an instant in the room's time."""
    return "" if at is None else day_words(at.astimezone(zone).date())


def amount_state(value: float, limit: float | None, rules: RuleBook) -> State:
    """How a counter stands to its limit."""
    if limit is None:
        return "ok"
    if value > limit:
        return "over"
    warn_percent = rules.value("warn_percent")
    is_near = warn_percent is not None and value >= limit * warn_percent / 100
    return "soon" if is_near else "ok"


AMOUNT_TAGS = {"over": "Over the limit", "soon": "Near the limit", "ok": ""}


@dataclass(frozen=True)
class AmountBar:
    """A counter against its limit, all in percent of the picture's width.

    Attributes:
        added: what is to come on top; 0 for none.
    """

    now: float
    added: float
    limit: float | None


def amount_bar(value: float, added: float, limit: float | None) -> AmountBar:
    """The picture of a counter; without a limit the figures fill most of it."""
    span = max((limit or 0.0) * BAR_SPAN, (value + added) * 1.05, 1e-6)
    now = round(100 * value / span, 2)
    end = round(100 * (value + added) / span, 2)
    return AmountBar(now, round(end - now, 2), None if limit is None else round(100 * limit / span))


@dataclass(frozen=True)
class DrumView:
    """A drum as pages show it.

    Attributes:
        state, tag: what presses most.
        figure, unit, when: the days left of its clock, or what it waits for.
    """

    drum: DrumState
    name: str
    stream: str
    area: str
    gauge: Gauge
    state: State
    tag: str
    figure: str
    unit: str
    when: str
    spoken: str
    clock: Clock | None
    clock_words: str
    check_due_on: date | None
    check_is_due: bool
    pickup: PickupState | None
    flags: tuple[str, ...]


def drum_view(drum: DrumState, all_: Overview, zone: ZoneInfo, now: datetime) -> DrumView:
    """A drum among the others."""
    clock = all_.clock(drum, zone, now)
    due_on = check_due_on(drum, all_.rules, zone)
    is_due = due_on is not None and due_on <= now.astimezone(zone).date()
    pickup = all_.pickup_of(drum)
    state, tag = _state(drum, clock, all_.rules, is_due, pickup is not None)
    figure, unit, when = _days(drum, clock)
    return DrumView(
        drum=drum,
        name=name_of(drum),
        stream=STREAMS[drum.stream].name,
        area=AREAS[drum.area],
        gauge=drum_gauge(drum),
        state=state,
        tag=tag,
        figure=figure,
        unit=unit,
        when=when,
        spoken=f"{drum.of_limit_percent:.0f} % of its fill limit",
        clock=clock,
        clock_words=clock_words(clock),
        check_due_on=due_on,
        check_is_due=is_due,
        pickup=pickup,
        flags=tuple(FLAGS[flag] for flag in drum.flags if flag in FLAGS),
    )


PRESSING: tuple[State, ...] = ("stop", "over", "soon", "check")
"""States of a drum that need somebody, worst first."""


def presses(view: DrumView) -> tuple[int, int, date]:
    """The order of drums on a page: what needs somebody, and of the rest whose day is nearest."""
    worst = PRESSING.index(view.state) if view.state in PRESSING else len(PRESSING)
    if view.clock is None:
        return worst, 1, date.max
    return worst, 0, view.clock.last_on


def drum_gauge(drum: DrumState) -> Gauge:
    """The drum as a vessel: its line is the fill limit, the dashed one the brim."""
    level = drum.of_limit_percent
    brim = 100 * 100 / drum.fill_limit_percent
    return gauge(level, level, level, stop=brim)


def is_bulk(drum: DrumState, rules: RuleBook) -> bool:
    """It holds more than the rules call a non-bulk container."""
    most_l = rules.litres("container_volume")
    return most_l is not None and drum.capacity_l > most_l


def ignitable(stream: str, rules: RuleBook) -> str:
    """What a label says of a stream that flashes below the rule's bound and does not say so yet."""
    found = STREAMS[stream]
    says_so = any("ignitable" in hazard.lower() for hazard in found.hazards)
    below_c = rules.value("flash_c")
    if says_so or below_c is None or not is_ignitable(stream, below_c):
        return ""
    return f"Ignitable: flash point below {below_c:g} °C"


def keep_until(shipped_at: datetime | None, rules: RuleBook, zone: tzinfo) -> date | None:
    """Until when the papers of a pickup are kept; None where no rule says or it has not left."""
    years = rules.value("keep_years")
    if years is None or shipped_at is None:
        return None
    return years_after(shipped_at.astimezone(zone).date(), years)


def clock_words(clock: Clock | None) -> str:
    """A clock in words: since when, why, until when."""
    if clock is None:
        return ""
    return (
        f"{CAUSES[clock.cause]} since {day_words(clock.started_on)}, must be gone by "
        f"{day_words(clock.last_on)}"
    )


def _state(
    drum: DrumState, clock: Clock | None, rules: RuleBook, check_is_due: bool, is_booked: bool
) -> tuple[State, str]:
    """What presses most, and its word."""
    warn_days = rules.value("warn_days")
    is_late = clock is not None and clock.days_left < 0
    is_near = clock is not None and warn_days is not None and clock.days_left <= warn_days
    near = "Near its day" if is_booked else "Book its pickup"
    if clock is not None and clock.cause == "excess":
        near = "Move it on"
    tests: tuple[tuple[bool, State, str], ...] = (
        (drum.is_quarantined, "stop", "Quarantine"),
        (drum.is_shipped, "ok", "Left the site"),
        (is_late, "over", "Past its day"),
        (drum.of_limit_percent > 100, "over", "Over the fill limit"),
        (bool(drum.faults), "soon", "Fault at the check"),
        (drum.stream == "unknown" and not drum.is_empty, "check", "To be tested"),
        (is_near, "soon", near),
        (check_is_due, "soon", "Check is due"),
        (drum.is_closed, "ok", "Closed"),
        (drum.of_limit_percent >= FULL_FROM_PERCENT, "soon", "Full"),
    )
    return next(((state, word) for is_so, state, word in tests if is_so), ("ok", ""))


def _days(drum: DrumState, clock: Clock | None) -> tuple[str, str, str]:
    """Figure, unit and day below a drum."""
    if clock is None:
        if drum.is_empty:
            return "–", "", "empty"
        return "–", "", "no clock runs"
    left = clock.days_left
    unit = "day" if left == 1 else "days"
    if left < 0:
        return str(-left), "day" if left == -1 else "days", f"late since {day_words(clock.last_on)}"
    return str(left), unit, f"by {day_words(clock.last_on)}"
