"""After any sequence of deliveries, pours, swaps, top-ups and pickups all pages name the same
total, and the litres balance: what stands where is worked out beside the program, by hand.

The model knows four places (two tanks, shelf, drums) and adds and takes as the acts say.
"""

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from app.config import Settings
from app.domain.checklists.run import SwapState
from app.domain.roomlog.kinds import TopUp
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, PickupShipped, Pour
from app.main import create_app
from app.services.acts import topping_up
from app.services.acts.swaps import closing, contents, swapping
from app.services.acts.swaps.contents import Answer
from app.services.acts.swaps.ticking import Said, tick
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.litres.reading import NEAR_L, book_of, state_of
from app.services.planning.proposal import next_swaps
from app.services.rooms import find_room
from app.services.spend.whatif import room_now
from app.services.storage import stored
from app.services.swaps.under_way import Hand, open_swap, swap_state
from app.store import queries
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish, sensor_reading, wash
from tests.furnished import new_store
from tests.services.swaps.led import reading

NEAR = 0.02  # litres: a hundredth for each of two tanks whose level is an estimate
CAPACITY_L, HEEL = 40.0, 0.02
BEFORE_DRAIN = ("prepare", "protect", "isolate", "choose_drum", "bond")


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two baths, large drums, solvent on the shelf and a limit for the fire area."""
    folder = tmp_path_factory.mktemp("litres")
    store = new_store(folder)
    furnish(store, tanks=2)
    drums = [
        Drum(at=START, drum=key, name=key.upper(), capacity_l=2000, stream="isopropanol_resin",
             area="wash_station")
        for key in ("d1", "d2", "d3")
    ]  # fmt: skip
    record(
        store, ROOM,
        [
            *(wash(9 - i, area_cm2=3000.0) for i in range(8)), sensor_reading(1, 5.0), *drums,
            Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.0),
            StockReceived(at=START, item="ipa", quantity=900, lot="A7"),
            SiteRules(at=START, site="site", flammable_limit_l=2000),
        ],
        NOW,
    )  # fmt: skip
    store.close()
    return folder


def always(_: object) -> bool:
    """Whatever is asked about was answered."""
    return True


@dataclass
class Model:
    """What is where by the acts alone.

    Attributes:
        swap: of `t1`: its key; `stage` before, drained, rinsed, filled; `steps` undoes each act.
    """

    t1: float
    t2: float
    shelf: float = 900.0
    drums: dict[str, float] = field(default_factory=lambda: {"d1": 0.0, "d2": 0.0, "d3": 0.0})
    swap: str = ""
    stage: str = ""
    before: float = 0.0
    drained: float = 0.0
    heel: float = 0.0
    given_up: bool = False
    asked: bool = False
    back: list[tuple[str, Callable[[], None]]] = field(default_factory=list)


class Room:
    """The room under test, and the model beside it."""

    def __init__(self, store: Store) -> None:
        self.store, self.second = store, 0
        with Session(store.reader) as session:
            self.id = find_room(session, ROOM).id or 0
            board = queries.board(session, self.id, NOW)
        first, second = board.tanks
        self.model = Model(first.volume_l, second.volume_l)
        self.has_swapped = False

    @property
    def at(self) -> Any:
        self.second += 1
        return NOW + timedelta(seconds=self.second)

    def hand(self) -> Hand:
        return Hand(self.at, "Wren", "As it was")

    def state(self) -> SwapState:
        with Session(self.store.reader) as session:
            return swap_state(session, self.id, self.model.swap)

    def said(self, step: str, **answers: Any) -> None:
        found = self.state().step(step)
        assert found is not None
        hand = self.hand()
        taken = reading() if found.role == "reading" else None
        said = Said(step, hand, answers, frozenset(range(len(found.confirms))), taken, True)
        tick(self.store, ROOM, self.model.swap, said, hand.at)

    # Acts: each does nothing where it cannot be.

    def deliver(self, share: float) -> None:
        litres, at = round(5 + 50 * share, 2), self.at
        came = StockReceived(at=at, item="ipa", quantity=litres, lot="A7")
        enter(self.store, ROOM, [came], at, confirmed=UNLIKE_THE_LAST)
        self.model.shelf += litres

    def pour(self, share: float) -> None:
        litres, at = round(1 + 9 * share, 2), self.at
        enter(self.store, ROOM, [Pour(at=at, drum="d2", volume_l=litres)], at)
        self.model.drums["d2"] += litres

    def top_up(self, share: float) -> None:
        litres, at = round(0.1 + 0.4 * share, 2), self.at
        entry = TopUp(at=at, by="Wren", tank="t2", volume_l=litres)
        use = topping_up.use_of(entry, "ipa|A7")
        topping_up.record_top_up(self.store, ROOM, entry, use, at, None)
        self.model.t2 += litres
        self.model.shelf -= litres

    def pickup(self, _: float) -> None:
        if "d2" not in self.model.drums:
            return
        at = self.at
        gone = PickupShipped(at=at, pickup="p1", drums=["d2", "d3"], document="D 1")
        record(self.store, ROOM, [gone], at)
        del self.model.drums["d2"], self.model.drums["d3"]
        self.pour = lambda _: None  # type: ignore[method-assign]

    def start(self, _: float) -> None:
        model = self.model
        if (model.swap and not model.given_up) or model.asked:
            return
        hand = self.hand()
        swapping.start(self.store, ROOM, "t1", None, hand, hand.at)
        with Session(self.store.reader) as session:
            state = open_swap(session, self.id, "t1")
        assert state is not None
        model.swap, model.given_up, model.stage = state.key, False, "before"
        model.before, self.has_swapped = state.estimated_l, True
        model.back.clear()
        for step in BEFORE_DRAIN:
            self.said(step, **({"drum": "d1"} if step == "choose_drum" else {}))

    def go_on(self, share: float) -> None:
        model = self.model
        if not model.swap or model.given_up or model.asked:
            return
        {"before": self._drain, "drained": self._rinse, "rinsed": self._fill,
         "filled": self._complete}[model.stage](share)  # fmt: skip

    def _drain(self, share: float) -> None:
        model = self.model
        out_l = round(model.before * (0.93 + 0.07 * share), 3)
        if out_l < 0.05:
            return
        seen = share < 0.5
        rest_l = max(0.0, model.before - out_l)
        heel_l = round(rest_l * share, 3) if seen else min(HEEL * CAPACITY_L, rest_l)
        self.said("drain", drained_l=out_l, **({"heel_l": heel_l} if seen else {}))
        was_l = model.t1

        def back() -> None:
            model.t1, model.stage = was_l, "before"
            model.drums["d1"] -= out_l

        model.t1, model.stage, model.drained = heel_l, "drained", out_l
        model.heel = heel_l
        model.drums["d1"] += out_l
        model.back.append(("drain", back))

    def _rinse(self, share: float) -> None:
        model, litres, is_booked = self.model, round(0.5 + share, 2), share < 0.7
        self.said("inspect")
        self.said("rinse", rinse_l=litres, lot="ipa|A7" if is_booked else "-")
        self.said("wipe")
        self.said("refit")

        def back() -> None:
            model.stage = "drained"
            model.drums["d1"] -= litres
            model.shelf += litres * is_booked
            for step in ("inspect", "wipe", "refit"):
                swapping.undo(self.store, ROOM, model.swap, step, self.hand(), self.at)

        model.stage = "rinsed"
        model.drums["d1"] += litres
        model.shelf -= litres * is_booked
        model.back.append(("rinse", back))

    def _fill(self, share: float) -> None:
        model = self.model
        litres = round((39.0 - model.t1) * (0.8 + 0.2 * share), 3)
        if litres < 1:
            return
        is_booked = share < 0.8
        self.said("fill", filled_l=litres, lot="ipa|A7" if is_booked else "-")
        was_l = model.t1

        def back() -> None:
            model.t1, model.stage = was_l, "rinsed"
            model.shelf += litres * is_booked

        model.t1, model.stage = model.t1 + litres, "filled"
        model.shelf -= litres * is_booked
        model.back.append(("fill", back))

    def _complete(self, _: float) -> None:
        for step in self.state().open_required:
            self.said(step.key)
        hand = self.hand()
        closing.complete(self.store, ROOM, self.model.swap, hand, False, hand.at)
        self.model.swap = ""

    def undo(self, _: float) -> None:
        model = self.model
        if not model.swap or model.given_up or model.asked or not model.back:
            return
        step, back = model.back.pop()
        swapping.undo(self.store, ROOM, model.swap, step, self.hand(), self.at)
        back()

    def pause(self, share: float) -> None:
        model = self.model
        if model.stage in ("", "before") or not model.swap or model.given_up:
            return
        self._answer(share, lambda hand, said: contents.say(
            self.store, ROOM, model.swap, [said], hand, hand.at, settles=always))  # fmt: skip
        model.back.clear()  # what was seen since stands

    def give_up(self, share: float) -> None:
        model = self.model
        if not model.swap or model.given_up or model.asked:
            return
        if model.stage == "before":
            hand = self.hand()
            as_before = [Answer("t1", "as_before")]  # it may have flowed: nobody has ticked that
            contents.give_up(
                self.store, ROOM, model.swap, hand, hand.at, None, as_before, settles=always
            )
        else:
            self._answer(share, lambda hand, said: contents.give_up(
                self.store, ROOM, model.swap, hand, hand.at, None, [said], settles=always
            ))  # fmt: skip
        model.given_up = True

    def answer(self, share: float) -> None:
        if self.model.asked:
            self._answer(0.7 * share, lambda hand, said: contents.say(
                self.store, ROOM, self.model.swap, [said], hand, hand.at, settles=always
            ))  # fmt: skip

    def again(self, _: float) -> None:
        model = self.model
        if not model.given_up or model.stage in ("", "before"):
            return
        hand = self.hand()
        closing.take_up_again(self.store, ROOM, model.swap, hand, hand.at)
        model.given_up, model.asked = False, True
        model.back.clear()
        with Session(self.store.reader) as session:  # by its steps, whatever was said in between
            row = queries.board(session, self.id, hand.at).tank("t1")
        assert row is not None
        model.t1 = row.volume_l

    def _answer(self, share: float, send: Callable[[Hand, Answer], Any]) -> None:
        """As before, the new bath or empty, partly, or nobody can look."""
        model, hand = self.model, self.hand()
        if share >= 0.75:
            send(hand, Answer("t1", "asked"))
            model.asked = True
            return
        if share < 0.25 and model.stage != "filled":
            send(hand, Answer("t1", "as_before"))
            model.t1 = model.before
        elif share < 0.4 and model.stage == "filled":
            send(hand, Answer("t1", "empty"))
            model.t1 = min(HEEL * CAPACITY_L, max(0.0, model.before - model.drained))
        elif share < 0.5 and model.stage != "filled":
            send(hand, Answer("t1", "empty"))
            model.t1 = model.heel
        elif share < 0.5:
            send(hand, Answer("t1", "filled"))
        else:
            most_l = model.t1 if model.stage == "filled" else 10.0
            litres = round(most_l * 4 * (share - 0.5), 2)
            send(hand, Answer("t1", "partly", litres))
            model.t1 = litres
        model.asked = False


UNLIKE_THE_LAST = frozenset({"stock_received_quantity"})
"""A delivery is asked about that is far from those before it."""
ACTS = (
    "deliver", "pour", "top_up", "pickup", "start", "go_on", "go_on", "go_on", "undo", "pause",
    "give_up", "answer", "again",
)  # fmt: skip


def books_agree(room: Room) -> None:
    """Storage and readiness name the litres of the model, place by place."""
    model = room.model
    now = NOW + timedelta(seconds=room.second)
    with Session(room.store.reader) as session:
        row = find_room(session, ROOM)
        area = stored(session, room.id, now)
        fire = next_swaps(session, row, queries.board(session, room.id, now), now).stock.fire
    found = {where: area.litres(where=where) for where in ("tanks", "shelf", "drums")}
    book_agrees(room, now)
    assert found["drums"] == pytest.approx(sum(model.drums.values()), abs=0.001)
    assert found["shelf"] == pytest.approx(model.shelf, abs=0.001)
    assert found["tanks"] == pytest.approx(model.t1 + model.t2, abs=NEAR)
    assert fire.tanks_l + fire.fresh_l + fire.waste_l == pytest.approx(area.total_l, abs=0.001)


def book_agrees(room: Room, now: Any) -> None:
    """The book of litres has every litre where the model and the pages have it, and loses none.

    Nothing evaporates in seconds: what acts say of a tank and what the estimate says are one.
    """
    model = room.model
    with Session(room.store.reader) as session:
        state = state_of(session, room.id)
        book = book_of(session, find_room(session, ROOM), now)
    assert book.imbalance_l == 0
    assert book.apart == ()
    assert sum(state.of_kind("lot").values()) == pytest.approx(model.shelf, abs=0.001)
    assert {key: state.litres(f"drum:{key}") for key in model.drums} == pytest.approx(
        model.drums, abs=0.001
    )
    (bath,) = (one for one in book.compared if one.account == "tank:t1")
    if room.has_swapped:  # as its swap began the level was estimated, and nothing passed since
        assert bath.estimated_l == pytest.approx(0.0, abs=NEAR_L)


def pages_agree(client: TestClient, room: Room) -> None:
    """Storage, plan, orders, what if and the API name one total."""
    at = f"/rooms/{ROOM}"
    total_l = client.get(f"/api/v1{at}/storage").json()["total_l"]
    tanks = [client.get(f"/api/v1{at}/tanks/{key}").json() for key in ("t1", "t2")]
    in_tanks_l = sum(one["estimate"]["volume_l"] for one in tanks)
    rest_l = room.model.shelf + sum(room.model.drums.values())
    assert total_l == pytest.approx(in_tanks_l + rest_l, abs=NEAR)
    figures = [
        re.search(r'class="figure">([\d.,]+) L', client.get(f"{at}/storage").text),
        re.search(r"in the fire area: <b>([\d.,]+) L", client.get(f"{at}/plan").text),
        re.search(r"in the fire area: <b>([\d.,]+) L", client.get(f"{at}/shelf/orders").text),
    ]
    for one in figures:
        assert one is not None
        assert float(one[1].replace(",", "")) == pytest.approx(total_l, abs=0.51)
    with Session(room.store.reader) as session:
        case = room_now(session, find_room(session, ROOM), NOW).room
    assert case is not None
    assert case.fire_l == pytest.approx(total_l, abs=0.001)


@settings(
    max_examples=15, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(acts=st.lists(st.tuples(st.sampled_from(ACTS), st.floats(0, 1)), max_size=14))
@example(acts=[("start", 0), ("go_on", 0.6), ("give_up", 0.3), ("start", 0), ("go_on", 0.2)])
@example(acts=[("start", 0), ("go_on", 0.6), ("give_up", 0.9), ("answer", 0.9), ("top_up", 1)])
@example(
    acts=[("start", 0), ("go_on", 0.1), ("pause", 0.55), ("go_on", 0.5), ("go_on", 0.5),
          ("pause", 0.9), ("answer", 0.5), ("go_on", 0), ("pickup", 0), ("start", 0)]
)  # fmt: skip
@example(
    acts=[("start", 0), ("go_on", 1), ("go_on", 0.9), ("go_on", 0.9), ("undo", 0), ("undo", 0),
          ("undo", 0), ("go_on", 0.4), ("give_up", 0.6), ("again", 0), ("answer", 0.4)]
)  # fmt: skip
def test_all_pages_say_the_same_and_the_litres_balance_after_any_sequence_of_acts(
    furnished: Path, acts: list[tuple[str, float]]
) -> None:
    with TemporaryDirectory() as folder:
        shutil.copytree(furnished, folder, dirs_exist_ok=True)
        room: Room | None = None
        app = create_app(
            Settings(data_dir=Path(folder)),
            clock=lambda: NOW + timedelta(seconds=room.second if room else 0),
        )
        room = Room(app.state.store)
        books_agree(room)
        for act, share in acts:
            getattr(room, act)(share)
            books_agree(room)
        with TestClient(app, base_url="http://room.test") as client:
            pages_agree(client, room)
