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
from fastapi import FastAPI
from schemathesis.config import SchemathesisConfig
from schemathesis.generation import GenerationMode

from app.api.site import install
from app.config import Settings
from tests.api.conftest import DATABASE, make_app
from tests.factories import NOW, ROOM

KNOWN = {"room": ROOM, "tank": "t1", "entry_id": "w1"}
CONFIG = {
    "checks": {
        # Each value may fit its field and the whole still not the room: a tank that is not there.
        "positive_data_acceptance": {"expected-statuses": ["2xx", 304, 404, 409, 412, 422]},
    },
}
FITTING = {"tank": "t1", "resin": "slate", "time_zone": "UTC"}
EXAMPLES, OF_ANY_ADDRESS = 4, 2
NIGHTLY = 5  # times as many
TRIES = hypothesis.settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=list(hypothesis.HealthCheck),
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)


def _operations() -> list[tuple[str, str]]:
    app = FastAPI()
    app.state.settings = Settings()
    install(app)
    api: Any = app.routes[-1]
    return [
        (path, method)
        for path, methods in api.app.api.openapi()["paths"].items()
        for method in methods
    ]


OPERATIONS = _operations()
ONLY_AN_ADDRESS = {
    ("/v1/rooms/{room}/imports", "get"), ("/v1/rooms/{room}/imports/{token}/stop", "post"),
    ("/v1/deleted-rooms", "get"),
}  # fmt: skip
"""Nothing but the address of these can be wrong, which the test of any address tries."""
CASES = [
    (path, method, mode)
    for path, method in OPERATIONS
    for mode in GenerationMode
    if mode is GenerationMode.POSITIVE or (path, method) not in ONLY_AN_ADDRESS
]


@pytest.fixture(scope="module")
def described(furnished: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The API's description, with the application behind it."""
    folder = tmp_path_factory.mktemp("described")
    shutil.copy(furnished, folder / DATABASE)
    app = make_app(folder, lambda: NOW)
    config = SchemathesisConfig.from_dict(CONFIG)
    yield schemathesis.openapi.from_asgi("/api/v1/openapi.json", app, config=config)
    app.state.store.close()


@pytest.fixture(scope="module")
def times(pytestconfig: pytest.Config) -> int:
    """How thorough this run is."""
    return NIGHTLY if pytestconfig.getoption("nightly") else 1


@pytest.mark.parametrize("path, method, mode", CASES)
def test_the_api_is_as_it_says(
    described: Any, path: str, method: str, mode: GenerationMode, times: int
) -> None:
    known = {name: key for name, key in KNOWN.items() if f"{{{name}}}" in path}
    cases = described[path][method].as_strategy(generation_mode=mode, path_parameters=known)

    tries = times * EXAMPLES

    @hypothesis.settings(TRIES, max_examples=tries)
    @hypothesis.given(case=cases)
    def answers_as_described(case: Any) -> None:
        if mode is GenerationMode.POSITIVE:
            _fit(case.body)
        case.call_and_validate()

    answers_as_described()


@pytest.mark.parametrize("mode", list(GenerationMode))
@pytest.mark.parametrize("path, method", [item for item in OPERATIONS if "{" in item[0]])
def test_any_address_is_answered_as_described(
    described: Any, path: str, method: str, mode: GenerationMode, times: int
) -> None:
    @hypothesis.settings(TRIES, max_examples=times * OF_ANY_ADDRESS)
    @hypothesis.given(case=described[path][method].as_strategy(generation_mode=mode))
    def answers_as_described(case: Any) -> None:
        case.call_and_validate()

    answers_as_described()


def _fit(body: Any) -> None:
    """Turn an entry that fits its description into one that fits the room."""
    if isinstance(body, dict):
        body |= {name: key for name, key in FITTING.items() if name in body}
        body.pop("at", None)
        for entry in body.get("entries", ()):
            _fit(entry)
