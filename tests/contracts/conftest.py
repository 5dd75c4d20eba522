"""What the promises about all pages are tried on."""

import ast
from collections.abc import Iterator, Mapping

import pytest
from fastapi.testclient import TestClient

from tests.contracts.seen_room import visit_room
from tests.contracts.trees import trees_of_program
from tests.factories import ROOM


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A browser without scripts on a room with washes, a reading, a reject and a swap under way."""
    yield from visit_room(tmp_path_factory.mktemp("pages"))


@pytest.fixture(scope="module")
def token(client: TestClient) -> str:
    """The token of a file that was handed in for import."""
    line = '{"kind":"wash","at":"2026-03-01T08:00:00Z","tank":"t1","resin":"slate","parts":3}\n'
    page = client.post(f"/rooms/{ROOM}/import", files={"log": ("log.jsonl", line)})
    return page.url.path.rsplit("/", 1)[1]


@pytest.fixture(scope="module")
def trees() -> Mapping[str, ast.Module]:
    """The syntax tree of each module of the program, by its dotted name."""
    return trees_of_program()
