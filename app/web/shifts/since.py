"""What happened in a shift, in a few sentences: what is alike goes together, a line a thing."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from app.domain.plural import counted, thousands
from app.domain.roomlog.kinds import Entry, Reading, Reject, Swap, TopUp, Wash
from app.domain.roomlog.kinds.curing import Cure
from app.domain.roomlog.kinds.incidents import (
    Incident,
    IncidentClosed,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.shifts import KINDS_OF_SHIFTS, HandedOver, ShiftNote, TakenOver
from app.domain.roomlog.kinds.supplies import LotHeld, LotReleased, StockReceived
from app.domain.roomlog.kinds.waste import DrumQuarantined, DrumReleased, PickupShipped
from app.services.entries import entry_of
from app.services.naming import Names, names_of
from app.store import since as reads
from app.store.since import Late, WashLevel
from app.store.tables import EntryRow
from app.web.deps import Visit
from app.web.filters import clock, volume
from app.web.telling import sentence_of
from app.web.words import moment

NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip
EACH = 2  # so many of a sort are told one by one
NAMED = 3
SIGNING = (HandedOver.kind, TakenOver.kind)
OF_SHIFTS = tuple(kind.kind for kind in KINDS_OF_SHIFTS)


@dataclass(frozen=True)
class Story:
    """What is stored of a stretch of time.

    Attributes:
        rows: all entries but washes, in the order of time.
        aside: the tank of each reading that is set aside, by the number of its row.
        late, withdrawn: of before, entered or taken back since.
        is_after: it is what came behind a signature: notes are told of as well.
    """

    since: datetime
    washes: Sequence[WashLevel] = ()
    rows: Sequence[EntryRow] = ()
    aside: Mapping[int, str] = field(default_factory=dict)
    late: Sequence[Late] = ()
    withdrawn: int = 0
    is_after: bool = False


def story_of(
    visit: Visit, since: datetime, row_id: int | None, until: int | None = None,
    *, is_after: bool = False,
) -> Story:  # fmt: skip
    """What the log has since an instant, up to a row; what is late is counted behind a row."""
    session, room_id = visit.session, visit.room_id
    late: Sequence[Late] = ()
    withdrawn = 0
    if row_id is not None:
        left_out = (*OF_SHIFTS, reads.WITHDRAWAL)
        late = reads.late_since(session, room_id, since, row_id, left_out, until)
        withdrawn = reads.withdrawn_since(session, room_id, row_id, until)
    return Story(
        since, reads.washes_since(session, room_id, since, until),
        reads.others_since(session, room_id, since, (*SIGNING, reads.WITHDRAWAL), until),
        reads.set_aside_since(session, room_id, since), late, withdrawn, is_after,
    )  # fmt: skip


def lines_of_story(visit: Visit, story: Story, tanks: Mapping[str, str]) -> list[str]:
    """The sentences; `tanks` are names by key. Empty where nothing happened."""
    entries = [entry_of(row) for row in story.rows]
    names = names_of(visit.session, visit.room_id, entries)
    teller = _Teller(visit, names, tanks)
    told = _of_washes(story.washes, tanks)
    rest: Sequence[Entry] = entries
    for kinds, sort in SORTS:
        some = [one for one in rest if isinstance(one, kinds)]
        rest = [one for one in rest if not isinstance(one, kinds)]
        told += _told(teller, some, sort)
    told += _of_readings(teller, rest, story)
    if not story.is_after:  # they stand on the page as notes
        rest = [one for one in rest if not isinstance(one, ShiftNote)]
    told += _told(teller, [one for one in rest if one.kind in OF_SHIFTS], None)
    left = sum(1 for one in rest if not isinstance(one, Reading) and one.kind not in OF_SHIFTS)
    told += _of_late(visit, story)
    if left:
        told.append(f"{counted(left, 'other entry is', 'other entries are')} in the log.")
    return told


def in_words(count: int) -> str:
    """A small count as a word.

    >>> in_words(4), in_words(31)
    ('four', '31')
    """
    return NUMBERS[count] if count < len(NUMBERS) else thousands(count)


def listed(parts: Sequence[str]) -> str:
    """Parts in a row, “and” before the last.

    >>> listed(["Alder", "Birch", "Cedar"]), listed(["Alder"])
    ('Alder, Birch and Cedar', 'Alder')
    """
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def shortly(parts: Sequence[str]) -> str:
    """The first few of them, and how many more there are.

    >>> shortly(["a", "b", "c", "d", "e"]), shortly(["a", "b"])
    ('a, b, c and 2 more', 'a and b')
    """
    if len(parts) <= NAMED + 1:
        return listed(parts)
    return f"{', '.join(parts[:NAMED])} and {len(parts) - NAMED} more"


@dataclass(frozen=True)
class _Teller:
    """What sentences are made with."""

    visit: Visit
    names: Names
    tanks: Mapping[str, str]

    def sentence(self, entry: Entry) -> str:
        """The log's own sentence."""
        return sentence_of(entry, self.visit.room, self.names).rstrip(".")

    def tank(self, key: str) -> str:
        return self.tanks.get(key, key)


