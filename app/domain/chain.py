"""The chain over a room's log: what a digest covers, and how a code of it is written for people.

Each row of the log has a number in its room, from 1 on, and a digest:

    digest(n) = SHA-256(digest(n - 1) || row n as canonical JSON)          FIPS 180-4
    digest(0) = SHA-256(canonical JSON of {"chain": 1, "room": key})

Canonical JSON is that of RFC 8785: names in order, no white space, text escaped where it must be.
All numbers are integers here and written out in full; RFC 8785 would round those above 2^53.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from app.domain.errors import FieldError

COVERED = (
    "uid", "kind", "tank", "resin", "at_us", "moment_us", "rank", "sequence", "entered_at_us",
    "recorded_at_us", "by", "note", "corrects", "fields",
)  # fmt: skip
"""The columns of a row that its digest covers: all but those that a copy of it gives anew (its
number in the database, its room's) and the mark on it, which the row that sets it covers."""
WITHDRAWAL = "withdrawal"

_canonical = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode

# Letters and digits that are not taken for each other (base 32 of Douglas Crockford).
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_READ_AS = str.maketrans("OIL", "011")
_SIGNS = 15
"""Of the digest in a code: 75 bits, which nobody meets by trying."""
ANCHOR_EXAMPLE = "4711-7KQ2-9XBD-M3TF-0HCH"


def canonical(content: Mapping[str, Any]) -> bytes:
    """Text, whole numbers and None as canonical JSON.

    >>> canonical({"b": "é\\n", "a": None, "c": 7})
    b'{"a":null,"b":"\\xc3\\xa9\\\\n","c":7}'
    """
    return _canonical(content).encode("utf-8", "surrogatepass")


def beginning(room: str) -> bytes:
    """The digest in front of the first row of a room's log."""
    return hashlib.sha256(canonical({"chain": 1, "room": room})).digest()


def digest_after(before: bytes, number: int, row: Mapping[str, Any]) -> bytes:
    """The digest of a row behind the one with the digest `before`."""
    content = {name: row[name] for name in COVERED}
    content["number"], content["marks"] = number, marked_by(row)
    return hashlib.sha256(before + canonical(content)).digest()


def marked_by(row: Mapping[str, Any]) -> str | None:
    """The id of the entry that a row replaces or withdraws, and so marks as such.

    >>> marked_by({"kind": "withdrawal", "fields": '{"withdraws":"w1"}', "corrects": None})
    'w1'
    """
    if row["kind"] == WITHDRAWAL:
        try:
            target = json.loads(row["fields"])["withdraws"]
        except (ValueError, KeyError, TypeError):
            return None  # somebody has changed it; its digest says so
        return str(target)
    return row["corrects"] or None


@dataclass(frozen=True)
class Anchor:
    """The end of a log at some time, as a person notes it.

    Attributes:
        number: of the last entry then.
        signs: the first 75 bits of its digest, in base 32.
    """

    number: int
    signs: str

    @property
    def code(self) -> str:
        """The code to note: the number, and sixteen signs of which the last guards against slips.

        >>> Anchor(4711, "7KQ29XBDM3TF0HC").code
        '4711-7KQ2-9XBD-M3TF-0HCH'
        """
        signs = self.signs + _check_sign(f"{self.number}{self.signs}")
        return "-".join([str(self.number), *(signs[at : at + 4] for at in range(0, 16, 4))])

    def fits(self, digest: bytes) -> bool:
        """Whether it is the anchor of a digest."""
        return anchor_at(self.number, digest) == self


def anchor_at(number: int, digest: bytes) -> Anchor:
    """The anchor of a log that ends with a digest."""
    bits = int.from_bytes(digest[:10]) >> 5
    shifts = range(5 * (_SIGNS - 1), -1, -5)
    return Anchor(number, "".join(_ALPHABET[bits >> shift & 31] for shift in shifts))


def read_anchor(typed: str) -> Anchor:
    """The anchor that somebody types, in any case, with any breaks.

    Raises:
        FieldError: it is none, or a sign was mistyped.
    """
    first, _, rest = typed.strip().replace(" ", "-").partition("-")
    signs = rest.replace("-", "").upper().translate(_READ_AS)
    is_one = first.isascii() and first.isdigit() and len(first) < 16 and len(signs) == _SIGNS + 1
    if not is_one or not set(signs) <= set(_ALPHABET):
        raise FieldError("anchor", f"Type the code as it was noted, such as {ANCHOR_EXAMPLE}.")
    found = Anchor(int(first), signs[:-1])
    if _check_sign(f"{found.number}{found.signs}") != signs[-1]:
        raise FieldError("anchor", "A character of the code is mistyped. Compare it with the note.")
    return found


def _check_sign(text: str) -> str:
    """A sign that notices one mistyped, and nearly all neighbours that changed places.

    Luhn's sum over an alphabet of 32 (ISO/IEC 7812-1, annex B, has it for digits).
    """
    total = 0
    for place, sign in enumerate(reversed(text)):
        value = _ALPHABET.index(sign)
        total += value if place % 2 else sum(divmod(2 * value, 32))
    return _ALPHABET[-total % 32]
