"""Every kind tells of itself in a sentence that people read: no machine word, no “1 parts”."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest

from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import FieldSpec, check_value
from app.domain.roomlog.kinds import KINDS, Entry, Reading
from app.domain.roomlog.kinds.baths import TankChange, TopUp, Wash
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.sentences import BY, NOT_FIELDS, SINGULARS, marks
from app.domain.supplies.state import ItemState
from app.services.naming import FIXED, Names
from app.store.tables import RoomRow
from app.web.telling import sentence_of

AT = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
ROOM = RoomRow(key="r", name="Room", time_zone="Europe/Dublin", currency="EUR", created_at_us=0)
NAMES = Names({**FIXED, "tank": {"alder": "Alder"}, "resin": {"slate": "Slate"}})
PLAIN: dict[str, Any] = {
    "key": "k7", "text": "words", "flag": True, "moment": AT, "money": 250, "day": AT.date(),
    "points": [[1, 2], [3, 4]],
}  # fmt: skip


def value_of(spec: FieldSpec, figure: float) -> Any:
    """A value that fits, plain in itself; of choices the one that is least like plain words."""
    if spec.type in ("number", "whole"):
        return check_value("", spec, max(spec.low, min(spec.high, figure)))
    if spec.type == "choice":
        return max(spec.choices, key=lambda word: (word.count("_"), len(word)))
    return spec.example if spec.type == "data" else PLAIN[spec.type]


def examples(kind: type[Entry]) -> Iterator[Entry]:
    """Entries with all fields, with those that must be given, with and without who."""
    for method in INSTRUMENTS if kind is Reading else [""]:
        for figure in (1, 14):
            every = {name: value_of(spec, figure) for name, spec in kind.specs().items()}
            if method:
                shown = INSTRUMENTS[method].fields.items()
                every |= {"method": method}
                every |= {"values": {name: value_of(spec, figure) for name, spec in shown}}
            few = {name: every[name] for name in every if name in (*kind.required(), "values")}
            for by in ("Wren", ""):
                yield kind(at=AT, by=by, **every)
                yield kind(at=AT, by=by, **few)


@pytest.mark.parametrize("kind", KINDS)
def test_its_sentence_asks_for_fields_that_it_has(kind: str) -> None:
    asked = marks(KINDS[kind].sentence)
    assert asked - set(NOT_FIELDS) <= set(KINDS[kind].specs())
    assert asked - set(NOT_FIELDS) or "{by}" in KINDS[kind].sentence


@pytest.mark.parametrize("kind", KINDS)
def test_its_sentence_is_one_that_people_read(kind: str) -> None:
    for entry in examples(KINDS[kind]):
        told = sentence_of(entry, ROOM, NAMES)
        assert re.match(r"[A-Z]", told), told
        assert not re.search(r"[{}\[\]_?!|]|\bNone\b|  | [,:.]|[,:]$|[,:]{2}", told), told
        for unit in SINGULARS:
            assert not re.search(rf"(?<![\d.])1 {unit}\b", told), told
        if BY in marks(entry.sentence) and entry.by:
            assert told.startswith("Wren "), told
        else:
            assert "Wren" not in told


@pytest.mark.parametrize("kind", KINDS)
def test_units_that_are_counted_have_a_singular(kind: str) -> None:
    for spec in KINDS[kind].specs().values():
        assert not re.search(r"^[^%]*[a-z]{3}s( more)?$", spec.unit) or spec.unit in SINGULARS, (
            spec.unit
        )


def test_a_top_up_reads_as_somebody_would_say_it() -> None:
    entry = TopUp(at=AT, by="Wren", tank="alder", volume_l=3.0)
    assert sentence_of(entry, ROOM, NAMES) == "Wren topped up Alder: 3.0 L"
    entry = TopUp(at=AT, tank="alder", volume_l=2.25, to_mark=True)
    assert sentence_of(entry, ROOM, NAMES) == "Topped up Alder: 2.25 L, to the upper mark"


def test_volumes_are_told_in_the_unit_that_the_room_chose() -> None:
    room = RoomRow(**{**ROOM.model_dump(), "volume_unit": "us_gal"})
    entry = TopUp(at=AT, by="Wren", tank="alder", volume_l=7.570823568)  # NIST SP 811: 2 US gal
    assert sentence_of(entry, room, NAMES) == "Wren topped up Alder: 2.0 US gal"


@pytest.mark.parametrize("parts, said", [(1, "1 part"), (14, "14 parts")])
def test_one_part_is_one_part(parts: int, said: str) -> None:
    entry = Wash(at=AT, by="Wren", tank="alder", resin="slate", parts=parts)
    assert sentence_of(entry, ROOM, NAMES) == f"Wren washed {said} of Slate in Alder"


@pytest.mark.parametrize(
    "unit, quantity, said",
    [("piece", 14, "14 pieces"), ("piece", 1, "1 piece"), ("pair", 2, "2 pairs"), ("L", 4, "4.0 L"),
     ("kg", 1.5, "1.5 kg")],
)  # fmt: skip
def test_a_quantity_is_told_in_the_unit_of_its_item(unit: str, quantity: float, said: str) -> None:
    state = ItemState("wipes", name="Lint-free wipes", unit=unit)
    names = Names(states={(ITEM, "wipes"): state})
    entry = StockUsed(at=AT, by="Wren", item="wipes", quantity=quantity, purpose="cleaning")
    told = sentence_of(entry, ROOM, names)
    assert told == f"Wren took {said} of Lint-free wipes, for cleaning"


def test_settings_are_told_with_their_names() -> None:
    entry = TankChange(at=AT, by="Wren", tank="alder", life_days=1, is_retired=False)
    told = sentence_of(entry, ROOM, NAMES)
    assert told == "Wren changed the settings of Alder: longest life 1 day, out of use: no"
