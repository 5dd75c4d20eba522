"""The command that holds the past's estimates and forecasts against what came."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from app.cli.progress import ProgressBar
from app.domain.baths.backtest import Report, gaps, to_json
from app.domain.baths.backtest import backtest as replay
from app.domain.baths.scores import in_words, score
from app.domain.errors import DomainError, FieldError, FieldErrors
from app.domain.json_text import read_json
from app.domain.roomlog.checks import RoomContext, misfits
from app.domain.roomlog.fields import check_moment
from app.domain.roomlog.kinds import Entry, Resin, Tank
from app.domain.roomlog.lines import parse_line
from app.services.importing.textfiles import examine, lines

MOST_SHOWN = 20
NO_LOG = (
    "This is not a room log, which is JSON Lines: no line of it is a JSON object. Import a table "
    "(CSV) into a room first (python3 -m app import), then export that room and replay what comes "
    "out."
)
NOTHING = "Nothing to report: no tank was read, swapped or in use at a midnight or a time of --at."


def backtest(words: argparse.Namespace) -> int:
    """Replay a log and print what would have been said: lines of JSON, or a summary."""
    zone = _zone(words.zone)
    at = None if words.at is None else _instants(words.at)
    entries, errors = _sound_entries(words.log)
    for line, error in errors[:MOST_SHOWN]:
        sys.stderr.write(f"line {line}: {error.field}: {error.message}\n")
    if errors:
        count = len({line for line, _ in errors})
        outcome = "left out" if words.skip_bad else "--skip-bad leaves them out"
        sys.stderr.write(f"Lines that do not fit: {count}; {outcome}.\n")
        if not words.skip_bad:
            return 1
    if at is None:
        _tell_gaps(entries, zone)
    reports = _with_progress(replay(entries, at, zone), entries)
    if words.summary:
        sys.stdout.write(in_words(score(entries, reports)) + "\n")
        return 0
    count = 0
    for report in reports:
        sys.stdout.write(json.dumps(to_json(report)) + "\n")
        sys.stdout.flush()
        count += 1
    if count == 0:
        sys.stderr.write(NOTHING + "\n")
    return 0


def _tell_gaps(entries: list[Entry], zone: tzinfo) -> None:
    found = sorted(gaps(entries, zone), key=lambda gap: -gap.midnights)
    for gap in found[:MOST_SHOWN]:
        days = (one.astimezone(zone).date().isoformat() for one in (gap.from_at, gap.to_at))
        sys.stderr.write(
            f"No entry between {' and '.join(days)}: {gap.midnights:,} midnights left out.\n"
        )
    if len(found) > MOST_SHOWN:
        rest = sum(gap.midnights for gap in found[MOST_SHOWN:])
        sys.stderr.write(f"Shorter gaps: {len(found) - MOST_SHOWN}, {rest:,} midnights.\n")


def _zone(name: str) -> tzinfo:
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError):
        raise FieldError("zone", f"The time zone “{name}” is not known.") from None


def _instants(path: Path) -> list[datetime]:
    try:
        found = read_json(path.read_text(encoding="utf-8-sig"))
    except ValueError:
        raise DomainError(f"{path} is not JSON.") from None
    if not isinstance(found, list):
        raise DomainError(f"{path} must be a list of times.")
    return [check_moment(f"time {number}", item) for number, item in enumerate(found, 1)]


def _sound_entries(path: Path) -> tuple[list[Entry], list[tuple[int, FieldError]]]:
    """The entries of a log that can be replayed, and what is wrong with the other lines.

    A resin that no line describes is no error: the program takes an ordinary one for it.
    """
    parsed, errors = _parsed(path)
    room = RoomContext()
    for entry in parsed.values():
        if isinstance(entry, Resin) or (isinstance(entry, Tank) and not misfits(entry, room, None)):
            room.learn(entry)
    sound: list[Entry] = []
    seen: dict[str, tuple[int, Entry]] = {}
    for number, entry in parsed.items():
        found = [e for e in misfits(entry, room, None) if e.field != "resin"]
        first, twin = seen.setdefault(entry.id, (number, entry)) if entry.id else (number, entry)
        if first != number and twin != entry:
            message = f"Line {first} already has the id “{entry.id}”, with different values."
            found.append(FieldError("id", message))
        errors += [(number, error) for error in found]
        if not found and first == number:
            sound.append(entry)
    return sound, sorted(errors, key=lambda error: error[0])


def _parsed(path: Path) -> tuple[dict[int, Entry], list[tuple[int, FieldError]]]:
    """The entries of a log by their lines, and what is wrong with the other lines.

    Raises:
        DomainError: it is no room log at all, such as a table.
    """
    parsed: dict[int, Entry] = {}
    errors: list[tuple[int, FieldError]] = []
    is_log = False
    for number, text in lines(examine(path)):
        is_log = is_log or text is None or text.lstrip().startswith("{")
        if text is None:
            errors.append((number, FieldError("line", "The line is too long for an entry.")))
        elif text.strip():
            try:
                parsed[number] = parse_line(text)
            except FieldErrors as error:
                errors += [(number, one) for one in error.errors]
    if not is_log:
        raise DomainError(NO_LOG)
    return parsed, errors


def _with_progress(reports: Iterable[Report], entries: list[Entry]) -> Iterator[Report]:
    progress = ProgressBar()
    times = [entry.known_at.timestamp() for entry in entries if entry.known_at.year > 1]
    first, last = min(times, default=0.0), max(times, default=0.0)
    for report in reports:
        done = (report.at.timestamp() - first) / max(1.0, last - first)
        progress("Replaying", round(1000 * min(1.0, done)), 1000)
        yield report
    progress.close()
