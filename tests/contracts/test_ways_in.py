"""Every kind of entry says where it is entered; the tests of the demo's pages click there."""

import pytest

from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.life import PLACES, Form
from app.web.kinds.places import PLACES as DRAWN
from tests.contracts.crawling import ROUTES

BASE = "/rooms/{room}"
PAGES_OF_A_ROUTE = 20  # a task of a form each, and some things of a kind


@pytest.mark.parametrize("kind", KINDS)
def test_it_says_where_it_is_entered(kind: str) -> None:
    way = KINDS[kind].reached
    assert way is not None, "give it a Form, or the Page on which it is entered"
    if isinstance(way, Form):
        assert way.at in DRAWN
        assert way.at == "room" or way.at in KINDS[kind].specs()
        named = {name for row in way.rows for name in row} | set(way.labels)
        assert named <= set(KINDS[kind].specs())
    else:
        assert BASE + way.path in {route.path for route in ROUTES}


def test_the_domain_and_the_pages_know_the_same_places() -> None:
    assert set(PLACES) == set(DRAWN)


def test_no_two_forms_of_a_place_have_one_address() -> None:
    forms = [kind.reached for kind in KINDS.values() if isinstance(kind.reached, Form)]
    assert len({(form.at, form.task) for form in forms}) == len(forms) > 10
