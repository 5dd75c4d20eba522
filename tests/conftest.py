"""What every test gets: no network but the machine itself, a browser, a running server."""

import gc
import hashlib
import os
import re
import secrets
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import core, settings

from app.installation import browser as chromium
from tests.days import ONE_DAY, OTHER_DAYS, SOME_DAYS, set_the_day
from tests.furnished import SHARED
from tests.oracles import Ask, Oracles, read_table, write_table
from tests.plain_spaces import read_plainly
from tests.running import RunningServer, start_server

set_the_day()
read_plainly()
# All that is imported until the tests begin stays: looking through it again and again is idle.
gc.set_threshold(50_000, 20, 20)

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
# A failure says how to have that very example again.
settings.register_profile("here", deadline=None, print_blob=True)
if not os.environ.get("CI"):
    settings.load_profile("here")

SEED = "BATHKEEPER_TESTS_SEED"
"""Variable that tells the workers of a run in which order it tests."""
BRIEF = 40
"""Examples of a property that names no number; Hypothesis's own hundred are for the night."""

ASKS = re.compile(r"\bask: Ask\b|mark\.oracle\b")
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
    """What `python3 -m app test` understands besides pytest's own options."""
    parser.addoption("--all-days", action="store_true", help="try the demo on every day")
    parser.addoption("--nightly", action="store_true", help="also what is too slow for every run")
    parser.addoption("--oracles", action="store_true", help="ask the libraries anew and compare")
    parser.addoption("--write", action="store_true", help="with --oracles: write the answers")
    parser.addoption(
        "--seed",
        type=int,
        help="of the order of tests and of what properties draw; 0 keeps the order as written",
    )


def pytest_report_header(config: pytest.Config) -> str:
    """The order of this run and what its properties draw, to be had again."""
    seed = config.getoption("seed")
    return f"order of the tests, and examples of properties: --seed {seed}"


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """With --oracles only files that ask: what the others need is not there."""
    if not config.getoption("oracles") or not collection_path.name.startswith("test_"):
        return None
    return True if not ASKS.search(collection_path.read_text("utf-8")) else None


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give each test that asks for a `day`, and brings none of its own, the days of this run."""
    marks = metafunc.definition.iter_markers("parametrize")
    own = {name.strip() for mark in marks for name in mark.args[0].split(",")}
    if "day" in metafunc.fixturenames and "day" not in own:
        option = metafunc.config.getoption
        some = SOME_DAYS if option("nightly") else ONE_DAY
        metafunc.parametrize("day", OTHER_DAYS if option("all_days") else some)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what this run does not want, and put the rest into its order."""
    left_out = [item for item in items if not _is_wanted(item, config)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if _is_wanted(item, config)]
    if config.getoption("seed"):
        _shuffle(items, config.getoption("seed"))
    # Browser tests last: the browser's event loop stays in this thread.
    items.sort(key=_is_browser_test)
    _see_that_browsers_are_there(config, [item for item in items if _is_browser_test(item)])


def _is_wanted(item: pytest.Item, config: pytest.Config) -> bool:
    is_live = item.get_closest_marker("oracle") is not None
    if config.getoption("oracles"):
        return is_live or "ask" in getattr(item, "fixturenames", ())
    is_nightly = item.get_closest_marker("nightly") is not None
    return not is_live and (not is_nightly or config.getoption("nightly"))


def _shuffle(items: list[pytest.Item], seed: int) -> None:
    """Files in any order, and in each its tests, but for those that build upon each other.

    The place of a test follows from its name and the seed: it stays when others come or go.
    """

    def drawn(name: str) -> bytes:
        return hashlib.sha256(f"{seed} {name}".encode()).digest()

    # The journeys of a file through one room in the browser go on where the last one ended.
    kept = {
        item.path for item in items if _is_browser_test(item) or item.get_closest_marker("ordered")
    }
    items.sort(
        key=lambda item: (
            drawn(item.path.name), item.path, b"" if item.path in kept else drawn(item.name)
        )
    )  # fmt: skip


def _see_that_browsers_are_there(config: pytest.Config, driven: list[pytest.Item]) -> None:
    if not driven or chromium.can_be_driven():
        return
    if os.environ.get("CI"):
        raise pytest.UsageError(f"{len(driven)} browser tests, but no Chromium.")
    for item in driven:
        item.add_marker(pytest.mark.skip(reason="no Chromium"))
    config.stash[_left_out] = len(driven)


