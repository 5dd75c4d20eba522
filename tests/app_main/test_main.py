"""`python3 -m app` on a machine where nothing is installed."""

import ast
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app import __main__ as bootstrap

from .conftest import BOOTSTRAP, ROOT, SmallProject

needs_signals = pytest.mark.skipif(os.name == "nt", reason="POSIX signals")


def test_help_is_there_before_the_set_up(project: SmallProject) -> None:
    for arguments in ([], ["--help"], ["demo", "--help"], ["test", "-h"]):
        code, output = project.run(*arguments)
        assert code == 0
        assert "usage: python3 -m app" in output
    assert not project.environment.exists()


def test_help_names_every_command() -> None:
    for command in bootstrap.COMMANDS:
        assert f"\n  {command} " in bootstrap.HELP


def test_an_unknown_command_is_refused_before_the_set_up(project: SmallProject) -> None:
    code, output = project.run("dmeo")
    assert code == 2
    assert "no command 'dmeo'" in output
    assert not project.environment.exists()


def test_wrong_words_are_refused_before_the_set_up(project: SmallProject) -> None:
    code, output = project.run("serve", "--port", "none")
    assert code == 2
    assert "usage: " in output
    assert not project.environment.exists()


@pytest.mark.parametrize("command", ["demo", "serve"])
def test_a_taken_port_is_said_before_the_set_up(project: SmallProject, command: str) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        code, output = project.run(command, "--port", port)
    assert code == 1
    assert f"Port {port} is in use" in output
    assert not project.environment.exists()


@pytest.mark.skipif(os.name == "nt", reason="Python for Windows brings venv")
def test_a_python_without_venv_ensurepip_and_pip_is_enough(project: SmallProject) -> None:
    code, output = project.run_on_a_bare_machine("rooms")
    assert code == 0, output
    assert f"running tiny ['rooms'] {project.environment}" in output
    assert {"bin", "lib", "pyvenv.cfg", "installed"} <= {
        path.name for path in project.environment.iterdir()
    }


def test_a_damaged_installer_is_not_run(project: SmallProject) -> None:
    (wheel,) = (project.folder / "app/installation/vendor").glob("*.whl")
    wheel.write_bytes(wheel.read_bytes()[:-1])
    code, output = project.run("rooms")
    assert code == 1
    assert f"{wheel} is damaged or missing" in output
    assert not project.environment.exists()


def test_two_first_starts_at_once_set_up_once_and_both_run(project: SmallProject) -> None:
    with project.start("rooms") as first, project.start("rooms") as second:
        outputs = [process.communicate(timeout=180)[0] for process in (first, second)]
    assert [first.returncode, second.returncode] == [0, 0], outputs
    assert sum("Setting up Bathkeeper" in output for output in outputs) == 1
    assert sum("Waiting for it" in output for output in outputs) == 1
    assert all("running tiny" in output for output in outputs)
    assert not (project.folder / ".venv-new").exists()


def test_a_ready_start_says_nothing_of_its_own(ready_project: SmallProject) -> None:
    code, output = ready_project.run("rooms")
    assert code == 0
    expected = f"running tiny ['rooms'] {ready_project.environment} False\n"
    assert output == expected


def test_the_exit_code_of_the_command_is_kept(ready_project: SmallProject) -> None:
    assert ready_project.run("import", "log.csv", "--room", "r")[0] == 7


def test_bytecode_is_kept_even_where_the_machine_says_otherwise(
    ready_project: SmallProject,
) -> None:
    _, output = ready_project.run("rooms", PYTHONDONTWRITEBYTECODE="1")
    assert output.endswith(" False\n")


def test_scripts_of_the_environment_run_from_their_final_place(
    ready_project: SmallProject,
) -> None:
    scripts = [path for path in (ready_project.environment / "bin").iterdir() if path.is_file()]
    assert any(path.name == "tiny" for path in scripts)
    for path in scripts:
        assert b".venv-new" not in path.read_bytes()


def test_a_package_that_is_not_the_checked_one_is_refused_and_the_old_set_up_stays(
    ready_project: SmallProject,
) -> None:
    ready_project.write_lock("0" * 64)
    code, output = ready_project.run("rooms")
    assert code == 1
    assert "hash differs" in output
    ready_project.write_lock(ready_project.tiny_sha256())
    assert ready_project.run("rooms")[1].startswith("running tiny")


def test_without_a_network_it_says_so(project: SmallProject) -> None:
    nowhere = {"PIP_NO_INDEX": "0", "PIP_FIND_LINKS": "", "PIP_INDEX_URL": "http://127.0.0.1:9/"}
    code, output = project.run("rooms", **nowhere)
    assert code == 1
    assert "could not be reached" in output
    assert "Traceback" not in output


@needs_signals
def test_a_set_up_that_was_killed_half_way_heals_at_the_next_start(project: SmallProject) -> None:
    with project.start("rooms") as cut_off:
        _wait_for(project.folder / ".venv-new" / "pyvenv.cfg")
        cut_off.send_signal(signal.SIGKILL)
        cut_off.communicate(timeout=180)  # until the program that it had started has ended too
    assert not project.environment.exists()
    code, output = project.run("rooms")
    assert code == 0
    assert "running tiny" in output


def _wait_for(path: Path, within_s: float = 60) -> None:
    give_up_at_s = time.monotonic() + within_s
    while not path.exists():
        assert time.monotonic() < give_up_at_s
        time.sleep(0.01)


def test_older_pythons_can_read_the_first_file_and_are_told_first() -> None:
    tree = ast.parse((ROOT / "app/__main__.py").read_text(), feature_version=(3, 7))
    kinds = [type(statement) for statement in tree.body[1:4]]
    assert kinds == [ast.Import, ast.If, ast.ImportFrom]
    assert ast.unparse(tree.body[2]).startswith("if sys.version_info < (3, 11):")


def test_the_bootstrap_needs_only_the_standard_library() -> None:
    others = [ROOT / "app" / name for name in BOOTSTRAP]
    for path in (*others, *(ROOT / "app/installation").glob("*.py")):
        for name in _imported(ast.parse(path.read_text())):
            is_own = name.startswith(("app.installation", "app.cli", "app.domain.errors"))
            assert is_own or name.partition(".")[0] in sys.stdlib_module_names, (path, name)


def _imported(tree: ast.AST) -> list[str]:
    names = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names.append(node.module or "")
    return names


def test_a_ready_start_loads_nothing_but_the_bootstrap_itself() -> None:
    code = (
        "import os, sys; old = set(sys.modules); import app.__main__; "
        "print(*set(sys.modules) - old)"
    )
    command = [sys.executable, "-c", code]
    loaded = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    own = {"app", "app.__main__", "app.installation", "app.installation.environment"}
    assert set(loaded.split()) == own
