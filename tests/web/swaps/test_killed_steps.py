"""A server that is killed within and after any step of a swap or an inspection, on each database.

What a step stores is there whole or not at all; sent again, as a tablet does until it is answered,
it is there once, and the next step goes on from it. What was acknowledged is there after another
kill, field by field, and so is what was typed and not ticked yet.
"""

import http.client
import random
import re
import sqlite3
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlencode, urlsplit

import pytest
from sqlalchemy import func
from sqlmodel import Session, select

from app.clock import VARIABLE as CLOCK
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.inspections import Component
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.services.entries import entry_of
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.tables import EntryRow, TankRow
from tests.days import ahead_s
from tests.factories import NOW, ROOM, START, furnish, tank
from tests.furnished import NAME, new_store
from tests.postgres import temporary_database
from tests.running import RunningServer
from tests.web.inspections.looking import said

AT = f"/rooms/{ROOM}"
SEED = 8731
LATEST_KILL_S = 0.3
"""After the touch: by then an idle machine has answered. A busy one is given as long as it took to
answer a step before, so that it is killed on either side of what it stores."""
ALL = "all"

READ = {"method": "hydrometer", "density_g_ml": "0.7855", "temperature_c": "20"}
RINSED, FILLED = {"rinse_l": "2", "lot": "ipa|A7"}, {"filled_l": "39", "lot": "ipa|A7"}
SINGLE: Mapping[str, Mapping[str, str]] = {
    "prepare": {}, "protect": {}, "isolate": {}, "choose_drum": {"drum": "d1"}, "bond": {},
    "drain": {"drained_l": "39", "heel_l": "0.5"}, "inspect": {}, "rinse": RINSED, "wipe": {},
    "refit": {}, "fill": FILLED, "leak_check": {}, "read": READ, "restart": {}, "close_out": {},
}  # fmt: skip
"""What each step of the usual list is told, in order."""
STORED = {
    "choose_drum": {"step_done": 1},
    "drain": {"step_done": 1, "pour": 1},
    "rinse": {"step_done": 1, "pour": 1, "stock_used": 1},
    "rinse_clean": {"step_done": 1, "pour": 1, "stock_used": 1},
    "fill": {"step_done": 1, "stock_used": 1},
    "read": {"step_done": 1, "reading": 1},
}
"""What comes of a step besides its tick, by kind."""


