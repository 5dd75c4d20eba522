"""Where people sign in, both halves of a hand-over bear the names of accounts."""

import re

from tests.factories import ROOM
from tests.web.people.conftest import Site

PAGE = f"/rooms/{ROOM}/hand-over"


def test_each_signs_as_who_is_signed_in(site: Site) -> None:
    kim, lee = site.browser("Kim"), site.browser("Lee")
    assert "as Kim" in kim.get(PAGE).text
    answer = kim.post(PAGE, data={"by": "Lee"})
    assert answer.status_code == 422  # asked whether it is Kim's word
    answer = kim.post(PAGE, data={"by": "Kim"})
    assert answer.status_code == 303
    own = kim.get(PAGE).text
    assert "Somebody else signs in" in own
    assert "take-over" not in own
    page = lee.get(PAGE).text
    assert "as Lee, I have read it" in page
    signed = re.search(r'name="signed" value="([^"]+)"', page)
    assert signed is not None
    answer = kim.post(f"{PAGE}/take-over", data={"signed": signed[1]})
    assert answer.status_code == 422
    assert "Kim handed over. Someone else takes over." in answer.text
    answer = lee.post(f"{PAGE}/take-over", data={"signed": signed[1]})
    assert answer.status_code == 303
    assert "Lee took over the room." in lee.get(answer.headers["location"]).text


def test_a_screen_shows_the_page_and_signs_nothing(site: Site) -> None:
    wall = site.browser("Wall")
    assert wall.get(PAGE).status_code == 200
    assert wall.post(PAGE, data={}).status_code == 403
