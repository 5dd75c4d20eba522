"""Changing a room's settings as somebody does who has the form before them."""

import re
from typing import Any

from tests.factories import ROOM


def change_settings(client: Any, settings: dict[str, str]) -> None:
    """Send the form of the settings with these values; it is taken."""
    at = f"/rooms/{ROOM}/settings"
    (seen,) = re.findall(r'name="seen" value="([0-9a-f]+)"', client.get(at).text)
    assert client.post(at, data={**settings, "seen": seen}).status_code == 200
