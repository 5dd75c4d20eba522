"""What several tests of the API ask and send."""

from typing import Any

from starlette.testclient import TestClient

from tests.api.conftest import BASE

ENTRIES = f"{BASE}/entries"
WASH: dict[str, Any] = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 900.0}


def count(client: TestClient, **shown: Any) -> int:
    """How many entries the log shows with these filters."""
    return len(client.get(ENTRIES, params={"limit": 200, **shown}).json()["entries"])


def errors_of(answer: Any) -> dict[str, str]:
    """The messages of a problem by field."""
    return {item["field"]: item["message"] for item in answer.json()["errors"]}
