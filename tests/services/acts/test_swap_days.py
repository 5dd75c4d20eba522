"""Deciding the days of swaps: set, moved, put off, taken back, refused."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.planning import SwapMoved, SwapPinned, SwapPostponed
from app.domain.roomlog.kinds.site import CrewMember
from app.services.acts.swap_days import decide_day
from app.services.door import bring_in as record
from app.services.planning.days import DayDecision
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.log import find_entry
from tests.factories import NOW, ROOM, withdraw
from tests.services.planning.rooms import MON, copied, make, seen


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("furnished")
    make(folder)
    return folder


@pytest.fixture
def store(tmp_path: Path, furnished: Path) -> Iterator[Store]:
    with copied(furnished, tmp_path) as store:
        yield store


def decided(store: Store, **decision: Any) -> str:
    return decide_day(store, ROOM, DayDecision(**decision), NOW).ids[0]


def refused(store: Store, **decision: Any) -> dict[str, str]:
    before = seen(store).schedule
    with pytest.raises(FieldErrors) as caught:
        decided(store, **decision)
    assert seen(store).schedule == before
    return caught.value.by_field()


def test_a_day_is_set_moved_put_off_and_left_to_the_proposal_again(store: Store) -> None:
    proposed = seen(store).proposal("t2")
    days = [MON + timedelta(days=n) for n in (1, 2, 9)]
    first = decided(store, tank="t2", action="pin", day=days[0])
    moved = decided(store, tank="t2", action="pin", day=days[1], reason="Pickup comes earlier")
    put_off = decided(store, tank="t2", action="postpone", day=days[2], reason="Big order")
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        kinds = [find_entry(session, room_id, uid).kind for uid in (first, moved, put_off)]
    assert kinds == [SwapPinned.kind, SwapMoved.kind, SwapPostponed.kind]
    now_ = seen(store).proposal("t2")
    assert now_ is not None
    assert now_.day is not None
    assert now_.day >= days[2]
    decided(store, tank="t2", action="release")
    assert seen(store).proposal("t2") == proposed


def test_a_decision_taken_back_leaves_the_one_before(store: Store) -> None:
    tuesday, friday = MON + timedelta(days=1), MON + timedelta(days=4)
    decided(store, tank="t2", action="pin", day=tuesday)
    moved = decided(store, tank="t2", action="pin", day=friday, reason="Wren is away")
    withdraw(store, ROOM, moved, "Curlew", "", NOW, None)
    found = seen(store).proposal("t2")
    assert found is not None
    assert (found.day, found.is_pinned) == (tuesday, True)


def test_a_decision_ends_with_the_swap(store: Store) -> None:
    decided(store, tank="t1", action="pin", day=MON + timedelta(days=1))
    later = NOW + timedelta(hours=1)
    record(store, ROOM, [Swap(at=later, tank="t1")], later)
    found = seen(store, later)
    assert found.candidates["t1"].pinned_on is None


@pytest.mark.parametrize(
    "decision, field",
    [
        ({"action": "pin"}, "day"),
        ({"action": "pin", "day": MON - timedelta(days=1)}, "day"),
        ({"action": "pin", "day": MON + timedelta(weeks=27)}, "day"),
        ({"action": "pin", "day": MON + timedelta(weeks=20)}, "reason"),
        ({"action": "postpone", "day": MON + timedelta(days=3)}, "reason"),
        ({"action": "postpone", "day": MON, "reason": "?"}, "day"),
        ({"action": "release"}, "action"),
        ({"action": "dance", "day": MON}, "action"),
        ({"action": "pin", "day": MON, "reason": "x" * 201}, "reason"),
        ({"action": "pin", "day": MON, "tank": "none"}, "tank"),
    ],
)
def test_what_cannot_be_decided_is_refused(
    store: Store, decision: dict[str, Any], field: str
) -> None:
    assert field in refused(store, **({"tank": "t1"} | decision))


def test_where_leads_are_entered_one_of_them_decides(store: Store) -> None:
    record(store, ROOM, [CrewMember(at=NOW, crew="crew", name="Curlew", role="lead")], NOW)
    tomorrow = MON + timedelta(days=1)
    found = refused(store, tank="t1", action="pin", day=tomorrow, by="Wren")
    assert "Curlew" in found["by"]
    assert decided(store, tank="t1", action="pin", day=tomorrow, by="Curlew")


def test_a_retry_decides_once(store: Store) -> None:
    decision = DayDecision("t2", "pin", MON + timedelta(days=1))
    first = decide_day(store, ROOM, decision, NOW, "key")
    again = decide_day(store, ROOM, decision, NOW, "key")
    assert again.ids == first.ids
    assert again.is_replayed
