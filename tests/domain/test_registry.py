"""What a package holds is found by looking, and one key is one thing."""

import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from app.domain.inspections.part import Part
from app.domain.registry import found_in

ONE = """from app.domain.inspections.part import Part
{name} = Part("{key}", "{name}", (), {{"tank": 1}}, place={place})
"""


def package(folder: Path, name: str, **modules: str) -> ModuleType:
    """A package with those modules."""
    (folder / name).mkdir()
    (folder / name / "__init__.py").touch()
    for module, text in modules.items():
        (folder / name / f"{module}.py").write_text(text, "utf-8")
    return import_module(name)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where packages of a test are found; they are forgotten after it."""
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(sys, "modules", dict(sys.modules))
    return tmp_path


def test_all_of_a_sort_are_found_once_in_their_places(folder: Path) -> None:
    made = package(
        folder, "trial_parts",
        a=ONE.format(name="LATE", key="late", place=20),
        b=ONE.format(name="EARLY", key="early", place=10) + "from trial_parts.a import LATE\n",
        c="VALUE = 3\n",
    )  # fmt: skip
    assert list(found_in(made, Part)) == ["early", "late"]


def test_two_of_one_key_are_refused(folder: Path) -> None:
    same = ONE.format(name="SAME", key="same", place=1)
    made = package(folder, "trial_twins", a=same, b=same)
    with pytest.raises(ValueError, match="one key"):
        found_in(made, Part)
