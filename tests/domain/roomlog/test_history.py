"""Which entries count, and in what order."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from app.domain.roomlog.history import History, effective, moment, rank
from app.domain.roomlog.kinds import Entry, PlannedWash, Resin, Swap, Tank, Wash, Withdrawal

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def wash(hour: int = 0, **values: object) -> Wash:
    at = NOON + timedelta(hours=hour)
    return Wash(at=at, tank="alder", resin="slate", parts=1, **values)


def ids(entries: list[Entry]) -> list[str]:
    return [entry.id for entry in entries]


def test_entries_stand_in_the_order_in_which_they_happened() -> None:
    assert ids(effective([wash(3, id="c"), wash(1, id="a"), wash(2, id="b")])) == ["a", "b", "c"]


def test_at_one_moment_resins_and_tanks_come_first_and_the_rest_as_written() -> None:
    tank = Tank(
        at=NOON, id="tank", tank="alder", name="Alder", capacity_l=20, solvent="isopropanol"
    )
    resin = Resin(at=NOON, id="resin", resin="slate", name="Slate", density_g_ml=1.1)
    swap = Swap(at=NOON, id="swap", tank="alder")
    found = effective([wash(id="first"), swap, tank, resin])
    assert ids(found) == ["resin", "tank", "first", "swap"]
    assert rank(resin) < rank(tank) < rank(swap)


def test_a_plan_stands_where_it_became_known() -> None:
    known = NOON - timedelta(days=7)
    plan = PlannedWash(at=NOON, tank="alder", resin="slate", parts=1, known_from=known)
    assert moment(plan) == known


def test_a_correction_replaces_its_original_and_keeps_its_place_in_a_tie() -> None:
    first, second = wash(id="first"), wash(id="second")
    corrected = wash(id="corrected", corrects="first", entered_at=NOON + timedelta(days=1))
    assert ids(effective([first, second, corrected])) == ["corrected", "second"]


def test_a_correction_of_a_correction_counts_alone() -> None:
    log = [wash(id="a"), wash(id="z"), wash(id="b", corrects="a"), wash(id="c", corrects="b")]
    assert ids(effective(log)) == ["c", "z"]


def test_of_two_corrections_of_one_entry_the_later_counts() -> None:
    log = [wash(id="a"), wash(id="b", corrects="a"), wash(id="c", corrects="a")]
    assert ids(effective(log)) == ["c"]


def test_a_withdrawn_entry_does_not_count_wherever_the_withdrawal_stands() -> None:
    withdrawal = Withdrawal(at=NOON, id="w", withdraws="a")
    assert ids(effective([wash(id="a"), wash(id="b"), withdrawal])) == ["b"]
    assert ids(effective([withdrawal, wash(id="a"), wash(id="b")])) == ["b"]


def test_learning_names_the_earliest_place_that_changes() -> None:
    history = History()
    history.learn(wash(1, id="a"), 0)
    history.learn(wash(5, id="b"), 1)
    place = history.learn(wash(7, id="c", corrects="a"), 2)
    assert place is not None
    assert place.moment == NOON + timedelta(hours=1)
    assert history.first_after(place) == 0


@given(
    st.lists(st.tuples(st.integers(0, 5), st.booleans()), max_size=12), st.randoms()
)  # fmt: skip
def test_the_order_in_which_entries_become_known_does_not_matter(
    hours: list[tuple[int, bool]], shuffler
) -> None:
    log: list[tuple[int, Entry]] = []
    for number, (hour, is_taken_back) in enumerate(hours):
        log.append((2 * number, wash(hour, id=f"e{number}")))
        if is_taken_back:
            log.append((2 * number + 1, Withdrawal(at=NOON, withdraws=f"e{number}")))
    shuffled = log.copy()
    shuffler.shuffle(shuffled)
    history = History()
    for sequence, entry in shuffled:
        history.learn(entry, sequence)
    assert history.entries == effective([entry for _, entry in log])
