"""The locks, the layers and the other promises of the set-up."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.oracles import read_table

ROOT = Path(__file__).parent.parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
LOCKS = (
    "requirements.lock", "requirements-test.lock", "requirements-oracles.lock",
    "requirements-heic.lock", "requirements-mutants.lock", "requirements-s3.lock",
)  # fmt: skip


def _locked(lock: str) -> list[tuple[Requirement, int]]:
    """Each requirement of a lock file with the number of its hashes."""
    text = (ROOT / lock).read_text("utf-8").replace("\\\n", " ")
    found = []
    for line in text.splitlines():
        requirement, *hashes = re.split(r"\s+--hash=sha256:", line)
        found.append((Requirement(requirement.strip()), len(hashes)))
    return found


@pytest.mark.parametrize("lock", LOCKS)
def test_every_locked_package_has_one_version_and_a_hash(lock: str) -> None:
    for requirement, hash_count in _locked(lock):
        assert re.fullmatch(r"==[^,*]+", str(requirement.specifier)), requirement
        assert hash_count > 0, requirement


@pytest.mark.parametrize("lock", LOCKS)
def test_the_locks_name_no_server(lock: str) -> None:
    text = (ROOT / lock).read_text("utf-8")
    assert "://" not in text
    assert "index" not in text


@pytest.mark.parametrize(
    "lock, wanted",
    [
        ("requirements.lock", PROJECT["project"]["dependencies"]),
        ("requirements-test.lock", PROJECT["dependency-groups"]["test"]),
        ("requirements-oracles.lock", PROJECT["project"]["dependencies"]),
        ("requirements-oracles.lock", PROJECT["dependency-groups"]["oracles"]),
        ("requirements-oracles.lock", PROJECT["project"]["optional-dependencies"]["heic"]),
        ("requirements-mutants.lock", ["mutmut>=3.8", *PROJECT["dependency-groups"]["test"]]),
        ("requirements-heic.lock", PROJECT["project"]["optional-dependencies"]["heic"]),
        ("requirements-s3.lock", PROJECT["project"]["dependencies"]),
        ("requirements-s3.lock", PROJECT["project"]["optional-dependencies"]["s3"]),
    ],
)
def test_the_locks_hold_what_the_project_asks_for(lock: str, wanted: list[str]) -> None:
    locked = [requirement for requirement, _ in _locked(lock)]
    for line in wanted:
        asked = Requirement(line)
        versions = [r.specifier for r in locked if r.name == asked.name]
        assert versions, line
        assert all(asked.specifier.contains(str(v).removeprefix("==")) for v in versions), line


def test_the_other_locks_hold_all_of_the_run_lock() -> None:
    run, test, oracles, heic, mutants, s3 = (
        {str(requirement) for requirement, _ in _locked(lock)} for lock in LOCKS
    )
    assert run <= test <= mutants
    assert run <= oracles
    assert heic <= oracles
    assert run < s3 <= test
    assert not heic & test, "its decoder is under licences that not everybody can take"


def test_the_libraries_of_the_stored_answers_are_left_out_of_the_tests() -> None:
    names = {requirement.name for requirement, _ in _locked("requirements-test.lock")}
    asked = {row["library"].lower() for row in read_table().values()}
    assert len(asked) >= 7
    assert not asked & {name.lower() for name in names}


def test_imports_keep_to_the_layers() -> None:
    command = [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_only_services_commit() -> None:
    for path in (ROOT / "app").rglob("*.py"):
        if path.is_relative_to(ROOT / "app/services"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            is_commit = isinstance(node, ast.Attribute) and node.attr == "commit"
            assert not is_commit, f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', '')}"


def test_the_command_line_and_the_help_before_the_set_up_name_the_same_commands() -> None:
    from app.__main__ import COMMANDS

    command = [sys.executable, "-m", "app", "--help"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert set(re.findall(r"^    ([a-z0-9-]+) +\S", done.stdout, re.MULTILINE)) == set(COMMANDS)


OTHERWISE_CALLED = {"argon2_cffi": "argon2", "pillow": "PIL"}  # whose module has another name


def test_the_run_lock_holds_every_package_that_the_program_imports() -> None:
    names = {requirement.name.replace("-", "_") for requirement, _ in _locked("requirements.lock")}
    names |= {module for package, module in OTHERWISE_CALLED.items() if package in names}
    for path in (ROOT / "app").rglob("*.py"):
        for node in ast.parse(path.read_text("utf-8")).body:
            for name in _top_names(node):
                assert name in names or name == "app" or name in sys.stdlib_module_names, path


def _top_names(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name.partition(".")[0] for alias in node.names]
    if isinstance(node, ast.ImportFrom) and node.level == 0:
        return [(node.module or "").partition(".")[0]]
    return []
