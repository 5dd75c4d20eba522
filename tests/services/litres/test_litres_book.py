"""The book of litres as it is kept: beside its pages, from the exported log, late and corrected."""

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app.domain.checklists.tank_contents import standing
from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Removal, Swap, TopUp, Withdrawal
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.services.acts.swaps import closing as swap_closing
from app.services.acts.swaps import contents, swapping
from app.services.acts.swaps.contents import Answer
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.exporting import log_lines
from app.services.litres.reading import Book, all_postings, book_of, state_of
from app.services.rebuilding import rebuild_room
from app.services.rooms import find_room
from app.services.swaps.under_way import Hand
from app.store.engine import Store
from app.store.tables import TankRow
from tests.factories import NOW, ROOM, withdraw
from tests.oracles import Ask
from tests.services.law import check
from tests.services.swaps.led import Run, room_id

AGO = NOW - timedelta(minutes=5)


def book(store: Store) -> Book:
    with Session(store.reader) as session:
        return book_of(session, find_room(session, ROOM), NOW)


def balances(store: Store) -> dict[str, float]:
    with Session(store.reader) as session:
        state = state_of(session, room_id(store))
    return {name: amount / 1e6 for name, amount in state.balances_ul.items()}


def a_month(store: Store) -> None:
    """A swap by its list, and what else moves litres: late, corrected and taken back."""
    run = Run(store)
    run.until_done()
    run.complete(note="Read again: the drum's mark")
    pour = Pour(at=AGO, id="pour-1", drum="d2", volume_l=9.0, tank="clean")
    record(
        store, ROOM,
        [
            Drum(at=AGO, drum="d3", name="W-15", capacity_l=60, stream="isopropanol_resin",
                 area="central", volume_l=4.0),
            Removal(at=AGO, tank="clean", volume_l=9.0), pour,
            replace(pour, id="pour-2", volume_l=8.25, corrects="pour-1"),
            Pour(at=AGO, id="pour-3", drum="d2", volume_l=3.0, tank="clean"),
            TopUp(at=NOW, tank="t1", volume_l=0.4),
            StockUsed(at=NOW, item="ipa", quantity=0.4, lot="B1", purpose="top_up", tank="t1"),
            DrumTransfer(at=NOW, drum="d3", from_drum="d2", volume_l=2.5, waste_kg=2.0),
            Pour(at=NOW - timedelta(days=2), drum="d2", volume_l=1.75),
        ],
        NOW,
    )  # fmt: skip
    withdraw(store, ROOM, "pour-3", "Wren", "", NOW, None)
    record(store, ROOM, [PickupShipped(at=NOW, pickup="p", drums=["d1"], document="D")], NOW)


def test_every_page_names_the_litres_of_the_book(store: Store) -> None:
    a_month(store)
    found = book(store)
    assert found.apart == ()
    assert found.imbalance_l == 0
    bath = next(one for one in found.compared if one.account == "tank:t1")
    assert -0.05 < bath.estimated_l <= 0.0  # what evaporates in the hours since its fill
    assert [one.name for one in found.unexplained] != []
    check(store)


def test_the_book_posted_anew_is_the_same(store: Store) -> None:
    a_month(store)
    before = balances(store)
    with Session(store.reader) as session:
        posted = list(all_postings(session, room_id(store)))
    rebuild_room(store, ROOM, NOW)
    assert balances(store) == before
    with Session(store.reader) as session:
        assert list(all_postings(session, room_id(store))) == posted
    into = sum(one.litres for one in posted if one.target == "drum:d2")
    out = sum(one.litres for one in posted if one.source == "drum:d2")
    assert into - out == pytest.approx(before["drum:d2"])


def test_an_exported_log_summed_by_another_library_gives_the_same_litres(
    store: Store, ask: Ask
) -> None:
    """Sums of the log's columns in pandas, without accounts: drums, lots, and the bath whose last
    new bath the log tells of."""
    a_month(store)
    lines = [json.loads(line) for line in log_lines(store, room_id(store))]
    found = dict(ask("litres_of_log", numbered(lines), unit="account, L"))
    own = balances(store)
    book_ = {name: own[name] for name in own if name.startswith(("drum:", "lot:"))}
    assert {n: v for n, v in found.items() if not n.startswith("tank:")} == pytest.approx(book_)
    tanks = {n: v for n, v in found.items() if n.startswith("tank:")}
    assert tanks == pytest.approx({"tank:t1": own["tank:t1"]})