def pytest_configure(config: pytest.Config) -> None:
    """Make the folder of what is made once for all workers; it goes when the run ends."""
    if config.option.seed is None:
        config.option.seed = _drawn_seed(config)
    if config.option.hypothesis_seed is None:
        core.global_force_seed = config.option.seed
    if not config.getoption("nightly"):  # properties are tried on fewer examples
        current = settings.get_current_profile_name()
        settings.register_profile("brief", settings.get_profile(current), max_examples=BRIEF)
        settings.load_profile("brief")
    if SHARED not in os.environ:
        folder = tempfile.mkdtemp(prefix="bathkeeper-tests-")
        os.environ[SHARED] = folder
        config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))
        config.add_cleanup(lambda: os.environ.pop(SHARED, None))


def _drawn_seed(config: pytest.Config) -> int:
    """A seed for this run; the workers, which are started later, find it where it is left."""
    if SEED not in os.environ:
        os.environ[SEED] = str(secrets.randbelow(2**31) + 1)
        config.add_cleanup(lambda: os.environ.pop(SEED, None))
    return int(os.environ[SEED])


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
def _nothing_is_kept_for_ever() -> Iterator[None]:
    """A program leaves what its start made out of collections; of hundreds it would never go."""
    from app import main

    main.spare_collections()  # once, of what all tests share
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(main, "spare_collections", lambda: None)
        yield


@pytest.fixture(scope="module", autouse=True)
def _what_a_file_made_goes() -> Iterator[None]:
    """Applications hold themselves in circles: those of hundreds of files would pile up."""
    yield
    gc.collect()


@pytest.fixture(scope="session", autouse=True)
def synchronous() -> Iterator[str]:
    """How the program waits for the disk, which stores inside this process do not: nobody pulls
    the plug here, and programs that are killed run in processes of their own."""
    from app.store import engine

    own = engine.SYNCHRONOUS
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "SYNCHRONOUS", "OFF")
        yield own


@pytest.fixture(scope="session", autouse=True)
def _statements_are_compiled_once() -> Iterator[None]:
    """One database after the other is made, and asked the same."""
    from app.store import engine
    from tests.statements import sharing

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "create_engine", sharing(engine.create_engine))
        yield


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
def oracles(request: pytest.FixtureRequest) -> Iterator[Oracles]:
    """The kept answers of heavy libraries; with --oracles those libraries themselves."""
    option = request.config.getoption
    asked = Oracles(read_table(), option("oracles"), option("write"))
    yield asked
    source = request.config.args_source
    is_whole = source is source.TESTPATHS and not option("keyword") and not option("markexpr")
    wanted = asked.asked if is_whole else asked.rows.keys()
    if asked.is_written:
        write_table({key: asked.rows[key] for key in wanted})
    elif asked.is_live and request.session.testsfailed == 0:
        assert asked.rows.keys() == wanted, "answers that nobody asks for: --oracles --write"


@pytest.fixture
def ask(oracles: Oracles) -> Ask:
    """`ask("scipy.stats.norm.ppf", 0.95, unit="1")`: what that library answers."""
    return oracles.ask


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

    with temporary_database(_server_url()) as url:
        yield url


@pytest.fixture(scope="session")
def _migrated() -> Iterator[str]:
    """Address of a database in its newest form that is only copied."""
    from app.store.engine import open_store
    from app.store.migrations import upgrade
    from tests.postgres import temporary_database

    with temporary_database(_server_url()) as url:
        store = open_store(url)
        upgrade(store)
        store.close()
        yield url


@pytest.fixture
def postgres_store(_migrated: str) -> Iterator[Any]:
    """A `Store` on a PostgreSQL database of this test's own, in its newest form, without a room."""
    from app.store.engine import open_store
    from tests.postgres import temporary_database

    with temporary_database(_server_url(), like=_migrated) as url:
        store = open_store(url)
        yield store
        store.close()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either_store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """A `Store` of this test's own without a room, on each of the databases."""
    from tests.furnished import new_store

    is_file = request.param == "sqlite"
    store = new_store(tmp_path) if is_file else request.getfixturevalue("postgres_store")
    yield store
    store.close()


@pytest.fixture(scope="session")
def postgres_server() -> str:
    """Address of the server on which tests make databases; skipped where there is none."""
    return _server_url()


def _server_url() -> str:
    if server_url := os.environ.get("BATHKEEPER_TEST_POSTGRES"):
        return server_url
    pytest.skip("no PostgreSQL: BATHKEEPER_TEST_POSTGRES is not set")
