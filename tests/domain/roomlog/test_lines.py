"""Lines of JSON: what is taken, what is refused, and that nothing is lost on the way back."""

import json
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import KINDS, PlannedWash, Reading, Wash
from app.domain.roomlog.lines import (
    field_names,
    own_fields,
    parse_entry,
    parse_line,
    restore,
    to_line,
)
from tests.domain.roomlog.entries import any_entry

WASH = {
    "kind": "wash", "at": "2026-03-02T07:40:00+00:00", "tank": "t1", "resin": "slate", "parts": 3,
}  # fmt: skip


def line(**changes: Any) -> str:
    return json.dumps({**WASH, **changes})


def fields_refused(text: str) -> set[str]:
    with pytest.raises(FieldErrors) as caught:
        parse_line(text)
    return set(caught.value.by_field())


def test_the_least_a_line_needs_is_enough() -> None:
    entry = parse_line(json.dumps(WASH))
    assert entry == Wash(
        at=datetime(2026, 3, 2, 7, 40, tzinfo=UTC), tank="t1", resin="slate", parts=3
    )


@given(any_entry())
def test_an_entry_comes_back_from_its_line(entry: Any) -> None:
    assert parse_line(to_line(entry)) == entry


@given(any_entry())
def test_an_entry_comes_back_from_what_is_stored(entry: Any) -> None:
    names = ("at", "id", "entered_at", "by", "note", "corrects")
    header = {name: getattr(entry, name) for name in names}
    stored = json.loads(json.dumps(own_fields(entry)))
    assert restore(entry.kind, header, stored) == entry


@pytest.mark.parametrize(
    "text, field",
    [
        ("", "line"),
        ("null", "line"),
        ("[1, 2]", "line"),
        ('"text"', "line"),
        ("{'kind': 'wash'}", "line"),
        ("[" * 100_000, "line"),
        (line(parts=3).replace("3", "NaN"), "line"),
        (line().replace("3}", "Infinity}"), "line"),
        (line(kind="spin"), "kind"),
        (line(kind=None), "kind"),
        (line(kind=7), "kind"),
        (line(at=None), "at"),
        (line(at="2026-03-02T07:40:00"), "at"),
        (line(at="2026-13-02T07:40:00Z"), "at"),
        (line(at=1_772_437_200), "at"),
        (line(at="9999-12-31T23:59:59-23:59"), "at"),
        (line(at="1969-12-31T23:59:59Z"), "at"),
        (line(at="2200-01-01T00:00:00Z"), "at"),
        (line(tank="two words"), "tank"),
        (line(tank=""), "tank"),
        (line(tank=5), "tank"),
        (line(id="x" * 65), "id"),
        (line(parts=2**63), "parts"),
        (line(parts=-5), "parts"),
        (line(parts=1.5), "parts"),
        (line(parts=True), "parts"),
        (line(parts="3"), "parts"),
        (line(mass_g=10**400), "mass_g"),
        (line(note="\ud800"), "note"),
        (line(note="a\x00b"), "note"),
        (line(note="x" * 2001), "note"),
        (line(by=["Wren"]), "by"),
        (line(extra_text="x" * 5000), "line"),
        (line(parts=None), "parts"),
    ],
)
def test_what_does_not_fit_is_named(text: str, field: str) -> None:
    assert field in fields_refused(text)


def test_a_number_too_large_for_a_float_is_refused() -> None:
    assert fields_refused(line(mass_g=1).replace('"mass_g": 1', '"mass_g": 1e999')) == {"mass_g"}


def test_a_lone_surrogate_in_an_unknown_field_comes_back_as_it_was() -> None:
    entry = parse_line(line(never_heard_of="\ud800"))
    assert parse_line(to_line(entry)) == entry
    to_line(entry).encode()


def test_of_a_doubled_name_the_last_counts() -> None:
    """RFC 8259, section 4, leaves it open; most readers take the last."""
    assert parse_line('{"parts": 9, ' + line()[1:]).parts == 3  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "change, field",
    [
        ({"density_g_ml": 9.0}, "density_g_ml"),
        ({"temperature_c": 400}, "temperature_c"),
        ({"method": "guess"}, "method"),
        ({"method": None}, "method"),
        ({"density_g_ml": None}, "density_g_ml"),
    ],
)
def test_readings_outside_what_an_instrument_shows_are_refused(
    change: dict[str, Any], field: str
) -> None:
    reading = {
        "kind": "reading", "at": WASH["at"], "tank": "t1", "method": "hydrometer",
        "density_g_ml": 0.79, "temperature_c": 20.0,
    }  # fmt: skip
    assert isinstance(parse_entry(reading), Reading)
    with pytest.raises(FieldErrors) as caught:
        parse_entry(reading | change)
    assert field in caught.value.by_field()


def test_a_saturation_of_140_percent_is_refused() -> None:
    reading = {"kind": "reading", "at": WASH["at"], "tank": "t1", "method": "sensor"}
    with pytest.raises(FieldErrors) as caught:
        parse_entry(reading | {"saturation_percent": 140})
    assert "saturation_percent" in caught.value.by_field()


def test_a_plan_is_known_from_the_start_unless_it_says_otherwise() -> None:
    plan = parse_entry(WASH | {"kind": "planned_wash", "plan": "job"})
    assert isinstance(plan, PlannedWash)
    assert plan.known_at < datetime(1970, 1, 1, tzinfo=UTC)


@given(st.dictionaries(st.text(max_size=8), st.none() | st.integers() | st.text(max_size=8)))
def test_whatever_an_object_holds_it_is_taken_or_named(raw: dict[str, Any]) -> None:
    with suppress(FieldErrors):
        assert parse_entry(WASH | raw).kind in KINDS


def test_every_kind_has_its_fields() -> None:
    for name, kind in KINDS.items():
        assert name == kind.kind
        assert set(kind.required()) <= set(field_names(kind))


def test_entered_later_is_known_later() -> None:
    later = datetime(2026, 3, 3, tzinfo=UTC)
    entry = parse_line(line(entered_at=later.isoformat()))
    assert entry.known_at == later
    early = parse_line(line(entered_at=(entry.at - timedelta(days=1)).isoformat()))
    assert early.known_at == early.at
