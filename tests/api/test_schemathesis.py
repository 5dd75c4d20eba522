"""The API against its own description: what Schemathesis makes of it, valid and not, never fails.

Seeded, so that a run can be repeated; the pages of bad input are in `test_problems.py`.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
import schemathesis
from schemathesis.config import SchemathesisConfig

from tests.api.conftest import DATABASE, make_app
from tests.factories import NOW, ROOM

CONFIG = {
    "parameters": {"room": ROOM, "tank": "t1"},
    "checks": {
        # Each value may fit its field and the whole still not the room: a tank that is not there.
        "positive_data_acceptance": {"expected-statuses": ["2xx", "304", 404, 409, 422]},
    },
}
EXAMPLES = 25


@pytest.fixture(scope="module")
def described(furnished: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The API's description, with the application behind it."""
    folder = tmp_path_factory.mktemp("described")
    shutil.copy(furnished, folder / DATABASE)
    app = make_app(folder, lambda: NOW)
    config = SchemathesisConfig.from_dict(CONFIG)
    yield schemathesis.openapi.from_asgi("/api/v1/openapi.json", app, config=config)
    app.state.store.close()


api = schemathesis.pytest.from_fixture("described")


@api.parametrize()
@hypothesis.seed(20260302)
@hypothesis.settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    suppress_health_check=list(hypothesis.HealthCheck),
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)
def test_the_api_is_as_it_says(case: Any) -> None:
    case.call_and_validate()
