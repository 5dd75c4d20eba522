"""What a monitor reads: counts and times in the text format of Prometheus, and no names."""

import hmac
from collections.abc import Iterator
from datetime import datetime
from ipaddress import ip_address

from fastapi import APIRouter, Request
from prometheus_client import CollectorRegistry
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    Metric,
)
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_1_0_0, generate_latest
from prometheus_client.registry import Collector
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.config import Settings
from app.incoming import NowDep, SessionDep
from app.store import backups
from app.store.instants import from_us
from app.store.observing import Observed, observed
from app.web.measuring import BOUNDS_S, Measured

router = APIRouter()
FORWARDED = (
    "forwarded",
    "via",
    "x-forwarded-for",
    "x-forwarded-host",
    "x-forwarded-proto",
    "x-real-ip",
)


@router.get("/metrics")
def metrics(request: Request, session: SessionDep, now: NowDep) -> Response:
    """All metrics, for a monitor that may read them."""
    state = request.app.state
    _require_monitor(request, state.settings)
    registry = CollectorRegistry()
    figures = observed(session)
    registry.register(_Kept(state.measured.copy(), state.notices.listening))
    registry.register(_Read(figures, _backup_age_s(state.settings, now), now))
    headers = {"Content-Type": CONTENT_TYPE_PLAIN_1_0_0, "Cache-Control": "no-store"}
    return Response(generate_latest(registry), headers=headers)


def _require_monitor(request: Request, settings: Settings) -> None:
    """Let through who sends the token; without one set, this machine while no other is served.

    Raises:
        HTTPException: nobody else hears that there is anything.
    """
    if settings.metrics_token:
        kind, _, sent = request.headers.get("authorization", "").partition(" ")
        known = settings.metrics_token.encode()
        if kind.lower() == "bearer" and hmac.compare_digest(sent.strip().encode(), known):
            return
        raise HTTPException(401, "Send the token of BATHKEEPER_METRICS_TOKEN.",
                            {"WWW-Authenticate": 'Bearer realm="metrics"'})  # fmt: skip
    is_passed_on = any(name in request.headers for name in FORWARDED)
    if settings.is_exposed or is_passed_on or not _is_this_machine(request):
        raise HTTPException(404)


def _is_this_machine(request: Request) -> bool:
    try:
        return ip_address(request.client.host if request.client else "").is_loopback
    except ValueError:
        return False


def _backup_age_s(settings: Settings, now: datetime) -> float | None:
    """Since the newest backup; None where there is none."""
    made = backups.backups(settings.backup_dir or settings.data_dir / "backups")
    return (now - backups.made_at(made[-1])).total_seconds() if made else None


class _Kept(Collector):
    """What this program has counted since its start."""

    def __init__(self, measured: Measured, listening: int) -> None:
        self._measured, self._listening = measured, listening

    def collect(self) -> Iterator[Metric]:
        """Requests, their times, writes, live pages."""
        requests = CounterMetricFamily(
            "bathkeeper_requests", "Requests answered.", labels=("method", "route", "status")
        )
        for (method, route, status), count in sorted(self._measured.requests.items()):
            requests.add_metric((method, route, str(status)), count)
        yield requests
        times = HistogramMetricFamily(
            "bathkeeper_request_seconds", "Time until an answer begins.", labels=("route",)
        )
        for route, taken in sorted(self._measured.times.items()):
            below, buckets = 0, []
            for bound, count in zip((*map(str, BOUNDS_S), "+Inf"), taken.counts, strict=True):
                below += count
                buckets.append((bound, below))
            times.add_metric((route,), buckets, taken.sum_s)
        yield times
        yield CounterMetricFamily(
            "bathkeeper_writes", "Writes committed that changed a room.", self._measured.writes
        )
        yield GaugeMetricFamily(
            "bathkeeper_live_pages", "Open pages that hear of changes.", self._listening
        )


class _Read(Collector):
    """What the database and the folder of backups say."""

    def __init__(self, figures: Observed, backup_age_s: float | None, now: datetime) -> None:
        self._figures, self._backup_age_s, self._now = figures, backup_age_s, now

    def collect(self) -> Iterator[Metric]:
        """Rooms, entries, what waits or is open, ages."""
        found = self._figures
        yield GaugeMetricFamily("bathkeeper_rooms", "Rooms in use.", found.rooms)
        yield CounterMetricFamily(
            "bathkeeper_entries", "Entries stored in the rooms in use.", found.entries
        )
        yield GaugeMetricFamily(
            "bathkeeper_waiting_entries", "Entries whose figures are yet to follow.", found.waiting
        )
        yield GaugeMetricFamily(
            "bathkeeper_due_forecasts", "Forecasts that are yet to follow an entry.", found.due
        )
        things = GaugeMetricFamily(
            "bathkeeper_open_things", "What is open in the books, by sort.", labels=("sort",)
        )
        for sort, count in sorted(found.open_things.items()):
            things.add_metric((sort,), count)
        yield things
        for name, about, at_us in (
            ("estimate", "Since the estimate of a tank, the oldest.", found.estimated_at_us),
            ("forecast", "Since the forecast of a tank, the oldest.", found.forecast_at_us),
            ("due_forecast", "Since a forecast is due, the longest.", found.due_since_us),
        ):
            if at_us is not None:
                age_s = (self._now - from_us(at_us)).total_seconds()
                yield GaugeMetricFamily(f"bathkeeper_oldest_{name}_age_seconds", about, age_s)
        if self._backup_age_s is not None:
            yield GaugeMetricFamily(
                "bathkeeper_backup_age_seconds", "Since the newest backup.", self._backup_age_s
            )
