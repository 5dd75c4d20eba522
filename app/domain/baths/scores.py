"""How good past estimates and forecasts were, held against what the room then measured and saw.

Estimates are held against the next trusted reading of the same fill; forecasts against the instant
at which the estimate, with all that came later known, passed the limit.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import median

from app.domain.baths.backtest import Report
from app.domain.baths.estimator import RoomFilter
from app.domain.roomlog.history import effective
from app.domain.roomlog.kinds import Entry, Reading

OLDEST_REPORT = timedelta(days=2)
SD_OF_90_PERCENT = 3.2897  # width of a normal 90 % band in standard deviations
LEADS_DAYS = ((0, 3), (3, 7), (7, 14), (14, 28), (28, 365))


@dataclass(frozen=True)
class Miss:
    """A report against the reading after it: mass percent, and in standard deviations of both."""

    difference_percent: float
    in_sd: float


@dataclass(frozen=True)
class Hit:
    """A forecast against the passing that came.

    Attributes:
        lead_days: from the forecast to the passing.
        error_days: the middle forecast minus the passing; None where it lay beyond a year.
        is_inside: the passing lay between the early and the late day.
    """

    lead_days: float
    error_days: float | None
    is_inside: bool


@dataclass
class Scores:
    """What a replay showed."""

    misses: dict[str, list[Miss]] = field(default_factory=dict)
    hits: list[Hit] = field(default_factory=list)
    passings: int = 0


@dataclass
class _Fill:
    """What came of a fill: when it began, when its estimate passed the limit, when it ended."""

    from_at: datetime
    passed_at: datetime | None = None
    to_at: datetime | None = None


@dataclass(frozen=True)
class _Measured:
    at: datetime
    tank: str
    method: str
    percent: float
    sd_percent: float


def score(entries: Sequence[Entry], reports: Iterable[Report]) -> Scores:
    """Hold the reports of a replay against the log that they replayed."""
    by_tank: dict[str, list[Report]] = {}
    for report in reports:
        by_tank.setdefault(report.tank, []).append(report)
    measured, fills = _hindsight(entries)
    scores = Scores(passings=sum(f.passed_at is not None for t in fills.values() for f in t))
    for reading in measured:
        _score_reading(scores, reading, by_tank.get(reading.tank, []))
    for tank, reports_of in by_tank.items():
        scores.hits += _hits(reports_of, fills.get(tank, []))
    return scores


def in_words(scores: Scores) -> str:
    """The scores for people."""
    lines = ["Estimates against the next reading (reading minus estimate, mass %):"]
    for method, misses in sorted(scores.misses.items()):
        lines.append(_reading_line(method, misses))
    if not scores.misses:
        lines.append("  no reading had an estimate from the two days before it to compare with")
    lines.append(f"Forecasts of the passings of a first limit ({scores.passings}), by time to go:")
    for low, high in LEADS_DAYS:
        found = [hit for hit in scores.hits if low <= hit.lead_days < high]
        if found:
            lines.append(_forecast_line(low, high, found))
    if not scores.hits:
        lines.append(
            "  no limit was passed after a forecast, so there is nothing to judge them by yet"
        )
    return "\n".join(lines)


def _hindsight(entries: Sequence[Entry]) -> tuple[list[_Measured], dict[str, list[_Fill]]]:
    """The readings that count, and the fills, as all of the log tells them."""
    room = RoomFilter()
    measured: list[_Measured] = []
    fills: dict[str, list[_Fill]] = {}
    for entry in effective(entries):
        effect = room.apply(entry)
        if effect is None:
            continue
        of_tank = fills.setdefault(effect.tank, [])
        while len(of_tank) <= effect.fill:
            if of_tank:
                of_tank[-1].to_at = entry.at
            of_tank.append(_Fill(entry.at))
        belief, fill = effect.belief, of_tank[-1]
        if fill.passed_at is None and belief.mean_percent >= belief.limit_percent:
            fill.passed_at = entry.at
        found = effect.measured
        if isinstance(entry, Reading) and found is not None and not effect.is_set_aside:
            reading = (found.mass_percent, found.sd_percent)
            measured.append(_Measured(entry.at, entry.tank, entry.method, *reading))
    return measured, fills


def _score_reading(scores: Scores, reading: _Measured, reports: Sequence[Report]) -> None:
    place = bisect_right(reports, reading.at - timedelta(microseconds=1), key=lambda r: r.at)
    if place == 0 or reading.at - reports[place - 1].at > OLDEST_REPORT:
        return
    before = reports[place - 1]
    band_sd = (before.p95_percent - before.p05_percent) / SD_OF_90_PERCENT
    difference = reading.percent - before.mean_percent
    in_sd = difference / max(1e-6, math.hypot(band_sd, reading.sd_percent))
    scores.misses.setdefault(reading.method, []).append(Miss(difference, in_sd))


def _hits(reports: Sequence[Report], fills: Sequence[_Fill]) -> list[Hit]:
    return [
        _hit(report, fill.passed_at)
        for fill in fills
        if fill.passed_at is not None
        for report in reports
        if fill.from_at < report.at < fill.passed_at and not _is_passed(report)
    ]


def _is_passed(report: Report) -> bool:
    return report.mean_percent >= report.limit_percent


def _hit(report: Report, passed_at: datetime) -> Hit:
    crossing = report.crossing
    lead_days = (passed_at - report.at) / timedelta(days=1)
    error = None if crossing.p50_at is None else (crossing.p50_at - passed_at) / timedelta(days=1)
    is_late = crossing.p90_at is not None and crossing.p90_at < passed_at
    is_early = crossing.p10_at is None or crossing.p10_at > passed_at
    return Hit(lead_days, error, not is_late and not is_early)


def _reading_line(method: str, misses: Sequence[Miss]) -> str:
    size = math.sqrt(sum(miss.difference_percent**2 for miss in misses) / len(misses))
    middle = median(miss.difference_percent for miss in misses)
    inside = sum(abs(miss.in_sd) <= SD_OF_90_PERCENT / 2 for miss in misses) / len(misses)
    return (
        f"  {method:14} {len(misses):5} readings: middle {middle:+.2f}, "
        f"root mean square {size:.2f}, {100 * inside:.0f} % within the 90 % band of estimate "
        "and reading"
    )


def _forecast_line(low: int, high: int, hits: Sequence[Hit]) -> str:
    errors = [abs(hit.error_days) for hit in hits if hit.error_days is not None]
    middle = f"{median(errors):.1f} days" if errors else "beyond a year"
    inside = sum(hit.is_inside for hit in hits) / len(hits)
    return (
        f"  {low:2} to {high:3} days: {len(hits):5} forecasts, half of them off by "
        f"{middle} or less, {100 * inside:.0f} % between the early and the late day "
        "(80 % would be right)"
    )