Sort = Callable[[_Teller, Sequence[Entry]], str] | None


def _told(teller: _Teller, entries: Sequence[Entry], sort: Sort) -> list[str]:
    """Each for itself where they are few or of a sort that is always told, else together."""
    if sort is not None and len(entries) > EACH:
        return [sort(teller, entries)]
    told = [f"{teller.sentence(one)}." for one in entries]
    if len(told) <= NAMED + 1:
        return told
    more = len(told) - NAMED
    return [*told[:NAMED], f"{counted(more, 'entry', 'entries')} more like these in the log."]


def _of_washes(washes: Sequence[WashLevel], tanks: Mapping[str, str]) -> list[str]:
    if not washes:
        return []
    count = counted(len(washes), "wash", "washes")
    by_tank = Counter(one.tank for one in washes).most_common()
    most, number = by_tank[0]
    name, level = tanks.get(most, most), _level([one for one in washes if one.tank == most])
    if len(by_tank) == 1:
        return [f"{count} in {name}{f': {level}' if level else ''}."]
    told = f"{count} in {in_words(len(by_tank))} tanks."
    if number == by_tank[1][1]:
        return [told]
    return [f"{told} {name} took {thousands(number)} of them{f': {level}' if level else ''}."]


def _level(washes: Sequence[WashLevel]) -> str:
    """From where to where they brought one bath; nothing where it is not one, or not known."""
    first, last = washes[0], washes[-1]
    if first.before_percent is None or last.after_percent is None or first.fill != last.fill:
        return ""
    low, high = f"{first.before_percent:.1f}", f"{last.after_percent:.1f}"
    return f"{high} %" if low == high else f"{low} to {high} %"


def _rejects(teller: _Teller, entries: Sequence[Entry]) -> str:
    found = [one for one in entries if isinstance(one, Reject)]
    is_sized = all(one.parts for one in found)
    by_tank: Counter[str] = Counter()
    for one in found:
        by_tank[one.tank] += one.parts or 1 if is_sized else 1
    total = sum(by_tank.values())
    head = (
        f"{counted(total, 'part was', 'parts were')} rejected"
        if is_sized
        else f"Parts were rejected {counted(total, 'time', 'times')}"
    )
    if len(by_tank) == 1:
        return f"{head} from {teller.tank(next(iter(by_tank)))}."
    shares = [f"{thousands(n)} from {teller.tank(tank)}" for tank, n in by_tank.most_common()]
    return f"{head}: {shortly(shares)}."


def _cures(teller: _Teller, entries: Sequence[Entry]) -> str:
    stations = list(dict.fromkeys(one.station for one in entries if isinstance(one, Cure)))
    count = counted(len(entries), "cure", "cures")
    if len(stations) == 1:
        return f"{count} in {teller.names.of('station', stations[0], entries[0])}."
    return f"{count} in {in_words(len(stations))} stations."


