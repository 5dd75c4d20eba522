"""Running the tests of one planted error in a few milliseconds.

mutmut starts pytest anew for each error, which costs more than most tests do. Here pytest collects
once and runs all tests once, in the process that then forks a child for each error; the child
runs only the tests that reach the function with the error, and stops at the first that fails.
Those that noticed other errors of that function come first, and of the rest the quick ones.
"""

import functools
import gc
import os
import resource
import time
from collections import Counter, defaultdict
from collections.abc import Iterable
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

import pytest
from _pytest.config import _prepareconfig
from mutmut.runners.harness import PytestRunner
from mutmut.utils.file_utils import change_cwd
from mutmut.utils.format_utils import mangled_name_from_mutant_name
from mutmut.workers.isolation import ForkRunner


class Verdicts:
    """Keeps whether a test has failed."""

    def __init__(self) -> None:
        self.has_failed = False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """One failure, in its setting up or in the test, is enough."""
        self.has_failed |= report.failed

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_makereport(
        self, item: pytest.Item, call: pytest.CallInfo[Any]
    ) -> pytest.TestReport | None:
        """A failure without its story: to tell it pytest reads the module with all its errors
        anew, which takes a hundred times as long as the test."""
        if call.excinfo is None or isinstance(call.excinfo.value, pytest.skip.Exception):
            return None
        return pytest.TestReport(
            item.nodeid, item.location, {}, outcome="failed", longrepr="", when=call.when
        )


class WarmRunner(PytestRunner):
    """A pytest session that is collected once, and whose tests are run again in each child."""

    def __init__(self) -> None:
        super().__init__()
        self._verdicts = Verdicts()
        self._session: pytest.Session | None = None
        self._items: dict[str, pytest.Item] = {}
        self._told, self._tell = os.pipe()
        os.set_blocking(self._told, False)
        self._noticed: defaultdict[str, Counter[str]] = defaultdict(Counter)
        self._cpu_s: dict[str, float] = {}
        self._caches: list[Any] = []

    def run_tests(self, *, mutant_name: str | None, tests: Iterable[str]) -> int:
        """0 where all passed, 1 where one failed; with no tests named, all of them are run."""
        with change_cwd("mutants"):
            if self._session is None:
                self._collect()
            chosen = list(tests) or list(self._items)
            if mutant_name is not None:
                for cache in self._caches:
                    cache.cache_clear()
                of_function = self._noticed[mangled_name_from_mutant_name(mutant_name)]
                chosen.sort(key=lambda name: (-of_function[name], self._cpu_s[name]))
            failed = self._first_failed(chosen, is_child=mutant_name is not None)
            if mutant_name is None:
                self._caches = _caches_of_the_program()
        if failed is not None and mutant_name is not None:
            os.write(self._tell, f"{mutant_name}\t{failed}\n".encode())
        return 1 if failed is not None else 0

    def learn(self) -> None:
        """Hear from the children which tests noticed their errors."""
        try:
            told = os.read(self._told, 1 << 20).decode()
        except BlockingIOError:
            return
        for line in told.splitlines():
            mutant_name, _, test = line.partition("\t")
            self._noticed[mangled_name_from_mutant_name(mutant_name)][test] += 1

    def _limit(self, test: str) -> None:
        """An error that goes on for ever ends by the CPU that a test takes, not by the clock: on a
        busy machine a slow test is no noticed error."""
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        seconds = 3 + int(time.process_time() + 5 * self._cpu_s[test])
        resource.setrlimit(resource.RLIMIT_CPU, (min(seconds, hard) if hard > 0 else seconds, hard))

    def _collect(self) -> None:
        selection = self._pytest_add_cli_args_test_selection
        arguments = ["--rootdir=.", "-s", *selection, *self._pytest_add_cli_args]
        config = _prepareconfig(arguments, [self._verdicts])
        with redirect_stdout(Path(os.devnull).open("w")):  # it keeps it
            config._do_configure()
        _settle_properties()
        self._session = session = pytest.Session.from_config(config)
        config.hook.pytest_sessionstart(session=session)
        config.hook.pytest_collection(session=session)
        self._items = {item.nodeid: item for item in session.items}

    def _first_failed(self, names: list[str], *, is_child: bool) -> str | None:
        self._verdicts.has_failed = False
        items = [self._items[name] for name in names]
        for item, following in zip(items, [*items[1:], None], strict=True):
            if is_child:
                self._limit(item.nodeid)
            began_s = time.process_time()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            self._cpu_s.setdefault(item.nodeid, time.process_time() - began_s)
            if self._verdicts.has_failed:
                item.session._setupstate.teardown_exact(None)
                return item.nodeid
        return None


def _caches_of_the_program() -> list[Any]:
    """What functions remember of the run without an error: a child would take it for its own, and
    never reach an error in what made it."""
    return [
        one
        for one in gc.get_objects()
        if isinstance(one, functools._lru_cache_wrapper)
        and str(getattr(one, "__module__", "")).startswith("app.")
    ]


def _settle_properties() -> None:
    """Examples are the same for each error and none is remembered from another, so that a score
    can be had again; a failing example is enough, however long it is."""
    from hypothesis import Phase, settings  # pytest has to be the first that imports it

    current = settings.get_profile(settings.get_current_profile_name())
    phases = (Phase.explicit, Phase.generate)
    settings.register_profile("planted", current, derandomize=True, database=None, phases=phases)
    settings.load_profile("planted")


class LearningRunner(ForkRunner):
    """Forks a child for each error; what earlier children told is heard before."""

    def submit(self, mutant_name: str, tests: list[str], *limits: Any) -> None:
        """Start a child, or give the answer at once where no test reaches the function."""
        assert isinstance(self.test_runner, WarmRunner)
        self.test_runner.learn()
        super().submit(mutant_name, sorted(tests), *limits)


def make_runner(max_workers: int = 1) -> LearningRunner:
    """The runner that mutmut is to use."""
    return LearningRunner(max_workers, WarmRunner())
