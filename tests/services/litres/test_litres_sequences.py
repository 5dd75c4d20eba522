"""After any sequence of interrupted, undone, given-up, corrected, paired and late acts no litre is
lost, and book, storage, plan and API name the same litres to 0.01 L.

Nothing is worked out beside the program here: what is held against each other are its pages. The
test of balances in tests/web/site holds them against a model of its own.
"""

import random
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlmodel import Session

from app.domain.roomlog.kinds import Removal
from app.services.litres.reading import book_of
from app.services.rooms import find_room
from tests.factories import ROOM
from tests.services.litres.sequences import ACTS, Act, Ran, Room, copy_of, drawn, make


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pair and a tank of its own, large drums, a shelf, a limit."""
    folder = tmp_path_factory.mktemp("sequences")
    make(folder)
    return folder


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(acts=st.lists(st.tuples(st.sampled_from(ACTS), st.floats(0, 1)), max_size=16))
@example(acts=[("start", 0)] + [("go_on", 0.4)] * 6)
@example(acts=[("start", 0), ("go_on", 0.6), ("go_on", 0.6), ("go_on", 0.6), ("give_up", 0.5)])
@example(acts=[("start", 1), ("go_on", 1), ("late", 0.9), ("go_on", 0.9), ("undo", 0.9)])
@example(acts=[("start", 0), *[("go_on", 0.4)] * 6, ("topped_late", 0.4), ("poured_late", 0.4)])
@example(
    acts=[
        ("start", 0),
        ("topped_late", 0.4),
        ("go_on", 0.4),
        ("topped_late", 0.9),
        ("give_up", 0.1),
    ]
)
def test_no_litre_is_lost_and_all_pages_agree(furnished: Path, acts: list[Act]) -> None:
    ran = Ran()
    assert ran.add(furnished, acts) == []
    assert ran.most_l == 0.0


@pytest.mark.nightly
@pytest.mark.parametrize("slice_", range(10))
def test_a_thousand_sequences_lose_no_litre(
    furnished: Path, slice_: int, request: pytest.FixtureRequest
) -> None:
    """Ten slices of a hundred sequences, others in each run: the run's `--seed` gives them again.
    More of them, with what they come to: `python3 -m app bench litres`."""
    seed, ran = f"{request.config.getoption('seed')} {slice_}", Ran()
    chance = random.Random(seed)
    for number in range(100):
        acts = drawn(chance, number)
        assert ran.add(furnished, acts) == [], (seed, number, acts)
    sys.stdout.write(f"seed “{seed}”: 100 sequences, most out of balance {ran.most_l} L\n")
    assert ran.most_l == 0.0


def test_a_removal_that_empties_more_than_a_bath_is_named(furnished: Path) -> None:
    with copy_of(furnished) as store:
        room = Room(store)
        for number, litres in enumerate((39.0, 16.0)):
            room.enter(Removal(at=room.at(), id=f"out-{number}", tank="t1", volume_l=litres))
        with Session(store.reader) as session:
            book = book_of(session, find_room(session, ROOM), room.now)
    assert [round(one.litres, 2) for one in book.unexplained][:1] == [55.0]
