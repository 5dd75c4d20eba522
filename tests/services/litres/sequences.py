"""Sequences of interrupted, undone, given-up, corrected, paired and late acts, drawn by chance, in
a room of their own; after each act the litres of the book and of every page."""

import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.errors import Conflict, DomainError, FieldErrors
from app.domain.roomlog.kinds import TopUp, Withdrawal
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import (
    Item,
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, Pour
from app.services.acts.swaps import closing, contents, swapping
from app.services.acts.swaps.contents import Answer
from app.services.acts.swaps.ticking import Said, tick
from app.services.door import bring_in as record
from app.services.litres.reading import NEAR_L, book_of, state_of
from app.services.planning.proposal import next_swaps
from app.services.rooms import find_room
from app.services.spend.mass_balance import levels_between
from app.services.storage import stored
from app.services.swaps import under_way
from app.services.swaps.under_way import Hand
from app.store import queries
from app.store.engine import Store, open_store
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.furnished import NAME, new_store
from tests.services.swaps.led import reading

Act = tuple[str, float]
SECOND = timedelta(seconds=1)


def make(folder: Path) -> None:
    store = new_store(folder)
    furnish(store, tanks=1)
    drums = [
        Drum(at=START, drum=key, name=key.upper(), capacity_l=2500, stream="isopropanol_resin",
             area="wash_station")
        for key in ("d1", "d2")
    ]  # fmt: skip
    record(
        store, ROOM,
        [
            tank("clean"), tank("dirty", pair="clean"),
            *(wash(9 - i, area_cm2=3000.0) for i in range(4)), *drums,
            Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.0),
            StockReceived(at=START, item="ipa", quantity=2000, lot="A7"),
            SiteRules(at=START, site="site", flammable_limit_l=9000),
        ],
        NOW,
    )  # fmt: skip
    store.close()