STEPS: dict[str, dict[str, Any]] = {
    "prepare": {}, "protect": {}, "isolate": {}, "isolate_clean": {},
    "choose_drum": {"drum": "d1"}, "bond": {}, "drain": {"drained_l": 37.5, "heel_l": 0.6},
    "inspect": {}, "rinse": {"rinse_l": 2.25, "lot": "ipa|A7"}, "wipe": {}, "refit": {},
    "move_clean": {"moved_l": 36.0}, "rinse_clean": {"rinse_l": 1.5, "lot": "ipa|B1"},
    "clean_tank": {}, "refit_clean": {}, "fill": {"filled_l": 37.0, "lot": "ipa|A7"},
}  # fmt: skip


def broken_off(store: Store, stop: str, *, is_undone: bool) -> None:
    """A swap of a pair up to a step, which is undone and done once more, or not; then given up. A
    pour is told late and corrected, and one taken back."""
    run = Run(store, "dirty", "clean")
    for key, answers in STEPS.items():
        run.look(key)
        run.tick(key, is_sure=True, **answers)
        if key == stop:
            break
    if is_undone:
        swapping.undo(store, ROOM, run.key, stop, run.hand(), NOW)
        run.tick(stop, is_sure=True, **STEPS[stop])
    said = [Answer(tank, "partly", 5.5) for tank in asked_of(run)]
    contents.give_up(store, ROOM, run.key, Hand(NOW, "Wren"), NOW, answers=said,
                     settles=lambda _: True)  # fmt: skip
    pour = Pour(at=AGO - timedelta(days=2), id="late-1", drum="d2", volume_l=4.0)
    record(store, ROOM, [pour, replace(pour, id="late-2", volume_l=3.25, corrects="late-1"),
                         replace(pour, id="late-3", volume_l=1.0)], NOW)  # fmt: skip
    withdraw(store, ROOM, "late-3", "Wren", "", NOW, None)


def asked_of(run: Run) -> list[str]:
    """The tanks of a swap whose liquid was moved."""
    tanks = (run.state.tank, run.state.from_tank or "")
    return [tank for tank in tanks if standing(run.state, tank, 2.0) is not None]


@pytest.mark.parametrize(
    "stop, is_undone",
    [("drain", False), ("drain", True), ("rinse", False), ("move_clean", False),
     ("rinse_clean", False), ("rinse_clean", True), ("fill", False)],
)  # fmt: skip
def test_of_a_pair_given_up_at_a_step_another_library_sums_the_same_litres(
    store: Store, ask: Ask, stop: str, is_undone: bool
) -> None:
    """Drums and lots by sums of the exported log in pandas; tanks by what was seen in them."""
    broken_off(store, stop, is_undone=is_undone)
    lines = [json.loads(line) for line in log_lines(store, room_id(store))]
    found = {n: v for n, v in ask("litres_of_log", numbered(lines), unit="account, L")
             if not n.startswith("tank:")}  # fmt: skip
    own = {name: litres for name, litres in balances(store).items() if abs(litres) > 1e-9}
    assert found == pytest.approx(
        {name: own[name] for name in own if name.startswith(("drum:", "lot:"))}
    )
    seen = [one for one in lines if one["kind"] == "removal" and one.get("left_l") is not None]
    assert all(own[f"tank:{one['tank']}"] == pytest.approx(5.5, abs=0.01) for one in seen)
    is_drained = list(STEPS).index(stop) >= list(STEPS).index("drain")
    assert bool(seen) == is_drained
    assert book(store).imbalance_l == 0
    assert book(store).apart == ()


NEEDED = ("kind", "at", "id", "tank", "drum", "from_drum", "drums", "item", "lot", "volume_l",
          "quantity", "filled_l", "heel_l", "corrects", "withdraws")  # fmt: skip
MOVED = ("drum", "pour", "drum_transfer", "pickup_shipped", "stock_received", "stock_used",
         "stock_scrapped", "swap", "top_up", "removal", "withdrawal")  # fmt: skip


