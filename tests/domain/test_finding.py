"""Finding a thing by a few letters."""

import pytest

from app.domain.finding import Findable, found


def named(*names: str) -> list[Findable]:
    return [Findable(name, "Tank", f"/{name}") for name in names]


def names(things: list[Findable], asked: str, most: int = 20) -> list[str]:
    return [one.name for one in found(things, asked, most)]


def test_the_beginning_of_any_word_finds_it() -> None:
    things = named("1 Alder", "2 Birch", "Lid gasket of Alder")
    assert names(things, "ald") == ["1 Alder", "Lid gasket of Alder"]
    assert names(things, "gas") == ["Lid gasket of Alder"]
    assert names(things, "2") == ["2 Birch"]


def test_every_word_has_to_belong_to_it() -> None:
    things = [Findable("Swap of 2 Birch", "Swap", "/a", "3 Nov 2026"),
              Findable("Swap of 1 Alder", "Swap", "/b", "3 Nov 2026")]  # fmt: skip
    assert names(things, "bir nov") == ["Swap of 2 Birch"]
    assert names(things, "alder 2027") == []


def test_what_is_called_so_comes_before_what_only_mentions_it() -> None:
    things = [
        Findable("Bung", "Shelf", "/within", "for drum D-05"),
        Findable("D-051", "Drum", "/begins"),
        Findable("D-05", "Drum", "/exact", is_past=True),
    ]
    assert [one.path for one in found(things, "d-05")] == ["/exact", "/begins", "/within"]


def test_what_is_in_use_comes_before_what_is_over() -> None:
    things = [Findable("Drum 1", "Drum", "/old", is_past=True), Findable("Drum 2", "Drum", "/new")]
    assert [one.path for one in found(things, "dru")] == ["/new", "/old"]


@pytest.mark.parametrize("asked", ["öl", "OL", "o\u0308l", "ol"])
def test_case_and_accents_do_not_matter(asked: str) -> None:
    assert names(named("Ölbad", "Alder"), asked) == ["Ölbad"]


def test_from_three_letters_on_the_middle_of_a_word_finds_it_too() -> None:
    assert names(named("Radiometer"), "met") == ["Radiometer"]
    assert names(named("Radiometer"), "me") == []


def test_what_it_is_also_known_by_finds_it() -> None:
    things = [Findable("Lid gasket", "Part", "/p", "1 Alder", ("lot-77", "gasket"))]
    assert names(things, "lot-77") == ["Lid gasket"]


@pytest.mark.parametrize("asked", ["", "   ", "!?", "%", "\u0000"])
def test_nothing_asked_is_nothing_found(asked: str) -> None:
    assert names(named("Alder"), asked) == []


def test_no_more_are_given_than_asked_for_and_equals_keep_their_order() -> None:
    things = named(*(f"Alder {n}" for n in range(30)))
    assert names(things, "ald", 3) == ["Alder 0", "Alder 1", "Alder 2"]


def test_a_flood_of_words_is_cut_off() -> None:
    assert names(named("Alder"), "a " * 10_000) == ["Alder"]


def test_it_is_not_found_by_what_its_page_shows() -> None:
    things = [Findable("Wren", "Person", "/log", leads_to="all entries")]
    assert names(things, "al") == []
    assert names(things, "wr") == ["Wren"]