class Room:
    """A room in which acts are done by chance: what cannot be done is refused, and that is one."""

    def __init__(self, store: Store) -> None:
        self.store, self.second, self.key = store, 0, ""
        self.said: list[Any] = []  # entries that may be corrected or taken back
        self.baths: set[str] = set()  # tanks whose bath is new by a swap of theirs
        self.led: set[str] = set()  # tanks whose level was estimated as a swap of theirs began
        with Session(store.reader) as session:
            self.id = find_room(session, ROOM).id or 0

    @property
    def now(self) -> datetime:
        return NOW + timedelta(seconds=self.second)

    def at(self) -> datetime:
        self.second += 1
        return self.now

    def hand(self) -> Hand:
        return Hand(self.at(), "Wren", "As it was")

    def state(self) -> SwapState | None:
        if not self.key:
            return None
        with Session(self.store.reader) as session:
            return under_way.swap_state(session, self.id, self.key)

    def enter(self, entry: Any) -> None:
        record(self.store, ROOM, [entry], self.now)
        self.said.append(entry)

    # Acts

    def start(self, share: float) -> None:
        state = self.state()
        if state is not None and (state.is_open or state.asks):
            return
        key, pair = ("dirty", "clean") if share < 0.6 else ("t1", None)
        hand = self.hand()
        swapping.start(self.store, ROOM, key, pair, hand, hand.at)
        with Session(self.store.reader) as session:
            found = under_way.open_swap(session, self.id, key)
        assert found is not None
        self.key = found.key
        self.led |= {one for one in (key, pair) if one}

    def go_on(self, share: float) -> None:
        """The next steps up to one that moves liquid, or the end."""
        state = self.state()
        while state is not None and state.is_open and not state.asks:
            step = next(iter(state.open_required), None)
            if step is None:
                hand = self.hand()
                closing.complete(self.store, ROOM, self.key, hand, share < 0.2, hand.at)
                self.baths |= {one for one in (state.tank, state.from_tank) if one}
                return
            hand = self.hand()
            said = Said(
                step.key, hand, self.answers(state, step.role, share),
                frozenset(range(len(step.confirms))),
                reading() if step.role == "reading" else None, always,
            )  # fmt: skip
            tick(self.store, ROOM, self.key, said, hand.at)
            if step.role in ("drain", "rinse", "rinse_clean", "move", "fill"):
                return
            state = self.state()

    def answers(self, state: SwapState, role: str, share: float) -> dict[str, Any]:
        lot = {"lot": "ipa|A7" if share < 0.7 else "-"}
        if role == "drum":
            return {"drum": "d1"}
        if role == "drain":
            out_l = round(state.estimated_l * (0.9 + 0.09 * share), 3)
            return {"drained_l": out_l, **({"heel_l": 0.3} if share < 0.5 else {})}
        if role in ("rinse", "rinse_clean"):
            return {"rinse_l": round(2 * share, 2), **lot}
        if role == "move":
            held_l = state.from_estimated_l or 0.0
            moved_l = round(held_l * (0.8 + 0.1 * share), 3)
            left_l = held_l - moved_l if share < 0.8 else 0.4  # beside what is left, a loss
            return {"moved_l": moved_l, "heel_l": round(max(0.0, left_l), 3)}
        return {"filled_l": round(30 + 7 * share, 3), **lot} if role == "fill" else {}

    def undo(self, share: float) -> None:
        state = self.state()
        if state is not None and state.is_open and state.ticks:
            tick_ = state.ticks[-1 - int(share * min(3, len(state.ticks) - 1))]
            swapping.undo(self.store, ROOM, self.key, tick_.step, self.hand(), self.now)

    def answer(self, share: float) -> None:
        self.say(share, is_over=False)

    def give_up(self, share: float) -> None:
        self.say(share, is_over=True)

    def say(self, share: float, *, is_over: bool) -> None:
        state = self.state()
        if state is None:
            return
        tanks = [one for one in (state.tank, state.from_tank) if one]
        words = ("as_before", "empty", "partly", "asked", "filled")
        said = [Answer(one, words[int(share * 4.99)], round(8 * share, 2)) for one in tanks]
        hand = self.hand()
        if is_over:
            contents.give_up(self.store, ROOM, self.key, hand, hand.at, None, said, settles=always)
        else:
            contents.say(self.store, ROOM, self.key, said, hand, hand.at, settles=always)

    def again(self, _: float) -> None:
        state = self.state()
        if state is not None and state.end:
            self.baths -= {state.tank, state.from_tank}
            back = closing.take_up_again if state.end == "abandoned" else closing.reopen
            back(self.store, ROOM, self.key, self.hand(), self.now)

    def late(self, share: float) -> None:
        """Something of the days before, entered only now."""
        at = NOW - timedelta(hours=1 + 30 * share)
        litres = round(1 + 4 * share, 2)
        self.enter(
            [
                Pour(at=at, id=f"late-{self.second}", drum="d2", volume_l=litres),
                StockReceived(at=at, id=f"late-{self.second}", item="ipa", quantity=litres,
                              lot="B1"),
                StockUsed(at=at, id=f"late-{self.second}", item="ipa", quantity=litres,
                          purpose="cleaning"),
                TopUp(at=at, id=f"late-{self.second}", tank="t1", volume_l=0.25),
            ][int(share * 3.99)]
        )  # fmt: skip

    def topped_late(self, share: float) -> None:
        """A top-up of the hours before, of any tank, that nobody had entered."""
        tank_, at = ("t1", "dirty", "clean")[int(share * 2.99)], NOW - timedelta(hours=1 + share)
        litres, uid = round(0.1 + share, 2), f"topped-{self.second}"
        use = StockUsed(at=at, id=f"{uid}.1", item="ipa", quantity=litres, lot="A7",
                        purpose="top_up", tank=tank_)  # fmt: skip
        self.enter(TopUp(at=at, id=uid, tank=tank_, volume_l=litres))
        self.enter(use)

    def poured_late(self, share: float) -> None:
        """A pour of the last swap, told whatever became of that."""
        state = self.state()
        if state is None or state.is_open or state.asks:
            return
        at = self.at()
        self.enter(
            Pour(at=at, id=f"rest-{self.second}", drum="d2", volume_l=round(0.1 + share, 2),
                 tank=state.tank, swap=self.key)
        )  # fmt: skip
        with Session(self.store.reader) as session:
            assert self.key not in state_of(session, self.id).swaps

    def now_and_then(self, share: float) -> None:
        at, litres = self.at(), round(1 + 4 * share, 2)
        key = f"now-{self.second}"
        self.enter(
            [
                Pour(at=at, id=key, drum="d2", volume_l=litres),
                DrumTransfer(at=at, id=key, drum="d1", from_drum="d2", volume_l=litres,
                             waste_kg=litres),
                StockCounted(at=at, id=key, item="ipa", quantity=round(1800 + 9 * share, 2)),
                StockScrapped(at=at, id=key, item="ipa", quantity=litres, reason="expired"),
                StockUsed(at=at, id=key, item="ipa", quantity=litres, purpose="spill"),
            ][int(share * 4.99)]
        )  # fmt: skip

    def correct(self, share: float) -> None:
        """What was entered was other litres."""
        if not self.said:
            return
        old = self.said[int(share * 0.999 * len(self.said))]
        name = next((n for n in ("volume_l", "quantity") if hasattr(old, n)), "")
        self.second += 1
        new = replace(
            old, id=f"right-{self.second}", corrects=old.id,
            **{name: round(0.5 + getattr(old, name) * (0.5 + share), 3)},
        )  # fmt: skip
        self.said.remove(old)
        self.enter(new)

    def take_back(self, share: float) -> None:
        if self.said:
            old = self.said.pop(int(share * 0.999 * len(self.said)))
            record(self.store, ROOM, [Withdrawal(at=self.at(), withdraws=old.id)], self.now)