def numbered(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What of a log names litres, its ids by their order: those of a run differ from the next."""
    ids: dict[str, str] = {}
    some = [one for one in lines if one["kind"] in MOVED]
    for one in some:
        ids.setdefault(one["id"], f"e{len(ids)}")
    return [
        {
            name: ids.get(one[name], "") if name in ("id", "corrects", "withdraws") else one[name]
            for name in NEEDED
            if one.get(name) is not None
        }
        for one in some
    ]


def test_a_tank_of_a_swap_that_its_page_has_otherwise_is_named(store: Store) -> None:
    """No estimate stands between the steps and the page: a tenth of a litre shows."""
    Run(store).until_drained()
    assert book(store).apart == ()
    with Session(store.writer) as session:
        row = session.exec(select(TankRow).where(TankRow.key == "t1")).one()
        row.volume_l += 0.1
        session.add(row)
        session.commit()
    (found,) = book(store).apart
    assert (found.account, round(found.apart_l, 3)) == ("tank:t1", 0.1)


def test_what_is_in_a_drum_and_out_of_no_bath_is_called_so_once_a_swap_begins(store: Store) -> None:
    """Less than nothing of what was drained: the page does not say that it is in no drum."""
    pour = Pour(at=AGO, drum="d2", volume_l=3.8, tank="t1")
    record(store, ROOM, [pour], NOW)
    Run(store)
    names = [one.name for one in book(store).unexplained if round(one.litres, 2) == -3.8]
    assert names == ["in drums but not drained from a bath, from T1"]


def take_back(store: Store, uid: str) -> None:
    """Withdraw an entry as its page and a program do."""
    enter(store, ROOM, [Withdrawal(at=NOW, by="Wren", withdraws=uid)], NOW)


@pytest.mark.parametrize("stop", ["drain", "rinse", "fill"])
def test_a_tick_that_is_withdrawn_takes_back_what_followed_from_it(store: Store, stop: str) -> None:
    """By its own entry, on its page or by a program, as by the step's undo: no litre stays behind
    off the shelf or in a drum."""
    run = Run(store)
    ticked: dict[str, str] = {}
    for key in ("prepare", "protect", "isolate", "choose_drum", "bond", "drain", "inspect", "rinse",
                "wipe", "refit", "fill"):  # fmt: skip
        run.look(key)
        before = balances(store)
        ticked[key] = run.tick(key, is_sure=True, **STEPS[key]).ids[0]
        if key == stop:
            break
    assert balances(store) != before
    take_back(store, ticked[stop])
    assert balances(store) == pytest.approx(before)
    assert book(store).apart == ()
    with pytest.raises(Conflict):
        take_back(store, f"{ticked[stop]}.1")


def test_a_close_that_is_withdrawn_takes_its_new_bath_back_and_asks_what_is_in_the_tank(
    store: Store,
) -> None:
    run = Run(store)
    run.until_done()
    before = balances(store)
    run.complete(note="Read again: the drum's mark")
    take_back(store, run.state.close_id)
    assert (run.state.is_open, run.state.asks) == (True, ("t1",))
    after = balances(store)
    assert after["tank:t1"] == pytest.approx(before["tank:t1"], abs=0.01)
    assert book(store).apart == ()


LATER = NOW + timedelta(hours=5)


def test_a_completion_stays_once_the_next_bath_is_in_the_tank(store: Store) -> None:
    """By its page or its entry: the bath of long ago would stand in the tank again."""
    run = Run(store)
    run.until_done()
    run.complete(note="Read again: the drum's mark")
    next_ = Swap(at=LATER - timedelta(hours=1), by="Wren", tank="t1", filled_l=38.0)
    record(store, ROOM, [next_], LATER)
    before = balances(store)
    word = Withdrawal(at=LATER, by="Wren", withdraws=run.state.close_id)
    with pytest.raises(Conflict, match=r"The next bath of .* is in"):
        enter(store, ROOM, [word], LATER)
    with pytest.raises(Conflict, match=r"The next bath of .* is in"):
        swap_closing.reopen(store, ROOM, run.key, Hand(LATER, "Wren"), LATER)
    assert (run.state.end, balances(store)) == ("closed", before)


def test_a_completion_stays_once_the_next_swap_has_begun(store: Store) -> None:
    run = Run(store)
    run.until_done()
    run.complete(note="Read again: the drum's mark")
    Run(store)
    with pytest.raises(Conflict, match=r"The next swap of .* has begun"):
        take_back(store, run.state.close_id)
    assert run.state.end == "closed"


def test_a_tick_of_a_completed_swap_takes_no_litre_back(store: Store) -> None:
    """Its bath and its balance rest on it; opened again, the step can be undone."""
    run = Run(store)
    run.until_done()
    run.complete(note="Read again: the drum's mark")
    before = balances(store)
    drained = run.state.tick("drain")
    assert drained is not None
    with pytest.raises(Conflict, match="This swap is completed"):
        take_back(store, drained.id)
    assert balances(store) == before
    take_back(store, run.state.close_id)
    take_back(store, drained.id)
    assert run.state.tick("drain") is None
