"""Keys made of names."""

import re
import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from app.domain.roomlog.fields import KEY_PATTERN
from app.domain.roomlog.naming import Names, folded, slug

NAMES = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=60)


@given(st.lists(NAMES, max_size=12))
def test_other_names_have_other_keys_and_the_same_name_its_own(said: list[str]) -> None:
    names = Names()
    keys = {name: names.learn(name) for name in said}
    for name, key in keys.items():
        assert KEY_PATTERN.fullmatch(key)
        assert names.key_for(name) == key
        for other, other_key in keys.items():
            same = folded(name) == folded(other) or folded(other) == folded(key)
            assert same or folded(name) == folded(other_key) or key != other_key


@given(NAMES)
def test_a_slug_is_of_letters_and_digits_and_the_same_again(name: str) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", slug(name))
    assert slug(slug(name)) == slug(name)
    assert len(slug(name)) <= 48


@given(NAMES)
def test_composed_and_decomposed_letters_are_the_same_name(name: str) -> None:
    """Unicode Standard Annex 15: NFC and NFD are canonically equivalent."""
    assert folded(unicodedata.normalize("NFD", name)) == folded(unicodedata.normalize("NFC", name))


def test_a_name_that_two_things_have_stands_for_neither() -> None:
    assert Names([("t1", "Alder"), ("t2", "alder")]).key_for("Alder") == "Alder"


def test_the_key_of_what_is_gone_is_not_given_again() -> None:
    assert Names([], taken=["drum-1"]).key_for("Drum 1") == "drum-1-2"
    assert Names([("drum-1-2", "Drum 1")], taken=["drum-1"]).key_for("Drum 1!") == "drum-1-3"


def test_two_long_names_that_begin_alike_are_two() -> None:
    names = Names()
    first, second = (names.learn("long " * 12 + end) for end in ("left", "right"))
    assert first != second
