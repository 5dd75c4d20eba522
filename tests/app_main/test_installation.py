"""When the environment counts as current, and the words for what can go wrong."""

import errno
import hashlib
import os
import shutil
import sys
from pathlib import Path

import pytest

from app.installation import browser, environment, installer, programs, troubles, turn

LOCK = environment.RUN_LOCK


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a lock and an environment that was stamped for it."""
    monkeypatch.setattr(environment, "ROOT", str(tmp_path))
    monkeypatch.setattr(environment, "ENVIRONMENT", str(tmp_path / ".venv"))
    (tmp_path / LOCK).write_text("tiny==1.0\n")
    python = Path(environment.python_of(environment.ENVIRONMENT))
    python.parent.mkdir(parents=True)
    python.touch()
    environment.write_stamp(environment.ENVIRONMENT, LOCK)
    return tmp_path


@pytest.mark.usefixtures("made")
def test_a_stamped_environment_is_current() -> None:
    assert environment.is_current(LOCK)


def test_it_is_not_once_the_lock_has_changed(made: Path) -> None:
    (made / LOCK).write_text("tiny==1.1\n")
    assert not environment.is_current(LOCK)


def test_it_is_not_without_a_stamp(made: Path) -> None:
    shutil.rmtree(made / ".venv" / environment.STAMPS)
    assert not environment.is_current(LOCK)


def test_it_is_not_when_its_python_is_gone(made: Path) -> None:
    python = Path(environment.python_of(environment.ENVIRONMENT))
    python.unlink()
    python.symlink_to(made / "a-python-that-was-removed")
    assert not environment.is_current(LOCK)


@pytest.mark.usefixtures("made")
def test_it_is_not_when_another_python_has_come_behind_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", environment.ENVIRONMENT)
    assert environment.is_current(LOCK)
    monkeypatch.setattr(environment, "_this_python", lambda: b"# Python 3.99")
    assert not environment.is_current(LOCK)


def test_a_lock_cut_off_in_its_stamp_is_not_current(made: Path) -> None:
    stamp = made / ".venv" / environment.STAMPS / LOCK
    stamp.write_bytes(stamp.read_bytes()[:-3])
    assert not environment.is_current(LOCK)


# As published: the sha256 that the package index gives for the wheel of pip 26.3.
PIP_WHEEL = "f3b60b20ffaadd4415ed7957212a38ac63fa4c5fa375bd0f4a797777940fad13"


def test_the_installer_is_the_one_that_was_published() -> None:
    digest = hashlib.sha256(installer.WHEEL.read_bytes()).hexdigest()
    assert digest == installer.WHEEL_SHA256 == PIP_WHEEL


@pytest.mark.parametrize(
    "output, advice",
    [
        # Lines as pip 23.2, uv 0.13 and Debian's apt 2.6 wrote them.
        (
            "WARNING: Retrying (Retry(total=0, ...)) after connection broken by "
            "'NewConnectionError('<...>: Failed to establish a new connection: [Errno -3] "
            "Temporary failure in name resolution')': /simple/alembic/",
            "could not be reached",
        ),
        ("error: Failed to fetch: `x`\n  Caused by: error sending request for url", "reached"),
        ("ERROR: Could not install packages: [Errno 28] No space left on device", "disk is full"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "hash"),
        ("something else\nits last line", "    its last line"),
    ],
)
def test_a_failed_program_is_explained(output: str, advice: str) -> None:
    error = programs.ProgramFailed("pip", output)
    assert advice in troubles.explain(error, Path("/project"))


def test_a_folder_that_cannot_be_written_to_is_named() -> None:
    error = PermissionError(errno.EACCES, "Permission denied")
    assert "/project cannot be written to" in troubles.explain(error, Path("/project"))


def test_a_program_that_fails_hands_over_what_it_wrote() -> None:
    with pytest.raises(programs.ProgramFailed) as caught:
        programs.run([sys.executable, "-c", "print('words'); raise SystemExit(3)"])
    assert caught.value.output == "words\n"


@pytest.mark.skipif(os.name == "nt", reason="POSIX locks")
def test_the_lock_is_held_while_a_program_started_under_it_runs(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    probe = "import fcntl, os; fcntl.flock(os.open('lock', os.O_RDWR), fcntl.LOCK_EX | 4)"
    with turn.wait_for_turn(path):
        held = turn.held[-1]
        code = f"import os; os.fstat({held}); os.chdir({str(tmp_path)!r})\n{probe}"
        with pytest.raises(programs.ProgramFailed, match="python") as caught:
            programs.run([sys.executable, "-c", code])
    assert "BlockingIOError" in caught.value.output
    assert turn.held == []
    programs.run([sys.executable, "-c", f"import os; os.chdir({str(tmp_path)!r})\n{probe}"])


@pytest.mark.skipif(os.name == "nt", reason="a shell script stands in for apt-get")
def test_root_on_debian_gets_the_browser_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    fake = tmp_path / "apt-get"
    log = tmp_path / "log"
    path = tmp_path / "chromium"
    install = f"case $1 in install) : > {path}; /bin/chmod +x {path};; esac"
    fake.write_text(f'#!/bin/sh\necho "$DEBIAN_FRONTEND $@" >> {log}\n{install}\n')
    fake.chmod(0o755)
    (tmp_path / "env").symlink_to("/usr/bin/env")
    monkeypatch.setenv("PATH", str(tmp_path))
    for name in (browser.CHOICE, "DEBIAN_FRONTEND"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(browser, "_is_root_on_debian", lambda: True)
    assert browser.is_provided()
    assert browser.find_chromium() == str(path)
    update, installed = log.read_text().splitlines()
    assert update.split() == ["update"]
    assert installed.startswith("noninteractive install -y")
    assert installed.endswith(" chromium libatomic1")


@pytest.mark.skipif(sys.platform != "linux", reason="shared libraries of Linux")
def test_a_browser_cannot_be_driven_where_its_driver_lacks_a_library(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A bare Debian: the driver's program ends with 'error while loading shared libraries'."""
    monkeypatch.setenv(browser.CHOICE, str(tmp_path))
    assert browser.can_be_driven()
    monkeypatch.setattr(browser, "DRIVER_LIBRARY", "libnosuch.so.1")
    assert not browser.can_be_driven()


def test_in_ci_the_tests_do_not_start_without_a_browser(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(browser.CHOICE, "/no/such/chromium")
    monkeypatch.setenv("CI", "true")
    assert not browser.is_provided()
    assert browser.INSTALL_COMMAND in capsys.readouterr().err
    monkeypatch.delenv("CI")
    assert browser.is_provided()
