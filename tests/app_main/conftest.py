"""A small project that sets itself up by the real bootstrap, from one package on this disk."""

import base64
import hashlib
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
CLI = """\
import sys

def main(arguments):
    import tiny
    print("running", tiny.NAME, arguments, sys.prefix, sys.dont_write_bytecode)
    return 7 if "fail" in arguments else 0
"""


@dataclass
class SmallProject:
    """A folder with the bootstrap and locks that name the package `tiny`."""

    folder: Path
    wheels: Path

    @property
    def environment(self) -> Path:
        """Where its environment belongs."""
        return self.folder / ".venv"

    def variables(self, **more: str) -> dict[str, str]:
        """An environment in which pip finds the package here and nothing elsewhere."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("PIP_", "UV_", "PYTHON"))}
        offline = {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(self.wheels), "PIP_CONFIG_FILE": "/-"}
        return {**kept, "PATH": "/usr/bin:/bin", **offline, **more}

    def start(self, *arguments: str, **variables: str) -> "subprocess.Popen[str]":
        """Run `python3 -m app ARGUMENTS` with a Python outside any environment."""
        return subprocess.Popen(
            [getattr(sys, "_base_executable", sys.executable), "-m", "app", *arguments],
            cwd=self.folder,
            env=self.variables(**variables),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def run(self, *arguments: str, **variables: str) -> tuple[int, str]:
        """Exit code and output of `python3 -m app ARGUMENTS`."""
        with self.start(*arguments, **variables) as process:
            output, _ = process.communicate(timeout=60)
        return process.returncode, output

    def write_lock(self, sha256: str, comment: str = "") -> None:
        """Ask for the package `tiny` with this hash."""
        text = f"tiny==1.0 \\\n    --hash=sha256:{sha256}\n{comment}"
        (self.folder / "requirements.lock").write_text(text)
        (self.folder / "requirements-test.lock").write_text(text + "# and the tests'\n")

    def tiny_sha256(self) -> str:
        """Hash of the package as it lies here."""
        wheel = self.wheels / "tiny-1.0-py3-none-any.whl"
        return hashlib.sha256(wheel.read_bytes()).hexdigest()


def _make_wheel(folder: Path) -> None:
    folder.mkdir()
    files = {
        "tiny.py": 'NAME = "tiny"\n',
        "tiny-1.0.dist-info/METADATA": "Metadata-Version: 2.1\nName: tiny\nVersion: 1.0\n",
        "tiny-1.0.dist-info/WHEEL": (
            "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        ),
        "tiny-1.0.dist-info/entry_points.txt": "[console_scripts]\ntiny = tiny:main\n",
    }
    record = "".join(f"{name},{_record_hash(text)},{len(text)}\n" for name, text in files.items())
    with zipfile.ZipFile(folder / "tiny-1.0-py3-none-any.whl", "w") as wheel:
        for name, text in files.items():
            wheel.writestr(name, text)
        wheel.writestr("tiny-1.0.dist-info/RECORD", record + "tiny-1.0.dist-info/RECORD,,\n")


def _record_hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return "sha256=" + base64.urlsafe_b64encode(digest).decode().rstrip("=")


def _make_project(folder: Path) -> SmallProject:
    project = SmallProject(folder / "project", folder / "wheels")
    _make_wheel(project.wheels)
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "app/installation", project.folder / "app/installation", ignore=ignored)
    for name in ("__init__.py", "__main__.py"):
        shutil.copy(ROOT / "app" / name, project.folder / "app" / name)
    (project.folder / "app/cli.py").write_text(CLI)
    project.write_lock(project.tiny_sha256())
    return project


@pytest.fixture
def project(tmp_path: Path) -> SmallProject:
    """A project that was never set up."""
    return _make_project(tmp_path)


@pytest.fixture(scope="module")
def ready_project(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmallProject]:
    """A project that has been set up; tests leave it so."""
    project = _make_project(tmp_path_factory.mktemp("ready"))
    code, output = project.run("serve")
    assert code == 0, output
    yield project
    project.write_lock(project.tiny_sha256())
