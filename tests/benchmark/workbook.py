"""What a workbook of very many entries takes, measured in a process of its own."""

import resource
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from app.domain.spend.cost_lines import SOLVENT, CostLine
from app.services.spend.reports import workbook


def peak_mb() -> float:
    """The most memory that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(rows: int) -> str:
    """Seconds, size, and how much more memory writing took than the entries themselves."""
    begun = datetime(2026, 1, 5, tzinfo=UTC)
    lines = [
        CostLine(f"e{number}", begun + timedelta(seconds=number), SOLVENT, 100 + number, "Top-up",
                 f"lot L{number % 50}", f"t{number % 60:02d}", "ipa", "isopropanol", 1.0, "L")
        for number in range(rows)
    ]  # fmt: skip
    groups = {"By tank": [(f"t{place:02d}", f"Tank {place}", 1) for place in range(60)]}
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "week.xlsx"
        workbook(path, "2026-W02", lines[:10], groups, ZoneInfo("Europe/Dublin"))
        before_mb, since = peak_mb(), time.perf_counter()
        workbook(path, "2026-W02", lines, groups, ZoneInfo("Europe/Dublin"))
        seconds, size_mb = time.perf_counter() - since, path.stat().st_size / 1e6
    return (
        f"workbook of {rows:,} entries: {seconds:.1f} s, {size_mb:.1f} MB; peak memory"
        f" {peak_mb():.0f} MB, {peak_mb() - before_mb:.0f} MB of it for writing"
    )


if __name__ == "__main__":
    print(measure(int(sys.argv[1])))
