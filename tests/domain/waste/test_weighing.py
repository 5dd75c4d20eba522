"""Litres from what a scale sends, by the definition of density.

ISO 80000-4:2019, item 4-2 (from memory).

The waits and margins are common practice, no source; here they are tried at their edges.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.domain.roomlog.kinds.waste import ScaleWeight
from app.domain.waste.weighing import Weighed, into_drum, latest, out_of_container, rests

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
KG_L = 0.8
DRUM_KG = 50.0


def weight(
    ago_s: float, shown_kg: float, moment: str = "after", scale: str = "Floor", **more: Any
) -> ScaleWeight:
    at = NOW - timedelta(seconds=ago_s)
    ident = more.pop("id", f"{moment}-{ago_s:g}")
    return ScaleWeight(
        id=ident, at=at, scale=scale, shown_kg=shown_kg, moment=moment, drum="d1", **more
    )


def drum(*weights: ScaleWeight, books_kg: float | None = DRUM_KG) -> Weighed:
    found = into_drum(weights, books_kg, KG_L, NOW)
    assert found is not None
    return found


def container(*weights: ScaleWeight) -> Weighed:
    found = out_of_container(weights, KG_L, NOW)
    assert found is not None
    return found


@pytest.mark.parametrize("ago_s, is_offered", [(0, True), (899, True), (900, True), (901, False)])
def test_a_weight_is_offered_for_a_quarter_of_an_hour(ago_s: float, is_offered: bool) -> None:
    one = weight(ago_s, 58.0)
    assert (latest([one], NOW) is one) is is_offered
    assert (into_drum([one], DRUM_KG, KG_L, NOW) is not None) is is_offered
    assert (out_of_container([one], KG_L, NOW) is not None) is is_offered


def test_the_last_one_after_pouring_counts() -> None:
    weights = [weight(300, 56.0), weight(200, 58.0), weight(100, 57.0, "before")]
    found = latest(weights, NOW)
    assert found is weights[1]
    assert latest([weight(10, 57.0, "before")], NOW) is None
    assert latest([], NOW) is None


def test_what_a_drum_gained_is_what_was_poured() -> None:
    found = drum(weight(30, 58.4))
    assert found == Weighed("after-30", "Floor", NOW - timedelta(seconds=30), 50.0, 58.4, 10.5)
    assert found.poured_kg == pytest.approx(8.4)


def test_a_weight_before_pouring_counts_instead_of_the_books() -> None:
    found = drum(weight(400, 50.4, "before"), weight(30, 58.4))
    assert (found.before_kg, found.before_id, found.litres) == (50.4, "before-400", 10.0)
    assert found.problem == ""
    found = drum(weight(400, 50.4, "before"), weight(30, 58.4), books_kg=None)
    assert (found.before_kg, found.litres, found.problem) == (50.4, 10.0, "")


def test_the_last_weight_before_pouring_counts_of_the_same_scale_and_not_a_later_one() -> None:
    found = drum(
        weight(500, 49.6, "before"), weight(400, 50.4, "before"), weight(30, 58.4),
        weight(20, 51.2, "before"),
    )  # fmt: skip
    assert (found.before_id, found.litres) == ("before-400", 10.0)
    other = drum(weight(400, 50.4, "before", scale="Bench"), weight(30, 58.4))
    assert (other.before_id, other.before_kg) == ("", 50.0)
    same_instant = drum(weight(30, 50.4, "before"), weight(30, 58.4))
    assert same_instant.before_id == "before-30"


def test_without_an_empty_weight_it_is_weighed_before_too() -> None:
    found = drum(weight(30, 58.4), books_kg=None)
    assert found == Weighed(
        "after-30", "Floor", NOW - timedelta(seconds=30), 0.0, 58.4,
        problem="The empty weight of this drum is not on file. Weigh it before pouring too.",
    )  # fmt: skip


def test_a_drum_that_lost_weight_is_another() -> None:
    found = drum(weight(30, 49.9))
    assert found.problem == "Before pouring it weighed 50.0 kg; this is less. Is it the right drum?"
    assert (found.litres, found.before_kg, found.after_kg) == (0.0, 50.0, 49.9)
    nothing = drum(weight(30, 50.0))
    assert (nothing.litres, nothing.problem) == (0.0, "")


@pytest.mark.parametrize(
    "books_kg, shown_kg, is_asked",
    [
        (10.0, 12.0, False), (10.0, 12.1, True), (10.0, 8.0, False), (10.0, 7.9, True),
        (100.0, 110.0, False), (100.0, 110.1, True), (100.0, 90.0, False), (100.0, 89.9, True),
    ],
)  # fmt: skip
def test_a_drum_far_from_its_books_may_be_another(
    books_kg: float, shown_kg: float, is_asked: bool
) -> None:
    found = drum(weight(90, shown_kg, "before"), weight(30, shown_kg + 8.0), books_kg=books_kg)
    asked = (
        f"Before pouring the scale showed {shown_kg:.1f} kg; by the books this drum weighed "
        f"{books_kg:.1f} kg. Is it the right drum?"
    )
    assert found.problem == (asked if is_asked else "")
    assert found.litres == (0.0 if is_asked else 10.0)
    assert (found.id, found.scale, found.before_kg) == ("after-30", "Floor", shown_kg)
    assert (found.at, found.after_kg) == (NOW - timedelta(seconds=30), shown_kg + 8.0)


def test_what_a_container_lost_is_what_was_poured() -> None:
    found = container(weight(400, 20.0, "before"), weight(30, 12.0))
    assert found == Weighed(
        "after-30", "Floor", NOW - timedelta(seconds=30), 20.0, 12.0, 10.0, "before-400"
    )
    assert found.poured_kg == 8.0


def test_a_container_needs_a_weight_before_and_gets_no_heavier() -> None:
    found = container(weight(30, 12.0))
    assert found == Weighed(
        "after-30", "Floor", NOW - timedelta(seconds=30), 0.0, 12.0,
        problem="This scale did not send what the container weighed before pouring.",
    )  # fmt: skip
    found = container(weight(400, 12.0, "before"), weight(30, 12.5))
    more = "Before pouring it weighed 12.0 kg; this is more. Is it the same one?"
    assert (found.problem, found.litres, found.before_id) == (more, 0.0, "before-400")
    assert container(weight(400, 12.0, "before"), weight(30, 12.0)).problem == ""


@pytest.mark.parametrize(
    "shown_kg, earlier_kg, is_still",
    [
        (10.0, 10.1, True), (10.0, 10.11, False), (10.0, 9.89, False), (10.0, 9.9, True),
        (100.0, 100.5, True), (100.0, 100.51, False), (100.0, 99.5, True), (100.0, 99.49, False),
    ],
)  # fmt: skip
def test_a_scale_rests_when_two_weights_agree(
    shown_kg: float, earlier_kg: float, is_still: bool
) -> None:
    last = weight(30, shown_kg)
    assert rests([weight(35, earlier_kg), last], last) is is_still


def test_only_its_own_last_ten_seconds_say_whether_it_rests() -> None:
    last = weight(30, 10.0)
    assert not rests([weight(40, 12.0), last], last)
    assert rests([weight(41, 12.0), last], last)
    assert rests([last, weight(29, 12.0)], last)  # what follows it does not move it
    assert not rests([weight(30, 12.0, id="same"), last], last)
    assert rests([weight(35, 12.0, scale="Bench"), last], last)
    assert rests([weight(35, 12.0, "before"), last], last)
    assert not rests([weight(35, 12.0), weight(33, 10.0), last], last)
    assert rests([last], last)


def test_a_scale_that_moves_offers_nothing() -> None:
    moving = "The scale still moves. Wait until it rests and sends the weight again."
    found = drum(weight(35, 60.0), weight(30, 58.4))
    assert (found.problem, found.litres) == (moving, 0.0)
    found = drum(weight(405, 49.0, "before"), weight(400, 50.4, "before"), weight(30, 58.4))
    assert (found.problem, found.litres, found.before_id) == (moving, 0.0, "before-400")
    found = container(weight(400, 20.0, "before"), weight(35, 14.0), weight(30, 12.0))
    assert (found.problem, found.litres) == (moving, 0.0)
    # It moves and lost weight: that it moves is said first.
    assert drum(weight(35, 40.0), weight(30, 38.4)).problem == moving


def test_litres_are_told_to_the_millilitre() -> None:
    found = into_drum([weight(30, 51.0)], DRUM_KG, 0.783, NOW)
    assert found is not None
    assert found.litres == 1.277  # 1 / 0.783 = 1.27714
