"""The kinds of entry, and the page that describes them to those who write a log themselves."""

from datetime import UTC, datetime
from typing import Any

import pytest

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import KINDS, Reading, TankChange
from app.domain.roomlog.lines import HEADER, parse_entry
from tests.domain.roomlog.page import PAGE, rows_of_instruments, rows_of_kinds

AT = datetime(2026, 3, 2, 7, 40, tzinfo=UTC)


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_has_each_kind(kind: str) -> None:
    assert f"### `{kind}`: {KINDS[kind].summary}" in PAGE.read_text("utf-8")


@pytest.mark.parametrize("row", dict.fromkeys(rows_of_kinds() + rows_of_instruments()))
def test_the_page_has_each_field_with_its_range(row: str) -> None:
    assert row in PAGE.read_text("utf-8").splitlines()


def test_the_page_has_no_field_that_is_gone() -> None:
    rows = {line for line in PAGE.read_text("utf-8").splitlines() if line.startswith("| `")}
    header = {line for line in rows if line.split("`")[1] in HEADER and line.count("|") == 3}
    assert rows - header == set(rows_of_kinds() + rows_of_instruments())


def test_the_lines_of_the_page_are_sound() -> None:
    examples = PAGE.read_text("utf-8").split("```json\n")[1].split("\n```")[0]
    import json

    kinds = {parse_entry(json.loads(line)).kind for line in examples.splitlines()}
    assert {"tank", "resin", "wash", "reading", "swap"} <= kinds


@pytest.mark.parametrize(
    "changes, field",
    [
        ({"limit_percent": 10, "limit_g_l": 90}, "limit_g_l"),
        ({"limit_percent": 10, "stop_percent": 9}, "stop_percent"),
        ({"min_l": 50}, "min_l"),
        ({"capacity_l": 0}, "capacity_l"),
        ({"capacity_l": -4}, "capacity_l"),
        ({"fresh_purity_percent": 101}, "fresh_purity_percent"),
        ({"life_days": 0}, "life_days"),
    ],
)
def test_a_tank_that_cannot_be_is_refused(changes: dict[str, Any], field: str) -> None:
    tank = {
        "kind": "tank", "at": AT.isoformat(), "tank": "t1", "name": "One", "capacity_l": 40,
        "solvent": "isopropanol",
    }  # fmt: skip
    assert parse_entry(tank).kind == "tank"
    with pytest.raises(FieldErrors) as caught:
        parse_entry(tank | changes)
    assert field in caught.value.by_field()


def test_a_load_must_be_sized() -> None:
    with pytest.raises(FieldErrors) as caught:
        parse_entry({"kind": "wash", "at": AT.isoformat(), "tank": "t1", "resin": "slate"})
    assert "parts" in caught.value.by_field()


def test_a_kind_says_which_of_its_fields_must_be_given() -> None:
    assert TankChange.required() == ("tank",)
    assert Reading.required() == ("tank", "method")
