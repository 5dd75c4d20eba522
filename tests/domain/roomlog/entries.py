"""Entries of every kind, made from what the kinds say of their own fields."""

import math
from datetime import date
from typing import Any

from hypothesis import strategies as st

from app.domain.errors import FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, Entry, Reading
from app.domain.roomlog.lines import parse_entry
from app.store.instants import from_us

keys = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,20}", fullmatch=True)
moments = st.integers(40_000_000_000_000, 7_200_000_000_000_000).map(
    lambda us: from_us(us).isoformat()
)
texts = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs")), max_size=30)


def value_of(spec: FieldSpec) -> st.SearchStrategy[Any]:
    """Values that a field may have."""
    if spec.type == "whole":
        return st.integers(math.ceil(max(spec.low, -1e6)), math.floor(min(spec.high, 1e6)))
    numbers = st.floats(max(spec.low, -1e9), min(spec.high, 1e9), allow_nan=False)
    return {
        "key": keys,
        "text": texts,
        "number": numbers,
        "flag": st.booleans(),
        "moment": moments,
        "choice": st.sampled_from(spec.choices or ("",)),
        "money": st.integers(0, 10_000_000),
        "day": st.dates(date(1970, 1, 3), date(2199, 12, 30)).map(date.isoformat),
        "data": st.just(spec.example),
        "points": st.lists(st.tuples(numbers, numbers), min_size=2, max_size=5),
    }[spec.type]


@st.composite
def any_entry(draw: st.DrawFn) -> Entry:
    """An entry of any kind that fits the format."""
    kind = draw(st.sampled_from(sorted(KINDS)))
    specs, required = dict(KINDS[kind].specs()), set(KINDS[kind].required())
    raw: dict[str, Any] = {"kind": kind, "at": draw(moments), "lot": draw(texts)}
    raw |= {name: draw(texts) for name in ("by", "note") if draw(st.booleans())}
    raw |= {name: draw(keys) for name in ("id", "corrects") if draw(st.booleans())}
    if kind == Reading.kind:
        instrument = INSTRUMENTS[draw(st.sampled_from(sorted(INSTRUMENTS)))]
        specs |= dict(instrument.fields)
        required |= set(instrument.fields)
        raw["method"] = instrument.key
    for name, spec in specs.items():
        if name not in raw and (name in required or draw(st.booleans())):
            raw[name] = draw(value_of(spec))
    try:
        return parse_entry(raw)
    except FieldErrors:  # values that are fine alone and not together
        return parse_entry(WITHOUT_TROUBLE | {"at": raw["at"], "lot": raw["lot"]})


WITHOUT_TROUBLE = {"kind": "top_up", "tank": "t1", "volume_l": 1.0}
