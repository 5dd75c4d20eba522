"""`python3 -m app bench`: the figures the project promises, as ratios in one run.

start     a start to the first byte, and a first demo, against the import of the libraries alone;
          memory at rest
pages     the room page with a long past against a short one, and against the bare template
wash      one wash logged, from the request to the committed estimate and forecast
writers   a wash, a tank page, the first read after an entry, against the room page; 50 clients who
          log washes without a pause, alone and beside 500 live pages: errors, 99th percentile,
          throughput against bare rows, memory
live      500 live pages for five minutes while 10,000 washes are logged: errors, the log file
shelf     the shelf's page with a long ledger against a short one, a late entry into a long book,
          run-out days of 500 items
spend     the week's spend, 52 weeks, the balance and what lies ahead, against the room page and a
          short past; again after a wash, a use, a correction, a withdrawal; the workbook's memory
swap      a step of a swap opened and ticked, against the room page
whatif    a what-if case on a year of 60 tanks, and the room made ready for it
photos    a photo from upload to thumbnail, memory of four at once, a page with 500 past photos
import    an import of 100,000 entries: in slices against one write; 20 clients who log washes in
          its room and in another one while it runs: errors, 99th percentile against without
plan      days found for the swaps of 60 tanks over 26 weeks
recall    which part lots touched what was not as it should be, on a long past: against the room
          page and a short past; the record of one lot
backup    backups taken one after the other while washes are logged: the 99th percentile of a wash
          against without, and how long one took
soak      washes, room pages, exports and live pages on one server without a pause, for --minutes:
          memory, descriptors, files of the log, along the way
servers   two servers (or --servers) on one PostgreSQL database against one; how soon the
          one shows what the other stored; needs BATHKEEPER_TEST_POSTGRES
company   the same with 200 rooms: memory of a server, size of the database, connections
kills     servers killed while people write, import, tick steps, take photos, and while an old
          database is brought up to date: what was acknowledged and is lost, what is damaged; on
          SQLite, and on PostgreSQL with BATHKEEPER_TEST_POSTGRES
litres    random sequences of interrupted, undone, given-up, corrected, paired and late acts: the
          largest imbalance of the book, pages that disagree
accuracy  estimate and forecast against the simulator's truth, by family of rooms
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from app.clock import utc_now
from tests.benchmark.importing import measure_import
from tests.benchmark.kills import KILLS, measure_kills
from tests.benchmark.litres import SEQUENCES, measure_litres
from tests.benchmark.live import MINUTES, WRITES, measure_live
from tests.benchmark.load import get_ms, post_wash_ms, served
from tests.benchmark.photos import measure_photos
from tests.benchmark.planning import measure as measure_plan
from tests.benchmark.recall import measure_recall
from tests.benchmark.rooms import ROOM, open_room
from tests.benchmark.servers import COMPANY, measure_servers
from tests.benchmark.shelf import measure_shelf
from tests.benchmark.soak import BACKUP_EVENTS, measure_backup, measure_soak
from tests.benchmark.spend import measure_spend
from tests.benchmark.start import measure_start
from tests.benchmark.swaps import measure as measure_swap
from tests.benchmark.whatif import measure_whatif
from tests.benchmark.writers import EVENTS as WRITERS_EVENTS
from tests.benchmark.writers import measure_writers

PARTS = [
    "start",
    "pages",
    "wash",
    "writers",
    "live",
    "swap",
    "plan",
    "shelf",
    "spend",
    "whatif",
    "photos",
    "import",
    "recall",
    "backup",
    "soak",
    "servers",
    "company",
    "kills",
    "litres",
    "accuracy",
]
TANKS = 60
EVENTS, SPEND_EVENTS = 1_000_000, 100_000
IMPORTED_EVENTS = 100_000
FEW_EVENTS = 1_000
ROUNDS = 9
CALLS = 40


def main(argv: Sequence[str] | None = None) -> int:
    """Run the parts asked for, all of them by default."""
    parser = argparse.ArgumentParser(
        prog="python3 -m app bench",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "part",
        nargs="*",
        choices=[*PARTS, []],
        help="default: all",
    )
    parser.add_argument(
        "--events",
        type=int,
        help="past events (default 1,000,000; spend 100,000, writers 20,000)",
    )
    parser.add_argument("--writes", type=int, default=WRITES, help="washes beside live pages")
    parser.add_argument("--minutes", type=float, default=MINUTES, help="how long they take")
    parser.add_argument("--kills", type=int, default=KILLS, help="of servers, on each database")
    parser.add_argument("--on", choices=("sqlite", "postgres"), help="of kills: one database alone")
    parser.add_argument("--servers", type=int, default=2, help="of servers: how many")
    parser.add_argument("--sequences", type=int, default=SEQUENCES, help="of litres")
    parser.add_argument("--seeds", type=int, help="of accuracy: rooms of each family (default 6)")
    parser.add_argument("--first", type=int, help="of accuracy, litres: the first seed (default 0)")
    parser.add_argument(
        "--family", action="append", help="of accuracy: only families with this in their name"
    )
    parser.add_argument(
        "--only", choices=("estimates", "faults"), help="of accuracy: one of the two simulators"
    )
    parser.add_argument(
        "--told", action="store_true", help="of accuracy: by a filter that knows the constants"
    )
    parser.add_argument("--data", type=Path, help="folder to keep the rooms in for the next run")
    words = parser.parse_args(argv)
    parts = words.part or PARTS
    with tempfile.TemporaryDirectory() as scratch:
        folder = words.data or Path(scratch)
        if "writers" in parts:
            measure_writers(folder, _say, words.events or WRITERS_EVENTS)
        if "live" in parts:
            measure_live(folder, _say, words.writes, words.minutes)
        if "backup" in parts:
            measure_backup(folder, _say, words.events or BACKUP_EVENTS)
        if "soak" in parts:
            measure_soak(folder, _say, words.minutes)
        _measure_in(folder, parts, words.events)
        is_even = "litres" not in parts or measure_litres(
            Path(scratch), words.sequences, words.first or 0, _say_each
        )
    for part, measure in {"start": measure_start, "plan": measure_plan}.items():
        if part in parts:
            print(measure())
    if "servers" in parts:
        measure_servers(servers=words.servers)
    if "company" in parts:
        measure_servers(COMPANY)
    is_well = measure_kills(words.kills, words.on) if "kills" in parts else True
    is_well = is_well and is_even
    if "accuracy" in parts:
        return _judge(words) or not is_well
    return not is_well


def _judge(words: argparse.Namespace) -> int:
    """Estimates and forecasts against the truth, with the words that are its own."""
    from tests.judge.__main__ import main as judge

    said: list[str] = []
    for name in ("seeds", "first", "only"):
        if getattr(words, name) is not None:
            said += [f"--{name}", str(getattr(words, name))]
    for family in words.family or ():
        said += ["--family", family]
    return judge([*said, "--told"] if words.told else said)


def _measure_in(folder: Path, parts: Sequence[str], events: int | None) -> None:
    """The parts that need rooms in a folder."""
    if "pages" in parts or "wash" in parts:
        _measure_rooms(folder, events or EVENTS, parts)
    if "shelf" in parts:
        measure_shelf(folder, events or EVENTS, _say)
    if "spend" in parts:
        measure_spend(folder, events or SPEND_EVENTS, _say)
    if "whatif" in parts:
        measure_whatif(folder, events or EVENTS, _say)
    if "photos" in parts:
        measure_photos(folder)
    if "import" in parts:
        measure_import(folder, events or IMPORTED_EVENTS, _say)
    if "recall" in parts:
        measure_recall(folder, events or EVENTS, _say)
    if "swap" in parts:
        print(measure_swap(folder, _say))


def _measure_rooms(folder: Path, events: int, parts: Sequence[str]) -> None:
    now = utc_now()
    small, large = folder / f"room-{FEW_EVENTS}", folder / f"room-{events}"
    for place, count in ((small, FEW_EVENTS), (large, events)):
        place.mkdir(parents=True, exist_ok=True)
        open_room(place, TANKS, count, now, _say).close()
    with served(small) as short, served(large) as long:
        if "pages" in parts:
            _measure_pages(short, long, events)
        if "wash" in parts:
            times_ms = [post_wash_ms(long, ROOM, f"t{1 + i % TANKS:02d}") for i in range(100)]
            print(f"wash logged, {events:,} past events: median {median(times_ms[10:]):.1f} ms")


def _measure_pages(short, long, events: int) -> None:  # type: ignore[no-untyped-def]
    """Rounds in turn, so that a slow moment of the machine falls on all three alike."""
    path = f"/rooms/{ROOM}"
    for connection in (short, long):
        for warm in (path, "/bare"):
            get_ms(connection, warm)
    few, many, bare = [], [], []
    for _ in range(ROUNDS):
        few.append(median(get_ms(short, path) for _ in range(CALLS)))
        many.append(median(get_ms(long, path) for _ in range(CALLS)))
        bare.append(median(get_ms(long, "/bare") for _ in range(CALLS)))
    past = median(b / a for a, b in zip(few, many, strict=True))
    template = median(b / c for b, c in zip(many, bare, strict=True))
    print(f"room page, {TANKS} tanks, median of {ROUNDS} rounds in turn:")
    print(
        f"  {events:,} past events {median(many):.2f} ms; against {FEW_EVENTS:,}: ratio {past:.2f}"
    )
    print(f"  against the bare template, {median(bare):.2f} ms: ratio {template:.2f}")


def _say_each(what: str, done: int, total: int) -> None:
    print(f"\r{what}: {done:,} of {total:,}", end="\n" if done >= total else "", file=sys.stderr)


def _say(what: str, done: int, total: int) -> None:
    if done % 20_000 and done < total:
        return
    print(f"\r{what}: {done:,} of {total:,}", end="\n" if done >= total else "", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
