"""Find anything in the room."""

import re

from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM

FIND = f"/rooms/{ROOM}/find"


def test_three_letters_lead_to_a_drum(client: TestClient, store: Store) -> None:
    drum = Drum(
        at=NOW,
        drum="d05",
        name="North drum",
        capacity_l=205.0,
        stream="wipes",
        area="wash_station",
    )
    record(store, ROOM, [drum], NOW)
    page = client.get(FIND, params={"q": "nor"}).text
    assert re.search(rf'href="/rooms/{ROOM}/waste/drums/d05"><b>North drum</b>', page)


def test_a_page_of_the_menu_is_found_by_its_name(client: TestClient) -> None:
    page = client.get(FIND, params={"q": "book of lit"}).text
    assert f'<li><a href="/rooms/{ROOM}/litres"><b>Book of litres</b>' in page


def test_as_one_types_only_the_list_comes_and_is_short(client: TestClient) -> None:
    page = client.get(FIND, params={"q": "s"}, headers={"HX-Request": "true"}).text
    assert "<html" not in page
    assert page.count("<li") == 8
    assert "Add a letter" in page


def test_what_is_not_there_says_what_to_do(client: TestClient) -> None:
    page = client.get(FIND, params={"q": "<b>zzz"}).text
    assert "Nothing here is called “&lt;b&gt;zzz”" in page
    assert f'href="/rooms/{ROOM}/log"' in page


def test_nothing_asked_shows_the_field_alone(client: TestClient) -> None:
    page = client.get(FIND).text
    assert 'name="q"' in page
    assert "Nothing here" not in page


def test_a_very_long_question_is_cut(client: TestClient) -> None:
    answer = client.get(FIND, params={"q": "x" * 5000})
    assert answer.status_code == 200
    assert "x" * 81 not in answer.text.partition("</header>")[2]


def test_what_was_entered_since_is_found_and_who_has_left_comes_last(
    client: TestClient, store: Store
) -> None:
    assert "Heron" not in client.get(FIND, params={"q": "her"}).text.partition("found-list")[2]
    record(store, ROOM, [CrewMember(at=NOW, crew="crew", name="Heron", role="lead")], NOW)
    assert "<b>Heron</b>" in client.get(FIND, params={"q": "her"}).text
    gone = CrewMember(at=NOW, crew="crew", name="Heron", role="lead", has_left=True)
    record(store, ROOM, [gone], NOW)
    page = client.get(FIND, params={"q": "her"}).text
    assert re.search(r'class="is-past"><a [^>]*><b>Heron</b>', page)
