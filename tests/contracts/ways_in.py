"""Whether clicks lead to the form or page on which a kind is entered."""

from collections.abc import Set

from app.domain.roomlog.life import Form, Way
from app.web.kinds.places import PLACES
from tests.contracts.crawling import ROUTES
from tests.contracts.seen_room import BASE


def is_reached(way: Way | None, reached: Set[str]) -> bool:
    """Whether an address of the way in is among those that clicks lead to."""
    if isinstance(way, Form):
        path, last = BASE + PLACES[way.at].forms, f"/{way.task}"
    else:
        assert way is not None
        path, last = BASE + way.path, ""
    route = next(one for one in ROUTES if one.path == path)
    return any(route.path_regex.match(one) and one.endswith(last) for one in reached)
