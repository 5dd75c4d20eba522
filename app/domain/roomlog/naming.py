"""Keys made of names: short, readable, and another one for another name.

A key of a thing is what its entries, addresses and codes say; people give it a name in any
script. Two names never become one key: what would is numbered.
"""

import re
import unicodedata
from collections.abc import Iterable

from anyascii import anyascii

from app.domain.roomlog.fields import KEY_PATTERN

LONGEST = 48
NAMELESS = "unnamed"


def slug(name: str) -> str:
    """A name as lower-case words of ASCII letters and digits, joined by dashes.

    >>> slug("Tank 7 (left)"), slug("Bad Süd"), slug("紫"), slug("--")
    ('tank-7-left', 'bad-sud', 'zi', 'unnamed')
    """
    words = re.sub(r"[^a-z0-9]+", "-", anyascii(name).lower()).strip("-")
    return words[:LONGEST].strip("-") or NAMELESS


def folded(name: str) -> str:
    """What two ways to write the same name have in common: case, spaces, composed letters.

    >>> folded("Bad  SÜD ") == folded("bad su\\u0308d")
    True
    """
    return unicodedata.normalize("NFC", " ".join(name.split())).casefold()


class Names:
    """What the things of one sort are called, and the key of each.

    >>> room = Names([("t1", "Alder"), ("bad-sud", "Bad Süd"), ("tank-7", "")])
    >>> room.key_for("ALDER"), room.key_for("Bad Süd"), room.key_for("Bad Sud")
    ('t1', 'bad-sud', 'bad-sud-2')
    >>> room.key_for("Tank 7"), room.key_for("Tank 8")
    ('tank-7', 'tank-8')
    """

    def __init__(self, things: Iterable[tuple[str, str]] = (), taken: Iterable[str] = ()) -> None:
        """`things` are pairs of key and name; `taken` are keys that no name stands for any more.

        A name that two things have stands for neither.
        """
        self._taken = {folded(key) for key in taken}
        self._nameless: dict[str, str] = {}
        keys: dict[str, str] = {}
        names: dict[str, set[str]] = {}
        for key, name in things:
            keys[folded(key)] = key
            if name:
                names.setdefault(folded(name), set()).add(key)
            else:
                self._nameless[folded(key)] = key
        self._taken |= keys.keys()
        self._keys = {name: min(of) for name, of in names.items() if len(of) == 1} | keys

    def key_for(self, name: str) -> str:
        """The key of the thing of that name, or a key that no other thing has.

        A thing without a name was once called by one that makes its key, so that such a name
        stands for it.
        """
        if (found := self._keys.get(folded(name))) is not None:
            return found
        wanted = name if KEY_PATTERN.fullmatch(name) else slug(name)
        if (found := self._nameless.get(folded(wanted))) is not None:
            return found
        if folded(wanted) not in self._taken:
            return wanted
        number = 2
        while folded(f"{wanted}-{number}") in self._taken:
            number += 1
        return f"{wanted}-{number}"

    def learn(self, name: str) -> str:
        """The key for a name, which it keeps from now on."""
        key = self.key_for(name)
        self._keys.setdefault(folded(name), key)
        self._taken.add(folded(key))
        return key
