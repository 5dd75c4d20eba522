"""Parts that the last looks condemned, by item and tank."""

from typing import Any

from app.domain.inspections.components import ComponentState, Seen
from app.domain.planning.parts import due_by_item
from tests.factories import NOW


def part(key: str, verdict: str = "", **more: Any) -> tuple[str, ComponentState]:
    values: dict[str, Any] = {"name": f"Part {key}", "tank": "t1", "item": "ring", **more}
    seen = (Seen(NOW, verdict, "i1"),) if verdict else ()
    return key, ComponentState(key, seen=seen, **values)


def due(*parts: tuple[str, ComponentState]) -> dict[str, dict[str, float]]:
    return due_by_item(dict(parts))


def test_what_is_condemned_is_due_and_what_is_watched_or_unseen_is_not() -> None:
    for verdict in ("replace", "replace_with_mate", "take_out_of_service"):
        assert due(part("a", verdict)) == {"ring": {"t1": 1}}
    for verdict in ("", "serviceable", "watch"):
        assert due(part("a", verdict)) == {}


def test_parts_of_an_item_are_counted_for_each_tank() -> None:
    found = due(
        part("a", "replace"), part("b", "replace"), part("c", "replace", tank="t2"),
        part("d", "replace", item="washer"),
    )  # fmt: skip
    assert found == {"ring": {"t1": 2, "t2": 1}, "washer": {"t1": 1}}


def test_a_mate_goes_with_it_only_where_the_look_said_so() -> None:
    mate = part("b", "serviceable")
    assert due(part("a", "replace_with_mate", mate="b"), mate) == {"ring": {"t1": 2}}
    assert due(part("a", "replace", mate="b"), mate) == {"ring": {"t1": 1}}
    assert due(part("a", "replace_with_mate", mate="gone")) == {"ring": {"t1": 1}}
    both = due(part("a", "replace_with_mate", mate="b"), part("b", "replace"))
    assert both == {"ring": {"t1": 2}}


def test_a_part_without_an_item_goes_by_its_name_and_one_of_no_tank_by_nothing() -> None:
    assert due(part("a", "replace", item="")) == {"Part a": {"t1": 1}}
    assert due(part("a", "replace", tank="")) == {}
