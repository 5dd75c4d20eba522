"""What the log says of who sent a request: the role, never the name."""

import json
from pathlib import Path

import pytest

from app.config import Settings
from app.logged import log_as
from tests.factories import ROOM
from tests.web.people.conftest import PEOPLE, Site

pytestmark = pytest.mark.usefixtures("log_as_before")


def test_a_request_tells_the_role_of_whoever_is_signed_in_and_no_name(
    site: Site, tmp_path: Path
) -> None:
    log_as(Settings(log="json", log_file=tmp_path / "log"))
    for name in ("", *PEOPLE):
        site.browser(name).get(f"/rooms/{ROOM}")
    text = (tmp_path / "log").read_text("utf-8")
    told = [json.loads(line) for line in text.splitlines()]
    roles = [one.get("role") for one in told if one.get("route") == "/rooms/{room}"]
    assert roles[-4:] == list(PEOPLE.values())
    assert roles[:-4] in ([], [None])
    assert not [name for name in PEOPLE if name in text]
