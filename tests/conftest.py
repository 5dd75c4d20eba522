"""What every test gets: no network but the machine itself, a browser, a running server."""

import os
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings

from app.installation import browser as chromium
from tests.days import OTHER_DAYS, SOME_DAYS, set_the_day
from tests.running import RunningServer, start_server

set_the_day()

BROWSER_FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP room.test 127.0.0.1",
)
TABLET = {"width": 1280, "height": 800}
"""CSS pixels of a 10.1 inch tablet on its side (common practice, no source)."""

# How long an example takes says little on a busy machine. (In CI Hypothesis has its own profile.)
settings.register_profile("here", deadline=None)
if not os.environ.get("CI"):
    settings.load_profile("here")

LOOPBACK = ("127.", "::1", "localhost")


def _refuse_network(event: str, arguments: tuple[Any, ...]) -> None:
    if event == "socket.getaddrinfo":
        host = arguments[0]
    elif event in {"socket.connect", "socket.sendto"} and isinstance(arguments[1], tuple):
        host = arguments[1][0]
    else:
        return
    if isinstance(host, bytes):
        host = host.decode()
    if host and not host.startswith(LOOPBACK):
        raise RuntimeError(f"A test may talk to this machine only, not to {host}.")


sys.addaudithook(_refuse_network)


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--all-days`: what is tried on several days of the year is tried on all of them."""
    parser.addoption("--all-days", action="store_true", help="try the demo on every day")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each test that asks for a `day`, and brings none of its own, the days of this run."""
    marks = metafunc.definition.iter_markers("parametrize")
    own = {name.strip() for mark in marks for name in mark.args[0].split(",")}
    if "day" in metafunc.fixturenames and "day" not in own:
        all_days = metafunc.config.getoption("all_days")
        metafunc.parametrize("day", OTHER_DAYS if all_days else SOME_DAYS)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Browser tests last (the browser's event loop stays in this thread); skipped without one."""
    items.sort(key=_is_browser_test)
    driven = [item for item in items if _is_browser_test(item)]
    if not driven or chromium.can_be_driven():
        return
    if os.environ.get("CI"):
        raise pytest.UsageError(f"{len(driven)} browser tests, but no Chromium.")
    for item in driven:
        item.add_marker(pytest.mark.skip(reason="no Chromium"))
    config.stash[_left_out] = len(driven)


_left_out = pytest.StashKey[int]()


def _is_browser_test(item: pytest.Item) -> bool:
    return item.get_closest_marker("browser") is not None


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say aloud how many browser tests did not run, and how to get them to."""
    count = terminalreporter.config.stash.get(_left_out, 0)
    if count:
        terminalreporter.section("browser tests left out", sep="!")
        terminalreporter.line(
            f"{count} browser tests were skipped: no Chromium to drive. {chromium.INSTALL_COMMAND}"
        )


@pytest.fixture(scope="session", autouse=True)
def names_of_tests() -> Iterator[None]:
    """Clients inside this process ask for names that are kept for tests (RFC 6761)."""
    from app.web import hosts

    own = hosts.names_of_this_machine
    with pytest.MonkeyPatch.context() as patch:
        names = {"room.test", "testserver"}
        patch.setattr(hosts, "names_of_this_machine", lambda: own() | names)
        yield


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, started once: a Playwright browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=chromium.find_chromium(), args=list(BROWSER_FLAGS), headless=True
        )
        yield started
        started.close()


@pytest.fixture
def console_errors() -> list[str]:
    """What the pages of this test complained about; what is left at its end fails the test."""
    return []


@pytest.fixture
def new_page(browser: Any, console_errors: list[str]) -> Iterator[Any]:
    """A function that opens an empty page in a context of its own.

    Its named arguments are those of Playwright's `new_context`, such as `viewport`,
    `color_scheme` or `java_script_enabled`.
    """
    contexts = []

    def open_page(**options: Any) -> Any:
        context = browser.new_context(**{"viewport": TABLET, **options})
        context.set_default_timeout(10_000)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda line: _note(line, console_errors))
        page.on("pageerror", lambda error: console_errors.append(str(error)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert console_errors == []


def _note(line: Any, console_errors: list[str]) -> None:
    if line.type == "error":
        console_errors.append(f"{line.text} ({line.location.get('url', '')})")


@pytest.fixture
def page(new_page: Any) -> Any:
    """An empty page of a tablet's size."""
    return new_page()


@pytest.fixture(scope="session")
def serve(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A function that starts `python -m app COMMAND ...` on a free port with data of its own.

    `serve("demo")` or `serve("serve", "--option", data_dir=...)` gives a `RunningServer` once it
    answers; all of them are stopped at the end of the session, or earlier by `stop()`.
    """
    running: list[RunningServer] = []

    def start(command: str = "serve", *options: str, **more: Any) -> RunningServer:
        data_dir = more.pop("data_dir", None) or tmp_path_factory.mktemp("data")
        server = start_server(command, *options, data_dir=data_dir, **more)
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """Address of an empty PostgreSQL database of this test's own.

    The server is the one that BATHKEEPER_TEST_POSTGRES names, such as
    postgresql+psycopg://postgres@127.0.0.1:5432/postgres; without one the test is skipped.
    """
    from tests.postgres import temporary_database

    server_url = os.environ.get("BATHKEEPER_TEST_POSTGRES")
    if not server_url:
        pytest.skip("no PostgreSQL: BATHKEEPER_TEST_POSTGRES is not set")
    with temporary_database(server_url) as url:
        yield url
