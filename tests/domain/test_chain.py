"""What a digest covers, and the code that people note."""

import hashlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.chain import (
    ANCHOR_EXAMPLE,
    COVERED,
    Anchor,
    anchor_at,
    beginning,
    canonical,
    digest_after,
    read_anchor,
)
from app.domain.errors import FieldError
from app.store.tables import EntryRow

ROW: dict[str, Any] = {
    "uid": "w1", "kind": "wash", "tank": "t1", "resin": None, "at_us": 1, "moment_us": 1,
    "rank": 0, "sequence": 1, "entered_at_us": None, "recorded_at_us": 2, "by": "Åsa",
    "note": "", "corrects": None, "fields": '{"parts":5}',
}  # fmt: skip


def test_canonical_json_is_that_of_rfc_8785() -> None:
    # RFC 8785, section 3.2.2: its sample, but for the numbers, which here are integers.
    sample = {"string": "€$\u000f\u000aA'\u0042\u0022\u005c\\\"/", "literals": None}
    assert canonical(sample).decode() == (
        '{"literals":null,"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_a_digest_is_sha_256_of_the_one_before_and_the_row() -> None:
    # Written out by hand; hashlib's SHA-256 is that of FIPS 180-4.
    first = hashlib.sha256(b'{"chain":1,"room":"larkmoor"}').digest()
    assert beginning("larkmoor") == first
    row = (
        '{"at_us":1,"by":"Åsa","corrects":null,"entered_at_us":null,"fields":"{\\"parts\\":5}",'
        '"kind":"wash","marks":null,"moment_us":1,"note":"","number":1,"rank":0,'
        '"recorded_at_us":2,"resin":null,"sequence":1,"tank":"t1","uid":"w1"}'
    )
    assert digest_after(first, 1, ROW) == hashlib.sha256(first + row.encode()).digest()


def test_every_column_is_covered_but_those_that_a_copy_gives_anew() -> None:
    assert set(EntryRow.model_fields) - set(COVERED) == {"id", "room_id", "voided_by"}


@pytest.mark.parametrize("column", COVERED)
def test_each_column_moves_the_digest(column: str) -> None:
    changed = {**ROW, column: 7 if isinstance(ROW[column], int) else "other"}
    assert digest_after(b"", 1, changed) != digest_after(b"", 1, ROW)


@given(st.integers(1, 10**12), st.binary(min_size=32, max_size=32))
def test_a_code_is_read_as_it_was_written_however_it_is_typed(number: int, digest: bytes) -> None:
    anchor = anchor_at(number, digest)
    assert anchor.fits(digest)
    head, _, signs = anchor.code.partition("-")
    misread = f"{head}-{signs.replace('1', 'l').replace('0', 'o')}"
    for typed in (anchor.code, anchor.code.lower(), f" {anchor.code.replace('-', ' ')} ", misread):
        assert read_anchor(typed) == anchor


@given(st.binary(min_size=32, max_size=32), st.integers(0, 14), st.integers(1, 31))
def test_one_mistyped_sign_is_noticed(digest: bytes, place: int, by: int) -> None:
    signs = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    anchor = anchor_at(4711, digest)
    other = signs[(signs.index(anchor.signs[place]) + by) % 32]
    wrong = anchor.signs[:place] + other + anchor.signs[place + 1 :]
    typed = f"4711-{wrong}{anchor.code[-1]}"
    with pytest.raises(FieldError, match="mistyped"):
        read_anchor(typed)


@pytest.mark.parametrize(
    "typed", ["", "4711", "4711-ABC", "x-7KQ2-9XBD-M3TF-0HC6", "-" * 30, "٤-7"]
)
def test_what_is_no_code_is_said_so(typed: str) -> None:
    with pytest.raises(FieldError, match="as it was noted"):
        read_anchor(typed)


def test_the_example_is_a_code() -> None:
    assert read_anchor(ANCHOR_EXAMPLE) == Anchor(4711, "7KQ29XBDM3TF0HC")
