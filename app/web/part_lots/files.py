"""Records and recalls as comma-separated values, each time in UTC; formulas are guarded."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import Any

from starlette.responses import Response

from app.domain.part_lots.recall import RecalledLot
from app.domain.part_lots.record import LotRecord, Step
from app.domain.roomlog.cells import guarded

RECORD = (
    "lot", "step", "at", "by", "entry", "resin", "resin_lot", "build", "job", "tank", "fill",
    "percent", "limit_percent", "after_percent", "low_percent", "high_percent", "held", "station",
    "minutes", "dried_minutes", "dry_asked_minutes", "dose", "least", "asked", "lamp_since_at",
    "lamp", "meter", "reading", "set_aside", "overdue", "parts", "finding", "outcome", "is_release",
    "lead", "accepted", "reason",
)  # fmt: skip
"""Columns of a record; doses in mJ/cm2."""
RECALL = (
    "lot", "reason", "at", "tank", "fill", "station", "percent", "limit_percent", "since_at", "why",
    "entry", "standing", "decided_at", "decided_by",
)  # fmt: skip


def record_file(record: LotRecord, name: str) -> Response:
    """The chain of a lot, a line each step."""
    steps: list[Step] = [*record.steps]
    if record.decision is not None:
        steps.append(record.decision)
    lines = ({"lot": record.lot, "step": STEPS[type(one).__name__], **asdict(one)} for one in steps)
    return _file(RECORD, lines, name)


STEPS = {
    "ResinStep": "part lot", "WashStep": "wash", "CureStep": "cure", "RejectStep": "rejected parts",
    "Decision": "decision",
}  # fmt: skip


def recall_file(lots: Iterable[RecalledLot], name: str) -> Response:
    """The lots of a recall, a line each touch."""
    return _file(RECALL, _touches(lots), name)


def _touches(lots: Iterable[RecalledLot]) -> Iterator[Mapping[str, Any]]:
    for lot in lots:
        shared = {
            "standing": lot.standing, "decided_at": lot.decided_at, "decided_by": lot.decided_by,
        }  # fmt: skip
        for touch in lot.touches:
            yield {**vars(touch), **shared}


def _file(titles: tuple[str, ...], lines: Iterable[Mapping[str, Any]], name: str) -> Response:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(titles)
    for line in lines:
        writer.writerow([_cell(line.get(title)) for title in titles])
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, tuple):
        return guarded("; ".join(value))
    return guarded(value.isoformat() if hasattr(value, "isoformat") else str(value))
