"""`python -m tests.benchmark.spend`: the spending pages on a room with a long past.

The week and 52 weeks asked again (nothing changed), after a wash was logged, and for the first time
after a start; a what-if case; all against the room page in the same run.
"""

import argparse
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from tests.benchmark.load import get_ms, post_wash_ms, served
from tests.benchmark.rooms import ROOM, open_room

PAGES = {
    "week": "/spend",
    "52 weeks": "/spend?span=52",
    "where it went": "/spend/balance",
    "next weeks": "/spend/ahead",
    "what if": "/spend/what-if?a_limit_percent=12&b_baths=paired",
}


def main() -> None:
    """Make the room where it is not there yet, and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=1_000_000)
    parser.add_argument("--tanks", type=int, default=60)
    parser.add_argument("--data", type=Path, help="folder to keep the room in")
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = words.data or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        now = datetime.now(UTC)
        open_room(folder, words.tanks, words.events, now, lambda *_: None).close()
        with served(folder) as connection:
            room = f"/rooms/{ROOM}"
            get_ms(connection, room)
            base = median(get_ms(connection, room) for _ in range(20))
            print(f"{words.events:,} events, {words.tanks} tanks; room page {base:.1f} ms")
            for name, path in PAGES.items():
                first = get_ms(connection, room + path)
                again = median(get_ms(connection, room + path) for _ in range(10))
                after = []
                for _ in range(5):
                    post_wash_ms(connection, ROOM, "t01")
                    after.append(get_ms(connection, room + path))
                print(
                    f"{name}: first {first:.0f} ms, again {again:.1f} ms, "
                    f"after a wash {median(after):.1f} ms"
                )


if __name__ == "__main__":
    main()