def _top_ups(teller: _Teller, entries: Sequence[Entry]) -> str:
    litres: dict[str, float] = {}
    for one in entries:
        if isinstance(one, TopUp):
            litres[one.tank] = litres.get(one.tank, 0.0) + one.volume_l
    room = teller.visit.room
    shares = [f"{teller.tank(tank)} {volume(much, room)}" for tank, much in litres.items()]
    return f"{counted(len(entries), 'top-up', 'top-ups')}: {shortly(shares)}."


def _deliveries(teller: _Teller, entries: Sequence[Entry]) -> str:
    items = dict.fromkeys(
        teller.names.of("item", one.item, one) for one in entries if isinstance(one, StockReceived)
    )
    return f"{counted(len(entries), 'delivery', 'deliveries')} came: {shortly(list(items))}."


def _swaps(teller: _Teller, entries: Sequence[Entry]) -> str:
    zone = teller.visit.zone
    times = [
        f"{teller.tank(one.tank)} at {clock(one.at, zone)}"
        for one in entries
        if isinstance(one, Swap)
    ]
    return f"{counted(len(times), 'bath was', 'baths were')} swapped: {shortly(times)}."


SORTS: tuple[tuple[tuple[type[Entry], ...], Sort], ...] = (
    ((Incident, IncidentClosed), None),
    ((Reject,), _rejects),
    ((Cure,), _cures),
    ((Swap,), _swaps),
    ((TopUp,), _top_ups),
    ((TankHeld, TankReleased, StationHeld, StationReleased), None),
    ((LotHeld, LotReleased, DrumQuarantined, DrumReleased), None),
    ((StockReceived,), _deliveries),
    ((PickupShipped,), None),
)
"""What is told of: kinds that go together, and how many of them are told in one sentence; None
where each is told for itself."""


def _of_readings(teller: _Teller, entries: Iterable[Entry], story: Story) -> list[str]:
    readings = [one for one in entries if isinstance(one, Reading)]
    if not readings:
        return []
    tanks = list(dict.fromkeys(one.tank for one in readings))
    where = teller.tank(tanks[0]) if len(tanks) == 1 else f"{in_words(len(tanks))} tanks"
    told = [f"{counted(len(readings), 'reading', 'readings')} in {where}."]
    rows = {row.id for row in story.rows}
    aside = Counter(tank for row_id, tank in story.aside.items() if row_id in rows)
    for tank, count in aside.items():
        told.append(
            f"{counted(count, 'reading', 'readings')} of {teller.tank(tank)} "
            f"{'was' if count == 1 else 'were'} set aside."
        )
    return told


PLURALS: Mapping[str, tuple[str, str]] = {
    Wash.kind: ("wash", "washes"), Reading.kind: ("reading", "readings"),
    TopUp.kind: ("top-up", "top-ups"), Cure.kind: ("cure", "cures"),
    Reject.kind: ("reject", "rejects"), Swap.kind: ("swap", "swaps"),
}  # fmt: skip
OTHER = ("other entry", "other entries")


def _of_late(visit: Visit, story: Story) -> list[str]:
    """What is of before and came since, each once: entered late, corrected, withdrawn."""
    before = f"before {moment(story.since, visit.now, visit.zone)}"
    told = []
    for is_correction, done in ((False, "entered late"), (True, "corrected")):
        counts: Counter[tuple[str, str]] = Counter()
        for one in story.late:
            if one.is_correction == is_correction:
                counts[PLURALS.get(one.kind, OTHER)] += one.count
        if not counts:
            continue
        total = sum(counts.values())
        alone = len(counts) == 1
        named = ("entry", "entries")
        parts = [
            counted(count, *(named if alone and words == OTHER else words))
            for words, count in counts.items()
        ]
        told.append(f"{listed(parts)} from {before} {'was' if total == 1 else 'were'} {done}.")
    if story.withdrawn:
        gone = counted(story.withdrawn, "entry", "entries")
        told.append(f"{gone} from {before} {'was' if story.withdrawn == 1 else 'were'} withdrawn.")
    return told
