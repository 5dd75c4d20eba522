"""Answers to what a form is asked about, as a page without scripts gives them."""

import re
from collections.abc import Mapping
from typing import Any

STORE_IT = re.compile(r'name="confirmed" value="([0-9a-f]{16}[a-z0-9_ ]*)"')


def settle(client: Any, room: str, sent: Mapping[str, Any]) -> Any:
    """Send a room's settings with the mark of what was seen, as its form does."""
    form = client.get(f"/rooms/{room}/settings").text
    seen = re.search(r'name="seen" value="([0-9a-f]+)"', form)
    assert seen is not None
    return client.post(f"/rooms/{room}/settings", data={**sent, "seen": seen[1]})


def sure(client: Any, path: str, sent: Mapping[str, Any], **options: Any) -> Any:
    """Send a form; where it is asked about, say yes. The last answer."""
    asked = client.post(path, data=sent, **options)
    answer = STORE_IT.search(asked.text)
    if answer is None:
        return asked
    return client.post(path, data={**sent, "confirmed": answer[1]}, **options)
