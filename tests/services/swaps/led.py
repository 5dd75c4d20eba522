"""A room for swaps, and a swap of it that is led step by step."""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, select

from app.domain.checklists.run import SwapState
from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Reading
from app.domain.roomlog.kinds.checklists import StepOverruled
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import remarks as swap_words
from app.services.acts.swaps import swapping
from app.services.acts.swaps.ticking import Said, tick
from app.services.door import Recorded
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.swaps.looks import FOUND, looks_missing, refilled_from
from app.services.swaps.under_way import Hand, open_swap, swap_state
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.furnished import new_store
from tests.looks import look_round

BEGAN = NOW - timedelta(hours=3)


def swap_store(folder: Path) -> Store:
    """A room with a used bath, drums, solvent on the shelf and a lead."""
    store = new_store(folder)
    furnish(store)
    record(
        store, ROOM,
        [
            tank("clean"),
            tank("dirty", pair="clean"),
            *(wash(9 - i, area_cm2=9000.0) for i in range(8)),
            Drum(at=START, drum="d1", name="W-13", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station"),
            Drum(at=START, drum="d2", name="W-14", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station"),
            Drum(at=START, drum="water", name="W-20", capacity_l=200, stream="water_wash",
                 area="wash_station"),
            Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.8),
            StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
            StockReceived(at=START, item="ipa", quantity=30, lot="B1"),
            StockReceived(at=START, item="ipa", quantity=50, lot="OLD",
                          expires_on=date(2026, 2, 20)),
            CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        ],
        NOW,
    )  # fmt: skip
    return store


def _always(_doubts: Sequence[str]) -> bool:
    return True


def _never(_doubts: Sequence[str]) -> bool:
    return False


class Run:
    """A swap of `t1` in progress, a step a minute."""

    def __init__(self, store: Store, at_tank: str = "t1", from_tank: str | None = None) -> None:
        self.store, self.minute = store, 0
        swapping.start(store, ROOM, at_tank, from_tank, self.hand(), NOW)
        with Session(store.reader) as session:
            state = open_swap(session, room_id(store), at_tank)
        assert state is not None
        self.key = state.key

    def hand(self, by: str = "Wren", note: str = "") -> Hand:
        self.minute += 1
        return Hand(BEGAN + timedelta(minutes=self.minute), by, note)

    def tick(self, step: str, by: str = "Wren", note: str = "", **answers: Any) -> Recorded:
        found = self.state.step(step)
        assert found is not None
        said = Said(step, self.hand(by, note), answers, frozenset(range(len(found.confirms))),
                    reading=reading() if found.role == "reading" else None,
                    settles=_always if answers.pop("is_sure", False) else _never)  # fmt: skip
        return tick(self.store, ROOM, self.key, said, NOW)

    def refused(self, step: str, **answers: Any) -> dict[str, str]:
        """The messages with which a tick is refused; nothing is stored."""
        before = entries(self.store)
        with pytest.raises(FieldErrors) as caught:
            self.tick(step, **answers)
        assert entries(self.store) == before
        return caught.value.by_field()

    def until_bonded(self, drum: str = "d1") -> None:
        for step in ("prepare", "protect", "isolate"):
            self.tick(step)
        self.tick("choose_drum", drum=drum)
        self.tick("bond")

    def until_drained(self) -> None:
        self.until_bonded()
        self.look("drain")
        self.tick("drain", drained_l=39.0)

    def look(self, step: str) -> None:
        """Answer the looks that a step waits for: nothing is found."""
        found = self.state.step(step)
        assert found is not None
        with Session(self.store.reader) as session:
            missing = looks_missing(session, room_id(self.store), self.state, found)
        for one in missing:
            since = refilled_from(self.state, one.tank) or BEGAN
            while (at := self.hand().at) < since:
                pass
            look_round(self.store, one.tank, FOUND[one.gate], at)

    def until_filled(self) -> None:
        self.until_drained()
        self.tick("inspect")
        self.tick("rinse", rinse_l=2.0, lot="ipa|A7")
        self.tick("wipe")
        self.tick("refit")
        if self.state.from_tank:
            self.tick("isolate_clean")
            self.tick("move_clean", moved_l=39.0)
            self.tick("rinse_clean", rinse_l=1.0, lot="ipa|A7")
            self.tick("clean_tank")
            self.tick("refit_clean")
        self.tick("fill", filled_l=39.0, lot="ipa|A7")

    def until_done(self) -> None:
        self.until_filled()
        for step in ("leak_check", "read", "restart", "close_out"):
            self.look(step)
            self.tick(step, is_sure=True)

    def complete(self, by: str = "Wren", note: str = "", closes_drum: bool = False) -> Recorded:
        hand = Hand(NOW, by, note)
        return swap_closing.complete(self.store, ROOM, self.key, hand, closes_drum, NOW)

    def lead(
        self, step: str, gate: str, by: str = "Curlew", reason: str = "Agreed", about: str = ""
    ) -> Recorded:
        at = self.hand().at
        word = StepOverruled(at=at, by=by, swap=self.key, step=step, gate=gate, reason=reason,
                             about=about or None)  # fmt: skip
        return swap_words.overrule(self.store, ROOM, word, NOW)

    @property
    def state(self) -> SwapState:
        with Session(self.store.reader) as session:
            return swap_state(session, room_id(self.store), self.key)


def reading() -> Reading:
    return Reading(
        at=NOW - timedelta(minutes=30), by="Wren", tank="t1", method="hydrometer",
        values={"density_g_ml": 0.7855, "temperature_c": 20.0},
    )  # fmt: skip


def room_id(store: Store) -> int:
    with Session(store.reader) as session:
        found = find_room(session, ROOM).id
    assert found is not None
    return found


def state_of(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, room_id(store), kind, key)


def entries(store: Store, *kinds: str) -> list[str]:
    """Kinds of all entries, or the ids of those of some kinds that count."""
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).order_by(EntryRow.id)).all()  # type: ignore[arg-type]
    if not kinds:
        return [row.kind for row in rows]
    return [row.uid for row in rows if row.kind in kinds and row.voided_by is None]


def tank_row(store: Store, key: str = "t1") -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()
