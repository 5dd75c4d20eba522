"""The fixtures that all tests lean on do what they say."""

import ast
import socket
from pathlib import Path
from typing import Any

import pytest

from tests.loops import in_loop
from tests.running import free_port, start_server


@pytest.mark.parametrize("host", ["192.0.2.1", "2001:db8::1"])  # RFC 5737, RFC 3849: for examples
def test_a_test_cannot_reach_another_machine(host: str) -> None:
    with pytest.raises(RuntimeError, match="this machine only"):
        socket.create_connection((host, 80), timeout=1)


def test_a_test_cannot_look_up_another_machine() -> None:
    with pytest.raises(RuntimeError, match="this machine only"):
        socket.getaddrinfo("host.example", 80)  # RFC 2606: a name for examples


def test_a_test_can_reach_this_machine() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        socket.create_connection(server.getsockname(), timeout=1).close()


def test_a_server_that_ends_at_once_is_reported_with_its_words(tmp_path: Path) -> None:
    with pytest.raises(AssertionError, match=r"(?s)The server ended:.*no-such-command"):
        start_server("no-such-command", data_dir=tmp_path, port=free_port())


def test_a_postgres_database_is_empty_and_of_its_own(postgres_url: str) -> None:
    from sqlalchemy import create_engine, inspect

    engine = create_engine(postgres_url)
    assert inspect(engine).get_table_names() == []
    engine.dispose()
    assert "bathkeeper_test_" in postgres_url


@pytest.mark.browser
def test_a_page_is_of_a_tablets_size_and_its_complaints_are_kept(
    page: Any, console_errors: list[str]
) -> None:
    page.set_content("<script>console.error('a complaint')</script><h1>Room</h1>")
    assert page.inner_text("h1") == "Room"
    assert page.evaluate("[innerWidth, innerHeight]") == [1280, 800]
    assert ["a complaint" in line for line in console_errors] == [True]
    console_errors.clear()


def test_a_test_may_run_an_event_loop_whatever_ran_before() -> None:
    async def answer() -> int:
        return 1

    async def beside_a_browser() -> int:
        return in_loop(answer())

    assert in_loop(beside_a_browser()) == 1


def test_no_test_starts_a_loop_in_its_own_thread() -> None:
    """A browser that an earlier test of the same process started keeps one there."""
    tests = Path(__file__).parents[1]
    starters = {
        file.relative_to(tests).as_posix()
        for file in tests.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) in ("asyncio.run", "asyncio.Runner", "anyio.run")
    }
    assert starters == set()
