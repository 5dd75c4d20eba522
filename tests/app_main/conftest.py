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
COMMANDS = """\
import sys

def list_rooms(words):
    import tiny
    print("running", tiny.NAME, sys.argv[1:], sys.prefix, sys.dont_write_bytecode)
    return 0

def import_log(words):
    return 7
"""
BOOTSTRAP = (
    "__init__.py", "__main__.py", "cli/__init__.py", "cli/words.py", "cli/listening.py",
    "domain/__init__.py", "domain/errors.py",
)  # fmt: skip
"""Files of app/ that run before there is an environment, but for the folder installation."""


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

    def run_on_a_bare_machine(self, *arguments: str) -> tuple[int, str]:
        """The same with a Python that lacks the modules ensurepip and venv."""
        absent = self.folder.parent / "absent"
        absent.mkdir(exist_ok=True)
        names = ("ensurepip", "venv", "pip")
        lines = ["import sys", *(f"sys.modules[{name!r}] = None" for name in names)]
        (absent / "sitecustomize.py").write_text("\n".join(lines))
        return self.run(*arguments, PYTHONPATH=str(absent))

    def run(self, *arguments: str, **variables: str) -> tuple[int, str]:
        """Exit code and output of `python3 -m app ARGUMENTS`."""
        with self.start(*arguments, **variables) as process:
            output, _ = process.communicate(timeout=180)
        return process.returncode, output

    def write_lock(self, sha256: str, comment: str = "") -> None:
        """Ask for the package `tiny` with this hash."""
        text = f"tiny==1.0 \\\n    --hash=sha256:{sha256}\n{comment}"
        (self.folder / "requirements.lock").write_text(text)
        (self.folder / "requirements-test.lock").write_text(text + "# and the tests'\n")
        (self.folder / "requirements-heic.lock").write_text(text + "# and the decoder's\n")
        (self.folder / "requirements-s3.lock").write_text(text + "# and the storage's\n")

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
    for name in BOOTSTRAP:
        copy = project.folder / "app" / name
        copy.parent.mkdir(exist_ok=True)
        shutil.copy(ROOT / "app" / name, copy)
    for name in ("logs", "imports"):
        (project.folder / f"app/cli/{name}.py").write_text(COMMANDS)
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
    code, output = project.run("rooms")
    assert code == 0, output
    yield project
    project.write_lock(project.tiny_sha256())