def always(_: object) -> bool:
    """Whatever is asked about was answered."""
    return True


@dataclass
class Seen:
    """What is wrong in a room after an act.

    Attributes:
        imbalance_l: what the accounts do not add up to nothing by.
        apart: pages that name other litres than the book, with both.
    """

    imbalance_l: float
    apart: list[str]


def look(room: Room) -> Seen:
    """The litres of the book beside those of every page that names litres."""
    with Session(room.store.reader) as session:
        row = find_room(session, ROOM)
        book = book_of(session, row, room.now)
        board = queries.board(session, room.id, room.now)
        area = stored(session, room.id, room.now)
        fire = next_swaps(session, row, board, room.now).stock.fire
        week_ago = NOW - timedelta(days=7)
        (spent,) = levels_between(session, room.id, week_ago, [room.now + SECOND], lambda *_: 0.0)
    apart = [f"page of {one.account}: {one.page_l:.3f} L, {one.book_l:.3f}" for one in book.apart]
    by_place = {"tanks": 0.0, "shelf": 0.0, "drums": 0.0}
    places = {"tank": "tanks", "lot": "shelf", "drum": "drums"}
    for one in book.compared:
        by_place[places[one.account.partition(":")[0]]] += one.book_l + one.estimated_l

    def compare(page: str, litres: float, by_book_l: float) -> None:
        if not abs(litres - by_book_l) <= NEAR_L:
            apart.append(f"{page}: {litres:.3f} L, {by_book_l:.3f}")

    for place, litres in by_place.items():
        compare(f"storage, {place}", area.litres(where=place), litres)
    compare("plan", fire.tanks_l + fire.fresh_l + fire.waste_l, area.total_l)
    for one in book.compared:
        if one.account.removeprefix("tank:") in room.led:
            # Its level was estimated as the swap began, and seconds have passed.
            compare(f"estimate of {one.account}", one.estimated_l, 0.0)
    for key in sorted(room.baths & room.led):  # what the costs walk through has a begin
        bath = next(one for one in book.compared if one.account == f"tank:{key}")
        compare(f"spend, {key}", spent[key], bath.book_l)
    return Seen(book.imbalance_l, apart)


ACTS = (
    "start", "go_on", "go_on", "go_on", "go_on", "undo", "answer", "give_up", "again", "late",
    "topped_late", "poured_late", "now_and_then", "correct", "take_back",
)  # fmt: skip
OF_SWAPS = (
    "start", "go_on", "go_on", "undo", "answer", "give_up", "again", "topped_late", "topped_late",
    "correct", "take_back", "poured_late",
)  # fmt: skip
REFUSED = (FieldErrors, Conflict, DomainError)


@contextmanager
def copy_of(made: Path) -> Iterator[Store]:
    with TemporaryDirectory() as folder:
        shutil.copytree(made, folder, dirs_exist_ok=True)
        store = open_store(f"sqlite:///{Path(folder) / NAME}")
        store.mark_in_use()
        yield store
        store.close()


@dataclass
class Ran:
    """What came of sequences: acts that were done and refused, looks at the pages."""

    most_l: float = 0.0
    done: int = 0
    refused: int = 0
    looks: int = 0
    apart: list[str] = field(default_factory=list)

    def add(self, made: Path, acts: list[Act]) -> list[str]:
        """Do the acts of a sequence, looking at all pages after each; what was apart."""
        found: list[str] = []
        with copy_of(made) as store:
            room = Room(store)
            for place, (act, share) in enumerate(acts, 1):
                try:
                    getattr(room, act)(share)
                    self.done += 1
                except REFUSED:
                    self.refused += 1
                seen = look(room)
                self.looks += 1
                self.most_l = max(self.most_l, abs(seen.imbalance_l))
                found += [f"after {place} acts, {act}: {one}" for one in seen.apart]
        self.apart += found
        return found


def drawn(chance: random.Random, number: int) -> list[Act]:
    """A sequence by chance; in every second one the acts have to do with one swap."""
    among = (ACTS, OF_SWAPS)[number % 2]
    return [(chance.choice(among), chance.random()) for _ in range(chance.randint(4, 18))]
