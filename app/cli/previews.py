"""What an import would store, in words for the screen."""

import sys
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from app.services.importing.previews import (
    SHOWN_ERRORS,
    Preview,
    against_in_words,
    decided_in_words,
    holds_in_words,
    lifts_in_words,
    odd_in_words,
    tally,
)
from app.store.tables import RoomRow

SHOWN_CHANGES = 10


def preview_in_words(preview: Preview, room: RoomRow) -> str:
    """What an import would store, for people."""
    lines = [f"{count_of(preview.entries)} to store in the room “{room.name}”"]
    if preview.first_at and preview.last_at:
        zone = ZoneInfo(room.time_zone)
        first, last = (at.astimezone(zone) for at in (preview.first_at, preview.last_at))
        lines[0] += f", {first:%Y-%m-%d} to {last:%Y-%m-%d}"
    for title, counts in (("by kind", preview.kinds), ("by tank", preview.tanks)):
        if counts:
            lines.append(f"  {title}: " + ", ".join(f"{k} {n:,}" for k, n in counts.items()))
    for title, names in (
        ("new tanks", preview.new_tanks),
        ("new resins", preview.new_resins),
        ("kept but not used", preview.unknown_fields),
    ):
        if names:
            lines.append(f"  {title}: {', '.join(names)}")
    if preview.form is not None:
        lines.append("  columns: " + "; ".join(_columns(preview)))
    lines.append(f"  {tally(preview)}")
    lines += [f"  {text}" for text in changes_in_words(preview)]
    for say in (
        decided_in_words,
        lifts_in_words,
        against_in_words,
        odd_in_words,
        holds_in_words,
    ):
        if text := say(preview):
            lines.append(f"  {text}")
    if preview.is_guessed_encoding:
        lines.append("  the file is not Unicode; it was read as Western European (cp1252)")
    return "\n".join(lines)


def _columns(preview: Preview) -> Iterator[str]:
    assert preview.form is not None
    for column in preview.form.columns:
        more = f" in {column.unit}" if column.unit else ""
        if column.is_day_first is not None:
            more = " (day first)" if column.is_day_first else " (month first)"
        yield f"{column.title} = {column.field}{more}" if column.field else f"{column.title} kept"


def complain(preview: Preview) -> None:
    for error in preview.errors:
        sys.stderr.write(f"line {error.line}: {error.field}: {error.message}\n")
    if preview.bad_lines:
        more = "" if len(preview.errors) < SHOWN_ERRORS else f"; the first {SHOWN_ERRORS} are shown"
        sys.stderr.write(f"Lines that do not fit: {preview.bad_lines:,}{more}.\n")


def changes_in_words(preview: Preview) -> Iterator[str]:
    """What is corrected, line by line."""
    for change in preview.changes[:SHOWN_CHANGES]:
        found = [f"{name}: {old} becomes {new}" for name, old, new in change.values()]
        hand = f" (corrected here by {change.by_hand})" if change.by_hand else ""
        yield f"line {change.line}: {'; '.join(found)}{hand}"
    if (more := preview.changed - SHOWN_CHANGES) > 0:
        yield f"and {more:,} more"


def count_of(count: int) -> str:
    """So many entries, in words."""
    return "1 entry" if count == 1 else f"{count:,} entries"