@dataclass
class Place:
    """A server that is killed and started again on the same data."""

    serve: Any
    folder: Path
    store: Store
    chance: random.Random
    killed_at: frozenset[str]
    variables: Mapping[str, str]
    server: RunningServer = field(init=False)
    ahead: str = field(default_factory=lambda: ahead_s(NOW + timedelta(minutes=1)))
    whole: int = 0
    none: int = 0
    after: int = 0
    fields: int = 0
    took_s: float = LATEST_KILL_S

    def __post_init__(self) -> None:
        self.begin()

    def begin(self, port: int | None = None) -> None:
        self.server = self.serve(
            "serve", data_dir=self.folder, port=port,
            variables={CLOCK: self.ahead, **self.variables},
        )  # fmt: skip

    def ask(self, method: str, path: str, sent: Mapping[str, str] | None = None) -> tuple[int, str]:
        """The status of an answer, with where it leads to or what it says."""
        connection = http.client.HTTPConnection(urlsplit(self.server.url).netloc, timeout=60)
        with closing(connection):
            headers = {"Content-Type": "application/x-www-form-urlencoded"}
            connection.request(method, path, urlencode(sent or {}), headers)
            answer = connection.getresponse()
            return answer.status, answer.getheader("Location") or answer.read().decode()

    def touch(self, name: str, path: str, sent: Mapping[str, str], kinds: Mapping[str, int]) -> str:
        """Send a form, with the death of the server meanwhile where the name is chosen; where its
        answer leads to. `kinds` is what it stores."""
        typed, before = sent, self.stored()
        if ALL in self.killed_at:
            self.type_before(path, typed)
        sent = {**sent, "by": "Wren", "submission": f"{self.chance.getrandbits(128):032x}"}
        if name in self.killed_at or ALL in self.killed_at:
            self.kill_within(path, sent)
            found = self.stored() - before
            assert found in (Counter(), Counter(kinds)), (name, found)
            self.whole, self.none = self.whole + bool(found), self.none + (not found)
            self.begin(int(self.server.url.rpartition(":")[2]))
        for turn in range(2):  # a tablet that heard nothing sends it again
            since_s = time.monotonic()
            status, leads_to = self.ask("POST", path, sent)
            if turn == 0:
                self.took_s = max(LATEST_KILL_S, time.monotonic() - since_s)
            said = re.findall("<h1.*?</p>", leads_to, re.DOTALL)
            assert status == 303, (name, turn, status, said, self.server.log.read_text()[-4000:])
            assert self.stored() - before == Counter(kinds), name
        if ALL in self.killed_at:
            self.kill_after()
            assert self.stored() - before == Counter(kinds), name
            self.find(name, typed)
        return leads_to

    def type_before(self, path: str, typed: Mapping[str, str]) -> None:
        """Type into a step without ticking it, and kill the server: the step still shows it."""
        at, is_tick, _ = path.rpartition("/tick")
        if not is_tick:
            return
        query = f"?method={typed['method']}" if "method" in typed else ""
        said = {name: text for name, text in typed.items() if not name.startswith("confirm_")}
        said = {**said, "note": NOTE}
        said.pop("method", None)
        for name, value in said.items():
            touched = {"name": name, "value": value, "over": ""}
            status, _ = self.ask("POST", f"{at}/touched{query}", touched)
            assert status == 204, (path, name)
        self.kill_after()
        address, _, step = at.rpartition("/steps/")
        _, page = self.ask("GET", f"{address}?step={step}")
        for name, text in said.items():
            tags = re.findall(
                rf'<input[^>]* name="{name}"[^>]* value="{re.escape(text)}"[^>]*>', page
            )
            assert [one for one in tags if "radio" not in one or "checked" in one], (step, name)
            self.fields += 1

    def kill_after(self) -> None:
        """Kill the server once it has answered, and start it again."""
        self.server.process.kill()
        self.server.process.wait()
        self.after += 1
        self.begin(int(self.server.url.rpartition(":")[2]))

    def find(self, step: str, typed: Mapping[str, str]) -> None:
        """What was typed at a step that was acknowledged is in the log, each field."""
        with Session(self.store.reader) as session:
            query = select(EntryRow).where(EntryRow.kind == "step_done")
            rows = [row for row in session.exec(query) if row.voided_by is None]
            ticks = [cast(StepDone, entry_of(row)) for row in rows]
        said = next((dict(one.answers or {}) for one in ticks if one.step == step), {})
        for name, text in typed.items():
            if said and not name.startswith("confirm_"):
                kept = said[name]
                assert kept == text or float(kept) == float(text), (step, name)
                self.fields += 1

    def kill_within(self, path: str, sent: Mapping[str, str]) -> None:
        def send() -> None:
            with suppress(OSError, http.client.HTTPException):
                self.ask("POST", path, sent)

        touched = threading.Thread(target=send)
        touched.start()
        time.sleep(self.chance.uniform(0, self.took_s))
        self.server.process.kill()
        self.server.process.wait()
        touched.join()

    def stored(self) -> Counter[str]:
        """How many entries of each kind there are; the file is whole."""
        if not self.variables:
            with closing(sqlite3.connect(self.folder / NAME)) as database:
                assert database.execute("PRAGMA quick_check").fetchone() == ("ok",)
        with Session(self.store.reader) as session:
            query = select(EntryRow.kind, func.count()).group_by(EntryRow.kind)
            return Counter(dict(session.exec(query).all()))

    def tank(self, key: str) -> tuple[int, float]:
        with Session(self.store.reader) as session:
            found = session.exec(select(TankRow).where(TankRow.key == key)).one()
            return found.fill, found.volume_l


NOTE = "Seen twice"
SAMPLE = {
    "single": ("drain", "fill", "complete"),
    "pair": ("move_clean",),
    "inspection": ("impeller", "close"),
}  # fmt: skip
RUNS = [
    *(pytest.param(run, some, "sqlite", id=f"{run}-some") for run, some in SAMPLE.items()),
    *(
        pytest.param(run, (ALL,), "sqlite", id=f"{run}-all", marks=pytest.mark.nightly)
        for run in SAMPLE
    ),
    *(
        pytest.param(
            run, (ALL,), "postgres", id=f"{run}-all-postgres",
            marks=[pytest.mark.nightly, pytest.mark.postgres],
        )
        for run in SAMPLE
    ),
]  # fmt: skip


