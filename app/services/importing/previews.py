"""What an import would store, as it is shown before it is."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.plausible import unlikely
from app.domain.plausible.words import purity_words
from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.roomlog.table import TableForm
from app.domain.solvents import SOLVENTS
from app.domain.solvents.purity import in_mass_percent
from app.services.figures import known_alone
from app.services.importing.matching import Change, Matched
from app.services.importing.textfiles import TextFile
from app.store.tables import RoomRow, TankRow

SHOWN_ERRORS = 100
SHOWN_NAMES = 30
MOST_LOOKED_AT, SHOWN_ODD = 100_000, 50
"""Lines of a file whose figures are looked at, and how many odd ones are shown."""


@dataclass(frozen=True)
class LineError:
    """What is wrong with one line of the file."""

    line: int
    field: str
    message: str


@dataclass(frozen=True)
class Preview:
    """What an import would store.

    Attributes:
        kinds, tanks: number of entries by kind and by tank.
        new_tanks, new_resins: keys that the room does not know yet.
        first_at, last_at: the span of time; None where nothing is left to store.
        new, changed: entries to store; a changed one corrects what an earlier import brought.
        unchanged: lines that the room has already, as they are.
        gone: entries that came with the file before and are no longer in it; they stay.
        skipped: unchanged ones, and those that an earlier line of the file says already.
        changes: the first of the changes, what was and what will be.
        unknown_fields: names of fields that are kept but mean nothing here.
        errors: the first of the errors, `bad_lines` counts the lines that have any.
        lifts: what is held now and would be lifted, line by line; such lines do not fit.
        against: what lines tell of, and what now stands forbids; they are stored, and marked.
        decided: lines that say what only a lead decides: a lead brings them in.
        odd: the first of the figures that are unlikely (`odd_figures`).
        holds: what its reports of open problems hold, since nothing in it says otherwise.
        form: how a table was read; None for JSON Lines.
        is_guessed_encoding: the file was no Unicode; look at its special letters.
    """

    entries: int
    kinds: Mapping[str, int]
    tanks: Mapping[str, int]
    new_tanks: tuple[str, ...]
    new_resins: tuple[str, ...]
    first_at: datetime | None
    last_at: datetime | None
    new: int
    changed: int
    unchanged: int
    gone: int
    skipped: int
    changes: tuple[Change, ...]
    unknown_fields: tuple[str, ...]
    errors: tuple[LineError, ...]
    bad_lines: int
    lifts: tuple[str, ...]
    against: tuple[str, ...]
    decided: tuple[str, ...]
    holds: tuple[str, ...]
    odd: tuple[LineError, ...]
    form: TableForm | None
    is_guessed_encoding: bool


def tally(preview: Preview) -> str:
    """How many lines of each sort, in words."""
    found = (
        f"{preview.new:,} new, {preview.changed:,} changed, {preview.unchanged:,} unchanged, "
        f"{preview.gone:,} gone from the sheet"
    )
    return f"{found} (left as they are)" if preview.gone else found


def lifts_in_words(preview: Preview) -> str:
    """What is said first of a file that would lift holds; empty where it lifts none."""
    count = len(preview.lifts)
    if not count:
        return ""
    named = "; ".join(dict.fromkeys(preview.lifts[:SHOWN_NAMES]))
    lines, holds = ("1 line", "a hold") if count == 1 else (f"{count:,} lines", "holds")
    return (
        f"In this file {lines} would lift {holds}: {named}. A file cannot do that. A lead releases "
        "on the page of what is held."
    )


def against_in_words(preview: Preview) -> str:
    """What is said of a file that tells of acts which are forbidden now; empty without any."""
    count = len(preview.against)
    if not count:
        return ""
    named = " ".join(dict.fromkeys(preview.against[:SHOWN_NAMES]))
    acts = "1 line is" if count == 1 else f"{count:,} lines are"
    return (
        f"In this file {acts} about acts that this room forbids now. {named} They are stored and "
        "marked in the log. What is held stays held."
    )


def decided_in_words(preview: Preview) -> str:
    """What is said of a file that decides what only a lead decides; empty where it does not."""
    count = len(preview.decided)
    if not count:
        return ""
    named = "; ".join(preview.decided[:SHOWN_NAMES])
    lines = "1 line says" if count == 1 else f"{count:,} lines say"
    return f"In this file {lines} what only a lead decides: {named}. A lead or manager stores it."


def odd_in_words(preview: Preview) -> str:
    """What is said of figures that are unlikely; empty where none is."""
    if not preview.odd:
        return ""
    said = " ".join(f"Line {one.line}: {one.message}" for one in preview.odd)
    return f"Check these figures before you store the file. {said}"


def holds_in_words(preview: Preview) -> str:
    """What a file puts on hold as it is stored: by its open problems, or by what it moves out of a
    drum in quarantine. Empty where it holds nothing."""
    if not preview.holds:
        return ""
    named = "; ".join(dict.fromkeys(preview.holds[:SHOWN_NAMES]))
    return f"This file tells of problems that are still open. Storing it puts on hold: {named}."


def _held_words(entry: Any) -> str:
    what = next(name for name in ("tank", "station", "drum") if hasattr(entry, name))
    return f"{what} {getattr(entry, what)}, {entry.reason.rstrip('.').lower()}"


@dataclass
class Draft:
    """What was found so far, by line."""

    entries: dict[int, Entry] = field(default_factory=dict)
    matched: Matched = field(default_factory=Matched)
    errors: list[LineError] = field(default_factory=list)
    bad: set[int] = field(default_factory=set)
    doubles: int = 0
    lifts: list[str] = field(default_factory=list)
    against: list[str] = field(default_factory=list)
    decided: list[str] = field(default_factory=list)
    holds: dict[int, list[Entry]] = field(default_factory=dict)
    odd: tuple[LineError, ...] = ()

    def reject(self, line: int, errors: Sequence[FieldError]) -> None:
        """Leave a line out, and say why."""
        self.bad.add(line)
        self.entries.pop(line, None)
        for error in errors:
            if len(self.errors) < SHOWN_ERRORS:
                self.errors.append(LineError(line, error.field, error.message))


def preview_of(
    draft: Draft,
    entries: Sequence[Entry],
    form: TableForm | None,
    file: TextFile,
    new_tanks: tuple[str, ...],
    new_resins: tuple[str, ...],
) -> Preview:
    """What is shown of a file."""
    matched = draft.matched
    changes = tuple(change for change in matched.changes if change.line in draft.entries)
    changed = sum(line in draft.entries for line in matched.changed_lines)
    tanks = Counter(tank for entry in entries if (tank := getattr(entry, "tank", None)))
    unknown = dict.fromkeys(name for entry in entries for name in entry.extra)
    return Preview(
        entries=len(entries),
        kinds=dict(Counter(entry.kind for entry in entries).most_common()),
        tanks=dict(sorted(tanks.items())),
        new_tanks=new_tanks,
        new_resins=new_resins,
        first_at=min((entry.at for entry in entries), default=None),
        last_at=max((entry.at for entry in entries), default=None),
        new=len(entries) - changed,
        changed=changed,
        unchanged=matched.unchanged,
        gone=matched.gone,
        skipped=matched.unchanged + draft.doubles,
        changes=changes,
        unknown_fields=tuple(unknown)[:SHOWN_NAMES],
        errors=tuple(sorted(draft.errors, key=lambda error: error.line)),
        bad_lines=len(draft.bad),
        lifts=tuple(draft.lifts),
        against=tuple(draft.against),
        decided=tuple(draft.decided),
        holds=tuple(_held_words(one) for some in draft.holds.values() for one in some),
        odd=draft.odd,
        form=form,
        is_guessed_encoding=file.is_guessed,
    )


def odd_figures(
    session: Session, room: RoomRow, entries: Mapping[int, Entry]
) -> tuple[LineError, ...]:
    """Figures that can be doubted by what their own line says, and fills of another purity than
    their tank was filled with before: what else stood then is asked of single entries alone."""
    looked_at = dict(islice(sorted(entries.items()), MOST_LOOKED_AT))
    odd, found = _odd_fills(session, room, looked_at), list[LineError]()
    for line, entry in looked_at.items():
        known = known_alone(session, room, entry)
        found += [LineError(line, one.field, one.words) for one in unlikely(entry, known)]
        found += odd.get(line, ())
        if len(found) >= SHOWN_ODD:
            break
    return tuple(found[:SHOWN_ODD])


def _odd_fills(
    session: Session, room: RoomRow, entries: Mapping[int, Entry]
) -> dict[int, list[LineError]]:
    """The fills of a file that are unlike those before them, in the file or else in the room."""
    fills = [(line, one) for line, one in entries.items() if isinstance(one, Tank | Swap)]
    usual: dict[str, tuple[str, float | None]] = {}
    found: dict[int, list[LineError]] = {}
    for line, one in sorted(fills, key=lambda fill: fill[1].at):
        if one.tank not in usual:
            row = session.get(TankRow, (room.id, one.tank))
            usual[one.tank] = (row.solvent, row.fresh_purity_percent) if row else ("", None)
        held, before = usual[one.tank]
        liquid = SOLVENTS.get(one.solvent or held)
        if liquid is None:
            continue
        percent = in_mass_percent(liquid, one.fresh_purity_percent, one.fresh_purity_volume_percent)
        if percent is None:
            continue
        is_same = isinstance(one, Swap) and liquid.key == held
        if words := purity_words(percent, before) if is_same else "":
            found[line] = [LineError(line, "fresh_purity_percent", words)]
        else:
            usual[one.tank] = liquid.key, percent
    return found
