"""In which drum a bath goes: one that takes all of it, or the one somebody has chosen. A drum that
is full in the middle of a drain leaves somebody with a running pump and nowhere to go."""

from app.domain.planning.allotment import Parcel
from tests.domain.planning.test_lines import lines
from tests.domain.planning.test_readiness import room, swap

STREAM = "isopropanol_resin"
SMALL, LARGE = Parcel("Drum 1", 30.0, key="d1"), Parcel("Drum 2", 100.0, key="d2")


def drums_of(
    *swaps: str, drums: tuple[Parcel, ...] = (SMALL, LARGE)
) -> list[list[tuple[str, float]]]:
    """The drums and litres of each swap of 43 L; it names the drum that it has chosen."""
    queue = [swap(f"t{n}", drum=drum) for n, drum in enumerate(swaps)]
    return [
        [(parcel.key, parcel.amount) for parcel in line.parcels]
        for line in lines("drum", queue, room(drums={STREAM: list(drums)}))
    ]


def test_a_bath_goes_into_the_drum_that_takes_all_of_it() -> None:
    assert drums_of("") == [[("d2", 43.0)]]


def test_where_none_takes_all_of_it_drums_share_it() -> None:
    assert drums_of("", drums=(SMALL, Parcel("Drum 2", 20.0, key="d2"))) == [
        [("d1", 30.0), ("d2", 13.0)]
    ]


def test_the_drum_that_somebody_chose_comes_first() -> None:
    assert drums_of("d1") == [[("d1", 30.0), ("d2", 13.0)]]
    third = Parcel("Drum 3", 90.0, key="d3")
    assert drums_of("d3", drums=(SMALL, LARGE, third)) == [[("d3", 43.0)]]


def test_each_swap_of_the_queue_has_its_own_choice() -> None:
    third = Parcel("Drum 3", 90.0, key="d3")
    assert drums_of("", "d3", "", drums=(SMALL, LARGE, third)) == [
        [("d2", 43.0)], [("d3", 43.0)], [("d2", 43.0)],
    ]  # fmt: skip
