"""The book of litres over the API: what one page does not hold is on the next."""

from typing import Any

from tests.factories import ROOM

POSTINGS = f"/api/v1/rooms/{ROOM}/litres/postings"


def top_up(client: Any, litres: float) -> None:
    entry = {"kind": "top_up", "tank": "t1", "volume_l": litres}
    assert client.post(f"/api/v1/rooms/{ROOM}/entries", json=entry).status_code == 201


def test_the_link_of_each_page_of_postings_leads_to_the_next(client: Any) -> None:
    for litres in (0.1, 0.2, 0.3):
        top_up(client, litres)
    whole = client.get(POSTINGS, params={"limit": 200}).json()["postings"]
    assert [one["litres"] for one in whole[:3]] == [0.3, 0.2, 0.1]
    found, answer = [], client.get(POSTINGS, params={"limit": 2})
    found += answer.json()["postings"]
    while following := answer.links.get("next"):
        answer = client.get(following["url"])
        assert answer.status_code == 200, answer.text
        found += answer.json()["postings"]
    assert found == whole


def test_a_cursor_that_no_answer_gave_is_refused_beside_its_field(client: Any) -> None:
    for cursor in ("a1.2", "-1", "x", "9" * 19):
        answer = client.get(POSTINGS, params={"cursor": cursor})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == "cursor"
