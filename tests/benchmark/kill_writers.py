"""What writes to a database in a process that is killed: the program below its web server.

A server takes seconds to begin; this begins at once, so that it can be killed much more often. Each
word that something was stored goes through a pipe after the commit, as an answer goes to a client.
"""

import io
import json
import random
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from app.clock import utc_now
from app.domain.harm.matrix import QUESTIONS
from app.domain.plausible import NAMES
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.checklists import StepDone
from app.services import door
from app.services.chaining import chain_up
from app.services.importing.importing import check_file, store_checked
from app.services.inspections.belonging import receive
from app.services.rebuilding import rebuild_outdated
from app.services.rooms import find_room
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.photos import ORIGINAL, SIZES, PhotoFolder
from app.store.sessions import reading
from tests.factories import ROOM
from tests.photos import photo

WRITERS = 3
ALL = (*QUESTIONS, *NAMES)
Say = Callable[[tuple[str, str]], None]
Given = dict[str, Any]


def main(folder: str, url: str, name: str, given: Given, pipe: Connection) -> None:
    """Write until killed, or until nothing is left to do."""
    random.seed(given["seed"])
    store = open_store(url)
    WORK[name](store, Path(folder), given, pipe.send)
    store.close()
    pipe.close()


def _washes(store: Store, _: Path, __: Given, say: Say) -> None:
    def write(number: int) -> None:
        while True:
            key = uuid.uuid4().hex
            _enter(store, Wash(at=utc_now(), id=key, tank=f"t{1 + number}", resin="slate", parts=5))
            say(("washes", key))

    with ThreadPoolExecutor(WRITERS) as pool:
        for done in pool.map(write, range(WRITERS)):
            assert done is None


def _steps(store: Store, _: Path, given: Given, say: Say) -> None:
    for swap, step in _left(given):
        key = uuid.uuid4().hex
        _enter(store, StepDone(at=utc_now(), id=key, swap=swap, step=step, by="Wren"))
        say(("steps", key))


def _photos(store: Store, data: Path, given: Given, say: Say) -> None:
    folder = PhotoFolder(data)
    with reading(store) as session:
        room_id = find_room(session, ROOM).id or 0
    small = photo("jpg", 1, 64, 48)
    for swap, step in _left(given):
        content = small + uuid.uuid4().bytes
        digest, key = sha256(content).hexdigest(), uuid.uuid4().hex
        folder.write_shown(digest, dict.fromkeys(SIZES, small))
        folder.write(digest, ORIGINAL, content)
        with reading(store) as session:
            receive(store, session, room_id, [digest])
        said = {"picture": f"photo:{digest}"}
        _enter(store, StepDone(at=utc_now(), id=key, swap=swap, step=step, by="Wren", answers=said))
        say(("photos", f"{key} {digest}"))


def _import(store: Store, _: Path, given: Given, say: Say) -> None:
    checked = check_file(store, ROOM, Path(given["file"]), utc_now())
    store_checked(store, ROOM, checked, utc_now)
    say(("imports", given["file"]))


def _migrate(store: Store, _: Path, __: Given, say: Say) -> None:
    upgrade(store)
    chain_up(store, utc_now())
    rebuild_outdated(store, utc_now())
    say(("migrations", ""))


WORK: dict[str, Callable[[Store, Path, Given, Say], None]] = {
    "wash": _washes, "step": _steps, "photo": _photos, "import": _import, "migration": _migrate,
}  # fmt: skip


def _left(given: Given) -> Iterator[tuple[str, str]]:
    """The steps of the swaps that nobody has ticked yet."""
    for number in range(given["ticked"], given["steps"] * given["swaps"]):
        swap, step = divmod(number, given["steps"])
        yield f"swap-{swap}", f"s{step}"


def _enter(store: Store, entry: Entry) -> None:
    door.enter(store, ROOM, [entry], utc_now(), confirmed=ALL)


def write_lines(path: Path, lines: int, tanks: int) -> str:
    """A file of washes to bring in; what their ids begin with."""
    mark, at, out = uuid.uuid4().hex[:8], utc_now().isoformat(), io.StringIO()
    for number in range(lines):
        wash = {"kind": "wash", "id": f"{mark}-{number}", "at": at, "resin": "slate", "parts": 2}
        out.write(json.dumps({**wash, "tank": f"t{1 + number % tanks}"}) + "\n")
    path.write_text(out.getvalue(), "utf-8")
    return mark
