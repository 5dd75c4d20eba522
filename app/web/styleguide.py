"""Every component of the pages in every state, with made-up figures, to look at and to test."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.domain.instruments import INSTRUMENTS
from app.domain.storage import DRUMS, Inventory, Stored
from app.domain.waste.weighing import STILL_MOVING, Weighed
from app.store.tables import RoomRow
from app.web.charts import (
    Bar,
    ErrorBar,
    Tick,
    TimeScale,
    ValueScale,
    area,
    bar,
    error_bar,
    line,
    lines,
    spark,
)
from app.web.forms import FormState
from app.web.render import page
from app.web.rooms.gauge import Gauge, gauge

router = APIRouter()
TEMPLATE = "styleguide.html"
MOST_TANKS = 60
NOW = datetime(2026, 3, 2, 6, 41, tzinfo=UTC)


@dataclass(frozen=True)
class Sample:
    """A tank as the board draws it."""

    name: str
    state: str
    tag: str
    days: tuple[str, str]
    when: str
    range: str
    last: str
    gauge: Gauge
    instead: str = ""
    place: int = 0


STATES = (
    Sample("Alder", "ok", "", ("4.1", "days"), "Fri 6 Mar", "Thu 5 Mar to Mon 9 Mar",
           "Wash 38 min ago", gauge(62, 56, 69, stop=120, tomorrow=71)),
    Sample("Birch", "soon", "Swap soon", ("1.1", "days"), "Tue 3 Mar", "Tue 3 Mar to Wed 4 Mar",
           "Wash 12 min ago", gauge(86, 80, 93, stop=120, tomorrow=98)),
    Sample("Cedar", "over", "Swap now", ("Now", ""), "since 02:20", "",
           "Reading 1 h ago", gauge(105, 101, 110, stop=116, tomorrow=112)),
    Sample("Dogwood", "stop", "Stop washing", ("Now", ""), "since Sun 1 Mar", "",
           "Wash 3 h ago", gauge(119, 114, 126, stop=115)),
    Sample("Elder", "measure", "Measure", ("?", ""), "no reading for 9 days", "",
           "Wash 9 days ago", gauge(41, 24, 63, stop=120)),
    Sample("Fir", "check", "Check", ("6.0", "days"), "Sun 8 Mar", "Thu 5 Mar to Thu 12 Mar",
           "Reading 2 h ago", gauge(71, 60, 83, stop=120, tomorrow=74)),
    Sample("Gorse", "swapping", "Swapping", ("Swap", ""), "since 06:12", "",
           "Swap started 29 min ago", gauge(0, 0, 0), "out of use"),
    Sample("Juniper", "held", "Held", ("4.1", "days"), "Fri 6 Mar", "Thu 5 Mar to Mon 9 Mar",
           "Tank held 5 min ago", gauge(62, 56, 69, stop=120, tomorrow=71)),
    Sample("Hazel", "ok", "", ("> 1", "year"), "beyond a year", "Thu 4 Jun or later",
           "Wash 2 days ago", gauge(24, 21, 28, stop=120, tomorrow=24)),
    Sample("Ivy", "unknown", "", ("?", ""), "not known yet", "after 3 washes",
           "Filled 20 min ago", gauge(2, 1, 4, stop=120)),
)  # fmt: skip

# Days from now, mass percent. The first fill ends with a swap nine days ago.
FILLS = (
    ((-14.0, 6.0), (-12.0, 7.4), (-10.5, 8.6), (-9.0, 9.7)),
    ((-9.0, 0.6), (-7.0, 2.1), (-4.0, 4.4), (-2.0, 6.3), (0.0, 7.5)),
)
FORECAST = ((0.0, 7.5, 0.55), (2.0, 8.9, 0.9), (4.0, 10.2, 1.4), (6.0, 11.2, 1.9))
READINGS = ((-12.0, 7.1, 0.8, False), (-6.0, 9.9, 0.5, True), (-4.0, 4.6, 0.5, False),
            (-1.0, 7.1, 0.4, False))  # fmt: skip
HALF_BAND = 0.55
RATES = (("0 to 2 %", 1.0, 0.4, 3.0), ("2 to 4 %", 1.2, 0.5, 3.0), ("4 to 6 %", 2.0, 0.8, 5.0),
         ("6 to 8 %", 9.0, 5.0, 15.0))  # fmt: skip


@dataclass(frozen=True)
class SampleTrend:
    """A made-up course, in the shape that the trend chart draws."""

    band: str
    estimate: str
    fan: str
    middle: str
    limit_y: float
    stop_y: float
    now_x: float
    value_ticks: Sequence[Tick]
    time_ticks: Sequence[Tick]
    marks: Sequence[ErrorBar]
    swaps: Sequence[float]
    top_ups: Sequence[float]
    rejects: Sequence[float]


def tanks(count: int) -> list[Sample]:
    """So many tanks, the states in turn."""
    return [replace(STATES[i % len(STATES)], place=i + 1) for i in range(count)]


def trend() -> SampleTrend:
    """Two fills, four readings of which one is set aside, and a forecast past the limit."""
    time = TimeScale(NOW - timedelta(days=14), NOW + timedelta(days=6))
    values = ValueScale(13.0)

    def x(days: float) -> float:
        return time.x(NOW + timedelta(days=days))

    def band(points: Sequence[tuple[float, float, float]]) -> str:
        upper = [(x(days), values.y(value + reach)) for days, value, reach in points]
        lower = [(x(days), values.y(value - reach)) for days, value, reach in points]
        return area(upper, lower)

    return SampleTrend(
        band="".join(band([(*point, HALF_BAND) for point in fill]) for fill in FILLS),
        estimate=lines([[(x(days), values.y(value)) for days, value in fill] for fill in FILLS]),
        fan=band(FORECAST),
        middle=line((x(days), values.y(value)) for days, value, _ in FORECAST),
        limit_y=values.y(10.0),
        stop_y=values.y(12.0),
        now_x=x(0),
        value_ticks=values.ticks(),
        time_ticks=time.ticks(UTC),
        marks=[
            error_bar(x(days), values, value, reach, f"{value} ± {reach} %", is_aside)
            for days, value, reach, is_aside in READINGS
        ],
        swaps=[x(-9)],
        top_ups=[x(-5)],
        rejects=[x(-10)],
    )


def bars() -> list[tuple[str, str, Bar | None]]:
    """Reject rates by band: its name, its words, its bar on a scale to 20 %."""
    known: list[tuple[str, str, Bar | None]] = [
        (name, f"{rate} %, likely {low} to {high} %", bar(rate, low, high, highest=20.0))
        for name, rate, low, high in RATES
    ]
    return [*known, ("8 to 10 %", "no wash yet", None)]


def form() -> FormState:
    """A form that was sent back, with a message and a doubt."""
    return FormState(
        {"density": "8.1", "temperature": "21.5", "method": "hydrometer"},
        {"density": "8.1 g/mL is denser than any bath. Did you mean 0.81?"},
        ("The reading is 4 % above the log. Take it again, or confirm it.",),
    )


@router.get("/styleguide")
def styleguide(request: Request, count: int = 6) -> Response:
    """The page; `count` sets how many vessels its board shows."""
    count = min(max(count, 0), MOST_TANKS)
    shown = tanks(count)
    context = {
        "count": count,
        "shown": shown,
        "states": tanks(len(STATES)),
        "form": form(),
        "methods": [(key, item.name) for key, item in INSTRUMENTS.items()],
        "trend": trend(),
        "bars": bars(),
        "sample_room": RoomRow(key="", name="", time_zone="UTC", created_at_us=0),
        "now": NOW,
        "zone": UTC,
        "scales": [
            Weighed("after", "drum", NOW, 42.6, 58.9, 20.8),
            Weighed("moving", "drum", NOW, 42.6, 58.9, problem=STILL_MOVING),
        ],
        "fire_areas": [
            Inventory((Stored(DRUMS, "Drums", litres, 2),), 620.0)
            for litres in (545.0, 605.0, 634.0)
        ],
        "spark_path": spark([1.0, 1.4, 2.2, 2.0, 3.1, 4.4, 4.2, 5.9, 7.5]),
    }
    return page(request, TEMPLATE, context)