@pytest.fixture
def database(request: pytest.FixtureRequest, where: str) -> Iterator[str]:
    """The address of an empty PostgreSQL database; empty for a file beside the data."""
    if where == "sqlite":
        yield ""
        return
    with temporary_database(request.getfixturevalue("postgres_server")) as url:
        store = open_store(url)
        upgrade(store)
        store.close()
        yield url


@pytest.fixture
def place(
    serve: Any, tmp_path: Path, run: str, killed_at: tuple[str, ...], database: str
) -> Iterator[Place]:
    """A pair, a tank of its own with two parts, a large drum, solvent, a lead."""
    folder = tmp_path / "data"
    folder.mkdir()
    store = open_store(database) if database else new_store(folder)
    furnish(store, tanks=1)
    record(
        store, ROOM,
        [
            tank("clean"), tank("dirty", pair="clean"),
            Drum(at=START, drum="d1", name="W-13", capacity_l=400, stream="isopropanol_resin",
                 area="wash_station"),
            Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.8),
            StockReceived(at=START, item="ipa", quantity=90, lot="A7"),
            CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        ],
        NOW,
    )  # fmt: skip
    if run == "inspection":
        record(
            store, ROOM,
            [Component(at=START, component=f"t1-{part}-1", part=part, name=part.title(), tank="t1")
             for part in ("impeller", "shaft_seal")],
            NOW,
        )  # fmt: skip
    store.close()
    seen = open_store(database or f"sqlite:///{folder / NAME}")
    variables = {"BATHKEEPER_DATABASE": database} if database else {}
    chance = random.Random(f"{SEED} {run}")
    found = Place(serve, folder, seen, chance, frozenset(killed_at), variables)
    yield found
    found.server.stop()
    seen.close()


@pytest.mark.slow
@pytest.mark.usefixtures("killed_at", "where")
@pytest.mark.parametrize("run, killed_at, where", RUNS)
def test_what_was_touched_is_there_once(place: Place, run: str) -> None:
    walk = inspect if run == "inspection" else partial(swap, run=run)
    walk(place)
    sys.stdout.write(
        f"{run}: kills within a step, with it stored {place.whole}, without {place.none}; between "
        f"steps {place.after}; fields looked for {place.fields}, lost 0\n"
    )


def swap(place: Place, run: str) -> None:
    """A whole swap, with what it leaves in the tanks."""
    key = "t1" if run == "single" else "dirty"
    at, start = f"{AT}/tanks/{key}/swap", {"from_tank": "clean"} if run == "pair" else {}
    tanks = 2 if run == "pair" else 1
    begun = {"swap_opened": 1, "swap_started": tanks}
    place.touch("start", f"{at}/start", start, begun)
    confirmed = {f"confirm_{number}": "on" for number in range(8)}
    steps = dict(SINGLE)
    if run == "pair":
        rest = {name: steps.pop(name) for name in list(steps)[list(steps).index("fill") :]}
        of_clean = {"rinse_clean": {"rinse_l": "1", "lot": "ipa|A7"}, "clean_tank": {}}
        steps |= {"isolate_clean": {}, "move_clean": {"moved_l": "39"}, **of_clean}
        steps |= {"refit_clean": {}} | rest
    for name, answers in steps.items():
        stored = STORED.get(name, {"step_done": 1})
        place.touch(name, f"{at}/steps/{name}/tick", {**confirmed, **answers}, stored)
    _, page = place.ask("GET", f"{at}?view=close")
    found = re.search(r'name="swap" value="([^"]+)"', page)
    assert found is not None
    ended = {"swap": tanks, "swap_closed": 1}
    place.touch("complete", f"{at}/complete", {"swap": found[1], "note": "Dragged out"}, ended)
    fill, litres = place.tank(key)
    assert fill == 1
    if run == "single":
        assert litres == pytest.approx(39.5, abs=0.1)  # filled, and the heel that was seen
    else:
        assert place.tank("clean")[0] == 1


def inspect(place: Place) -> None:
    """An inspection of two parts, signed."""
    at = place.touch("start", f"{AT}/tanks/t1/inspection", {}, {"inspection_started": 1})
    for part in ("impeller", "shaft_seal"):
        place.touch(part, f"{at}/parts/t1-{part}-1", said(part), {"inspection_answered": 1})
    place.touch("close", f"{at}/close", {}, {"inspection_closed": 1})
